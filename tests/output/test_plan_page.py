"""A plan as text and as a page: all of it there, names escaped, nothing fetched or run."""

import re
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import pytest

from acoustic.casework.plan import make_plan
from acoustic.drive.layout_file import read_drive
from acoustic.output.plan_page import render_plan_page
from acoustic.output.plan_text import plan_to_dict, render_plan
from acoustic.recording.taken import Taken

SAMPLES = Path(__file__).resolve().parents[2] / "samples" / "layouts"


@pytest.fixture(scope="module")
def plan():
    """Plan of the usual front belt with one recording done."""
    return make_plan(read_drive(SAMPLES / "front_four.toml"), done=[Taken(rpm=800)])


class Page(HTMLParser):
    """Tags with their attributes, and whether each is closed."""

    def __init__(self, text):
        """Read a page."""
        super().__init__()
        self.tags, self.left_open, self.texts = [], [], []
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))
        if tag not in {"meta", "input", "br"}:
            self.left_open.append(tag)

    def handle_endtag(self, tag):
        """Close the innermost tag, which must be this one."""
        assert self.left_open.pop() == tag

    def handle_data(self, data):
        """Note what is read."""
        self.texts.append(data)


def test_a_page_stands_alone(plan):
    """No script, nothing fetched, every tag closed."""
    text = render_plan_page(plan)
    page = Page(text)
    assert page.left_open == []
    tags = {tag for tag, _ in page.tags}
    assert not tags & {"script", "link", "img", "iframe"}
    assert not any({"src", "href", "onclick"} & set(attrs) for _, attrs in page.tags)
    assert "url(" not in text
    assert "@import" not in text


def test_a_page_has_a_box_a_step_and_cautions_in_each(plan):
    """As many boxes as steps, ticked where done; each block holds its own cautions."""
    text = render_plan_page(plan)
    boxes = [attrs for tag, attrs in Page(text).tags if tag == "input"]
    assert ["checked" in box for box in boxes] == [step.done for step in plan.steps]
    assert sum(step.done for step in plan.steps) == 1
    sections = re.findall(r'<section class="step">(.*?)</section>', text, re.DOTALL)
    assert len(sections) == len(plan.steps)
    for section, step in zip(sections, plan.steps, strict=True):
        read = "".join(Page(section).texts)
        assert all(caution in read for caution in step.cautions)


def test_a_page_names_every_pair(plan):
    """Whatever tells them apart."""
    read = "".join(Page(render_plan_page(plan)).texts)
    for pair in plan.pairs:
        assert pair.first in read
        assert pair.second in read
        assert pair.by == "lines" or pair.words in read


def test_names_are_escaped(plan):
    """A part called like a tag stays a name."""
    wicked = replace(
        plan, drive="<script>alert(1)</script>", suspects=("<b>pump</b>", *plan.suspects)
    )
    text = render_plan_page(wicked)
    assert "<script>" not in text
    assert "<b>" not in text
    assert "&lt;b&gt;pump&lt;/b&gt;" in text


def test_the_text_fits_and_says_all(plan):
    """80 columns; ticks, cautions, pairs."""
    text = render_plan(plan)
    assert max(map(len, text.splitlines())) <= 80
    assert text.count("[x]") == 1
    assert text.count("CAUTION:") == len(plan.steps)
    joined = " ".join(text.split())
    for pair in plan.pairs:
        assert pair.by == "lines" or pair.words in joined


def test_the_values_name_their_schema(plan):
    """Steps with what they ask for, in units as the keys say."""
    values = plan_to_dict(plan, "0")
    assert values["schema"] == "acoustic-plan/1"
    idle = next(step for step in values["steps"] if step["kind"] == "idle")
    assert idle["asks_for"]["rpm"] == 800.0
    assert idle["done"] is True
