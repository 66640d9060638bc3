"""The layout on the way through a case: begun from a sample, mended where it is broken."""

import re
from datetime import UTC, datetime

from acoustic.casework.case_answer import is_answered
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_layout

LAYOUT = "layout.toml"


def test_the_first_case_can_begin_from_a_sample(visitor, token, cases):
    """Nobody has to have a layout file at hand; the sample's drive is in the case."""
    page = visitor.get("/new").text
    number = re.search(r'<option value="(\w{16})">Library bus 2: accessories at the rear', page)[1]
    told = {"form_token": token, "title": "First of all", "layout": number}
    assert visitor.post("/new", data=told).status_code == 200
    (folder,) = [path for path in cases.iterdir() if path.name.endswith("First of all")]
    assert read_case(folder).drive.name == "Library bus 2: accessories at the rear, six cylinders"


def test_a_broken_layout_leads_to_where_it_is_mended(visitor, cases):
    """A file spoilt by hand: the page says what is wrong, and shows the way to its form."""
    path = cases / "bus" / LAYOUT
    path.write_text(path.read_text("utf-8").replace("cylinders = 4", "cylinders = four"), "utf-8")
    page = visitor.get("/case/bus")
    assert page.status_code == 400
    assert "cylinders" in page.text
    way = re.search(r'href="(/case/bus/layout)"', page.text)[1]
    form = visitor.get(way)
    assert form.status_code == 200
    assert "cylinders = four" in form.text


def test_an_answer_grows_old_with_its_layout(visitor, screened):
    """What was screened with another layout is not what this one says."""
    case = read_case(screened)
    assert is_answered(case)
    text = (screened / LAYOUT).read_text("utf-8")
    write_layout(screened, text + "# measured anew\n", case.layout_sha256, datetime.now(UTC))
    assert not is_answered(read_case(screened))
    assert "layout have changed since this answer" in visitor.get("/case/bus").text
