"""The report of a case: two readers, one page that stands alone, names that stay names."""

import base64
import io
import re
from dataclasses import replace
from datetime import UTC, date, datetime
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from PIL.PngImagePlugin import PngImageFile

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.casework.choice_words import customer_words
from acoustic.casework.history import (
    CheckDone,
    Event,
    GateAnswer,
    History,
    Opinion,
    Outcome,
    RecordingAdded,
    ScreeningMade,
)
from acoustic.casework.kept_answer import kept_answer_words
from acoustic.casework.next_checks import rank_checks
from acoustic.casework.repair_choice import ChoiceSettings, choose_repair
from acoustic.evidence.loudness import loudness_lkfs
from acoustic.output.page_pieces import element, render, table
from acoustic.output.palette import WIDTH_IN
from acoustic.output.picture import draw_screening, panel_edges
from acoustic.output.report_matter import CaseChange, ReportMatter
from acoustic.output.report_page import ReportSettings, render_report
from acoustic.output.report_pictures import PAGE_DPI, screening_pictures
from acoustic.output.report_sounds import cut_snippet, sounds_section
from acoustic.output.wording import RUNNING_ENGINE_CAUTION, SOURCE_IS_NOT_FAULT
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.taken import Taken
from acoustic.tables.knowledge import load_knowledge
from acoustic.verdict.belief import Belief
from acoustic.verdict.change_values import Change, FamilyChange, TakeScatter, Target

NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
NASTY = """<script>alert('x')</script> & "quoted" <img src=x onerror=y>"""
MOST_BYTES = 1_500_000
STRAY_HZ = 1500.0
_EMBEDDED = ("data:image/png;", "data:audio/mpeg;")


class Page(HTMLParser):
    """Tags with their attributes, texts, and whether every tag is closed in turn."""

    def __init__(self, text):
        """Read a page."""
        super().__init__()
        self.tags, self.left_open, self.texts, self.inside = [], [], [], {}
        self.feed(text)

    def handle_starttag(self, tag, attrs):
        """Note a tag."""
        self.tags.append((tag, dict(attrs)))
        if tag not in {"meta", "img", "wbr"}:
            self.left_open.append(tag)

    def handle_endtag(self, tag):
        """Close the innermost tag, which must be this one."""
        assert self.left_open.pop() == tag

    def handle_data(self, data):
        """Note what is read, and within which tag."""
        if "style" not in self.left_open:
            self.texts.append(data)
            self.inside.setdefault(self.left_open[-1] if self.left_open else "", []).append(data)

    @property
    def text(self):
        """All that is read."""
        return " ".join(self.texts)

    def of(self, tag):
        """Attributes of every such tag."""
        return [attrs for name, attrs in self.tags if name == tag]


def stored(number, **taken):
    """Make a recording of a case."""
    digest = f"{number:064x}"
    gate = GateAnswer(True, ("usable",))
    added = RecordingAdded(digest, f"recordings/{number}.m4a", f"{number}.m4a", 10, Taken(**taken),
                           gate)  # fmt: skip
    return StoredRecording(number, Path(f"{number}.m4a"), added)


def made_case(drive, *data, **file):
    """Make a case in which these things happened."""
    values = {"title": "Bus 2 growls", "opened": date(2026, 11, 24), "vehicle": "library bus 2"}
    events = tuple(Event(n, NOW, one) for n, one in enumerate(data, start=1))
    return Case(Path("bus 2"), CaseFile(**{**values, **file}), drive, (stored(7),), History(events))


def made_belief(drive, part="idler", probability=0.9):
    """Believe one part faulty with a bearing, or none."""
    parts = tuple(drive.parts)
    place = parts.index(part)
    beliefs = (((), 1 - probability), ((place,), probability))
    return Belief(parts, beliefs, tuple({"rough bearing": 1.0} for _ in parts))


def made_change():
    """Make a repair that cured it."""
    row = FamilyChange(
        part="idler", mechanism="inner race", title="worn bearing, inner race", shows_as="tones",
        orders=(6.5,), before_db=-4.0, after_db=-14.0, before_limit_db=-20.0,
        after_limit_db=-21.0, before_above_floor_db=12.0, after_above_floor_db=2.0,
        change_db=-10.0, low_db=-13.0, high_db=-7.0, outcome="lower", p_value=0.01,
        is_target=True,
    )  # fmt: skip
    return Change(
        verdict="cured", headline="The sound of idler is gone.", reasons=("-10.0 dB",),
        next_steps=(), target=Target("idler"), against="before", families=(row,), not_heard=3,
        new_tones=(), takes=(3, 3), scatter=TakeScatter(2.2, 10.0, "measured"), confidence=0.9,
        notes=("No point is said.",),
    )  # fmt: skip


@pytest.fixture
def pair():
    """Give two recordings of noise; a line stands out of the first, which is softer."""
    rng = np.random.default_rng(5)
    time = np.arange(8 * 16000) / 16000
    before, after = (level * rng.standard_normal(time.size) for level in (0.02, 0.08))
    before = before + 0.05 * np.sin(2 * np.pi * STRAY_HZ * time)
    return tuple(
        Recording(one.astype(np.float32), 16000.0, name=name)
        for one, name in ((before, "before.m4a"), (after, "after.m4a"))
    )


@pytest.fixture
def matter(drive, screening):
    """Give the matter of an open case with a rate and one hand check done."""
    knowledge = load_knowledge()
    case = made_case(drive, CheckDone("spin", "idler", "rough", by="Ada"), complaint="growls",
                     labour_rate_per_hour=70.0, currency="EUR")  # fmt: skip
    belief = made_belief(drive)
    ranked = rank_checks(drive, belief, knowledge)
    settings = ChoiceSettings(labour_rate_per_hour=70.0, currency="EUR")
    choice = choose_repair(drive, belief, ranked, knowledge, None, settings)
    heard_from = Belief(
        ("idler",), (((0,), 0.9), ((), 0.1)), ({"outer race": 0.8, "inner race": 0.2},)
    )
    return ReportMatter(case, replace(screening, belief=heard_from), NOW, belief, ranked, choice)


def test_the_page_stands_alone_and_is_well_formed(matter):
    """No script, nothing fetched, every tag closed, language and one title, policy set."""
    text = render_report(replace(matter, changes=(CaseChange(Taken(), made_change()),)),
                         ReportSettings(sounds=True))  # fmt: skip
    page = Page(text)
    assert page.left_open == []
    assert not {tag for tag, _ in page.tags} & {"script", "link", "iframe", "object", "form"}
    for _, attrs in page.tags:
        assert not any(name.startswith("on") or name in {"href", "style"} for name in attrs)
        assert attrs.get("src", "data:image/png;").startswith(_EMBEDDED)
    assert "http:" not in text
    assert "https:" not in text
    assert page.of("html") == [{"lang": "en"}]
    assert len(page.of("title")) == len(page.of("h1")) == len(page.of("main")) == 1
    (policy,) = [one["content"] for one in page.of("meta") if "http-equiv" in one]
    assert policy.startswith("default-src 'none'")
    assert len(text.encode()) < MOST_BYTES


def test_headings_go_down_by_single_steps(matter):
    """A reader of headings meets no gap."""
    page = Page(render_report(matter))
    levels = [int(tag[1]) for tag, _ in page.tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels[0] == 1
    assert all(after - before <= 1 for before, after in pairwise(levels))


def test_the_customer_reads_first_and_without_jargon(matter):
    """All sentences of the decision, figure and rate; before the adviser's part, no Hz or dB."""
    text = render_report(matter)
    first, _, rest = text.partition("For the adviser")
    said = Page(first[first.index("<main") :].rsplit("<section", 1)[0]).text
    words = customer_words(matter.choice)
    for sentence in (*words.source, *words.proposal, *words.besides):
        assert sentence in said
    assert "0.90 likely, by 1 recording and 1 hand check" in said
    assert "70 EUR an hour" in said
    assert not re.search(r"\b(Hz|dB|nat|spectrum|harmonic|order \d)", said)
    assert "outer race" in rest


def test_without_a_rate_no_sum_is_named(matter, drive):
    """It says why."""
    case = made_case(drive)
    choice = replace(matter.choice, settings=ChoiceSettings())
    text = Page(render_report(replace(matter, case=case, choice=choice))).text
    assert "No hourly rate" in text
    assert "EUR" not in text


def test_cautions_and_limits_are_always_there(matter, unfit):
    """Also where nothing could be screened, which says what to do again."""
    nothing = ReportMatter(matter.case, unfit, NOW)
    for one in (matter, nothing):
        text = Page(render_report(one)).text
        assert RUNNING_ENGINE_CAUTION in text
        assert SOURCE_IS_NOT_FAULT in text
        assert "A wrong layout gives a wrong answer." in text
    said = Page(render_report(nothing)).text
    assert unfit.headline in said
    assert "Record nearer the engine." in said


def test_every_name_stays_a_name(matter, drive):
    """Tags and quotes in title, complaint, file, part, note, opinion and result stay texts."""
    heard = matter.screening.heard[0]
    heard = replace(heard, recording=replace(heard.recording, name=NASTY))
    suspects = tuple(
        replace(s, mechanism=NASTY, evidence=(NASTY,), against=(NASTY,))
        for s in matter.screening.suspects
    )
    screening = replace(
        matter.screening, heard=(heard,), suspects=suspects, headline=NASTY, detectable=NASTY,
        unseen_parts=(NASTY,), settings={NASTY: NASTY},
    )  # fmt: skip
    case = made_case(
        drive, CheckDone(NASTY, NASTY, NASTY, NASTY, NASTY), Opinion(NASTY, NASTY),
        Outcome("", "", NASTY), title=NASTY, complaint=NASTY, vehicle=NASTY,
    )  # fmt: skip
    change = replace(made_change(), headline=NASTY, notes=(NASTY,))
    nasty = replace(
        matter, case=replace(case, remarks=(NASTY,)), screening=screening, kept_answer=NASTY,
        changes=(CaseChange(Taken(point=NASTY), change),), still_to_record=(NASTY,),
    )  # fmt: skip
    text = render_report(nasty, ReportSettings(sounds=True))
    page = Page(text)
    assert page.left_open == []
    assert "<script" not in text
    assert not any("onerror" in attrs for _, attrs in page.tags)
    assert len(page.of("img")) == 5
    # ten places at least: nothing was dropped instead of being escaped
    assert page.text.count(NASTY) > 10
    assert any(NASTY in attrs["alt"] for attrs in page.of("img"))


def test_signs_that_would_break_a_page_are_replaced():
    """Halves of signs, control signs and those that turn the writing round."""
    said = render(element("p", "a\ud800b\x00c\u202ed", title='"\x1b'))
    assert said == '<p title="&quot;\ufffd">a\ufffdb\ufffdc\ufffdd</p>'
    assert said.encode("utf-8")


def test_tables_name_their_rows_and_columns(matter):
    """Every header cell says what it heads; every table has a caption."""
    page = Page(render_report(matter))
    assert {attrs.get("scope") for attrs in page.of("th")} == {"col", "row"}
    assert len(page.of("table")) == len(page.of("caption"))
    assert table("none", ("a",), []) == []


def test_each_picture_says_what_it_shows(matter):
    """The finding with its figures, for those who cannot see it."""
    changed = replace(matter, changes=(CaseChange(Taken(), made_change()),))
    alts = [attrs["alt"] for attrs in Page(render_report(changed)).of("img")]
    assert len(alts) == 5
    change, sound, orders, parts, drive = alts
    assert "The sound of idler is gone." in change
    assert "-10.0 (-13.0 to -7.0) dB" in change
    assert "Spectrogram of recording 1, idle.m4a, 20 s, 800 rpm (793 to 807)." in sound
    assert "A thin line follows the tone of idler at 87.1 Hz." in sound
    assert "2.0 s of it are hatched as left out." in sound
    assert "Of 3 visible lines of idler 2 were heard" in orders
    assert "outer race at order 6.530 (87.1 Hz, 14 dB above the floor)" in orders
    assert "3 tones were found; 1 of them belong to no part: order 17.30 (230.7 Hz, 9 dB)" in orders
    assert "idler 0.91 likely, makes the sound 0.97 likely; tensioner 0.62 possible" in parts
    assert "idler cannot be told from tensioner." in parts
    assert "Suspected: idler" in drive


def test_the_three_pictures_of_the_sound_are_one_cut(matter):
    """Each as wide as the page's pictures; together as high as the whole."""
    pictures = screening_pictures(matter.screening, matter.case.drive)
    sizes = [PngImageFile(io.BytesIO(one.content)).size for one in pictures]
    figure = draw_screening(matter.screening, matter.case.drive)
    assert {width for width, _ in sizes} == {int(WIDTH_IN * PAGE_DPI)}
    assert sum(height for _, height in sizes) == int(figure.get_figheight() * PAGE_DPI)
    first, second = panel_edges(matter.screening, matter.case.drive)
    boxes = {ax.get_title(loc="left"): ax.get_position() for ax in figure.axes}
    assert boxes["Which sounds have a home?"].y1 < 1 - first < boxes["What did we hear?"].y0
    assert boxes["How do the parts compare?"].y1 < 1 - second


def test_recordings_at_two_points_are_compared(matter):
    """A picture more and a table, once there is something to compare."""
    first = matter.screening.heard[0]
    second = replace(first, taken=Taken(point="idler"))
    suspects = tuple(
        replace(
            s,
            lines=(
                *s.lines,
                *(
                    replace(x, recording=1, excess_db=x.excess_db and x.excess_db + 6.0)
                    for x in s.lines
                ),
            ),
        )
        for s in matter.screening.suspects
    )
    screening = replace(matter.screening, heard=(first, second), suspects=suspects)
    page = Page(render_report(replace(matter, screening=screening)))
    assert "idler is loudest at idler, by 6 dB" in page.text
    assert any("loudest at idler, by 6 dB" in attrs["alt"] for attrs in page.of("img"))


def test_a_closed_case_says_first_what_was_found_and_proven(matter, drive):
    """Before everything that was thought."""
    case = made_case(drive, Outcome("idler", "inner race", "bearing rough, changed"))
    closed = replace(matter, case=case, changes=(CaseChange(Taken(), made_change()),))
    text = Page(render_report(closed)).text
    found = text.index("Idler: bearing rough, changed")
    assert found < text.index("The sound of idler is gone.") < text.index("What was thought before")
    assert "We propose" not in text[: text.index("For the adviser")]


def test_a_closed_case_says_what_to_do_next(matter, drive):
    """What the comparison asks for; without one, to make one."""
    case = made_case(drive, Outcome("idler", "inner race", "bearing rough, changed"))
    change = replace(made_change(), next_steps=("Keep these as the reference.",))
    proven = replace(matter, case=case, changes=(CaseChange(Taken(), change),))
    for one, said in ((proven, "Keep these as the reference."), (replace(proven, changes=()),
                      "Record again as before")):  # fmt: skip
        text = Page(render_report(one)).text
        assert text.index("What next?") < text.index(said) < text.index("What was thought before")


def test_the_files_settings_and_version_are_told(matter):
    """Whole digest, every setting, version, tolerances with their reasons."""
    text = Page(render_report(matter)).text
    assert f"{7:064x}" in text
    assert "false_alarm" in text
    assert "acoustic 0.1.0" in text
    for unknown in matter.case.drive.unknowns.values():
        assert unknown.reason in text


def test_hand_checks_done_and_open_are_told(matter):
    """With who did it; those open with caution and what each result would do."""
    text = Page(render_report(matter)).text
    assert "2026-11-25: spin" in text
    assert "by Ada" in text
    first = matter.ranked[0]
    assert first.check.caution in text
    assert all(result.sentence in text for result in first.results)


def test_a_snippet_is_the_sound_that_was_recorded(screening):
    """Decoded again: its length, and the planted line stands where it was."""
    import soundfile

    heard = screening.heard[0]
    snippet = cut_snippet(heard.recording, heard.stretches, 1)
    samples, rate_hz = soundfile.read(io.BytesIO(snippet.content))
    assert samples.size / rate_hz == pytest.approx(6.0, abs=0.2)
    spectrum = np.abs(np.fft.rfft(samples * np.hanning(samples.size)))
    frequency_hz = np.fft.rfftfreq(samples.size, 1 / rate_hz)
    near = np.argmin(np.abs(frequency_hz - 6.53 * 800 / 60))
    beside = (frequency_hz > 60) & (frequency_hz < 80)
    assert spectrum[near - 2 : near + 3].max() > 5 * np.median(spectrum[beside])


def test_sounds_are_there_on_request_only(matter, pair):
    """A player each, named; what is changed or made says so first, in a frame of its own."""
    assert Page(render_report(matter)).of("audio") == []
    assert Page(render_report(matter, ReportSettings(sounds=True, paper=True))).of("audio") == []
    text = render_report(replace(matter, before_after=pair), ReportSettings(sounds=True))
    page = Page(text)
    names = [player["aria-label"] for player in page.of("audio")]
    assert names == [
        "idler alone, recording 1",
        "Recording 1 without idler",
        "CHANGED for a small speaker: idler alone",
        "MADE, not recorded: such a fault of idler",
        "Before on the left ear, after on the right, equally loud",
        "Recording 1, in front, 800 rpm",
    ]
    framed = [attrs for attrs in page.of("figure") if attrs.get("class") == "made"]
    assert len(framed) == 2
    assert "Both equally loud by K-weighted loudness" in page.text
    assert len(text.encode()) < MOST_BYTES


def test_before_and_after_stay_on_their_ears_when_packed(matter, pair):
    """Decoded again: the planted line is on the left only, and both are equally loud."""
    import soundfile

    section = sounds_section(replace(matter, before_after=pair), MOST_BYTES)
    address = re.findall(r"Before on the left.*?base64,([^\"]+)", render(section))[0]
    samples, rate_hz = soundfile.read(io.BytesIO(base64.b64decode(address)))
    window = np.hanning(samples.shape[0])
    spectrum = np.abs(np.fft.rfft(samples * window[:, None], axis=0))
    near = round(STRAY_HZ * samples.shape[0] / rate_hz)
    left, right = spectrum[near - 3 : near + 4].max(axis=0)
    assert left > 10 * right
    loud = [loudness_lkfs(side.astype(np.float32), rate_hz) for side in samples.T]
    assert loud[0] == pytest.approx(loud[1], abs=0.5)


def test_a_page_stays_within_its_size_and_names_what_is_left_out(matter, pair):
    """As many as there is room for, most telling first; the others by name."""
    matter = replace(matter, before_after=pair)
    whole = render(sounds_section(matter, MOST_BYTES))
    room = len(whole.encode()) // 2
    half = render(sounds_section(matter, room))
    assert len(half.encode()) <= room
    page = Page(f"<main>{half}</main>")
    kept = [player["aria-label"] for player in page.of("audio")]
    assert kept[0] == "idler alone, recording 1"
    assert 0 < len(kept) < 6
    left_out = page.text[page.text.index("Left out, so that the page stays small") :]
    titles = [player["aria-label"] for player in Page(f"<main>{whole}</main>").of("audio")]
    assert all((title in left_out) != (title in kept) for title in titles)


def test_a_part_that_cannot_be_heard_alone_says_why(matter):
    """The recordings as they are stay."""
    short = replace(matter.screening.heard[0], stretches=Stretches((Stretch(0.0, 1.5),), ()))
    screening = replace(matter.screening, heard=(short,))
    page = Page(render_report(replace(matter, screening=screening), ReportSettings(sounds=True)))
    assert [one["aria-label"] for one in page.of("audio")] == ["Recording 1, in front, 800 rpm"]
    assert "Nothing of idler alone: idle.m4a: no 2 s of it in a row" in page.text


def test_paper_folds_nothing_away(matter):
    """Every setting stands there; on the screen they are folded."""
    folded, paper = (Page(render_report(matter, ReportSettings(paper=p))) for p in (False, True))
    assert len(folded.of("details")) == 1
    assert paper.of("details") == []
    assert "false_alarm = 0.01" in paper.text


def test_an_answer_kept_that_differs_is_named(drive, screening):
    """By number, with what moved and why; the same answer is not."""
    faulty = {one.part: one.probability for one in screening.suspects}
    same = ScreeningMade("suspects", "It is.", faulty, ("ab" * 32,), "0.1.0", "x.json")
    assert kept_answer_words(made_case(drive), screening) == ""
    assert kept_answer_words(made_case(drive, same), screening) == ""
    older = replace(same, faulty={**faulty, "idler": 0.40}, recordings=(), version="0.0.9")
    said = kept_answer_words(made_case(drive, same, older), screening)
    assert said.startswith("The answer kept as number 2 (2026-11-25) differs")
    assert "idler 0.40, 0.91" in said
    assert "0 recordings, this report on 1 recording" in said
    assert "version 0.0.9" in said
