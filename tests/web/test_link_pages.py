"""The adviser's side: links made, watched and ended; an opinion written, released, hidden."""

import html
import re
from datetime import UTC, datetime, timedelta

import pytest
from starlette.testclient import TestClient

from acoustic.casework.case_folder import read_case, read_history
from acoustic.casework.case_writes import write_event, write_screening
from acoustic.casework.customer_links import LinkWish, read_link, read_links, write_link
from acoustic.casework.history import LinkMade, Note, Opinion, ScreeningMade
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DAY = timedelta(days=1)


@pytest.fixture
def bus(cases):
    """Give the folder of a case."""
    return cases / "bus"


@pytest.fixture
def adviser(cases):
    """Give a visitor who may see the cases, on the network, at a time that stands."""
    settings = PageSettings(
        cases,
        frozenset({"localhost", "192.0.2.7"}),
        address="192.0.2.7",
        port=8470,
        clock=lambda: NOW,
    )
    return TestClient(make_app(settings), base_url="http://localhost:8470")


@pytest.fixture
def put(adviser):
    """Give a function that sends a form of the case with its token."""

    def send(path, **fields):
        page = adviser.get("/case/bus/links").text
        token = re.search(r'name="form-token" content="(\w+)"', page)[1]
        return adviser.post(f"/case/bus/{path}", data={"form_token": token, **fields})

    return send


def text_of(answer):
    """What a page says, without its tags."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", answer.text)).split())


def test_a_link_is_shown_once_with_a_code_to_scan(adviser, put, bus, cases):
    """At the address of the network, not this machine's own name; the list has it no more."""
    made = put("links", label="Ms Reader", days="3", by="Ada")
    secret = re.search(r"http://192\.0\.2\.7:8470/send/([\w-]{43})</textarea>", made.text)[1]
    assert 'src="data:image/svg+xml' in made.text
    found = read_link(cases, secret)
    assert found.folder == bus
    assert found.link.asked.until == NOW + 3 * DAY
    assert (found.link.asked.label, found.link.asked.by) == ("Ms Reader", "Ada")
    assert not found.link.asked.at_parts
    listed = adviser.get("/case/bus/links").text
    assert "Ms Reader" in listed
    assert secret not in listed
    assert secret not in adviser.get("/case/bus").text


def test_a_link_that_nobody_could_reach_says_so(cases, bus):
    """Served for this machine alone."""
    with TestClient(make_app(PageSettings(cases)), base_url="http://localhost") as alone:
        token = re.search(r'form-token" content="(\w+)"', alone.get("/").text)[1]
        made = alone.post("/case/bus/links", data={"form_token": token, "days": "1"})
    assert "open to this machine alone" in made.text
    assert "--network" in made.text


@pytest.mark.parametrize("days", ["", "0", "91", "-1", "1e9", "nan"])
def test_a_link_cannot_hold_for_ever(put, bus, days):
    """Nor for no time at all."""
    assert put("links", days=days).status_code == 400
    assert read_links(bus) == ()


def test_recordings_come_into_the_list_as_they_come(adviser, put, bus):
    """What the customer sends stands by their link, first as kept, and in the case."""
    secret, _ = write_link(bus, LinkWish(NOW + DAY, "Ms Reader"), NOW)
    assert "Nothing came by it yet." in adviser.get("/case/bus/links/now").text
    token = re.search(r'form-token" content="(\w+)"', adviser.get(f"/send/{secret}").text)[1]
    adviser.post(
        f"/send/{secret}/clips",
        data={"form_token": token, "number": "0"},
        files={"clip": ("idle <b>.m4a", b"RIFF a")},
    )
    now = adviser.get("/case/bus/links/now").text
    assert "1 recording came by it" in now
    assert "idle b.m4a" in now
    assert "being looked over" in now
    assert "idle b.m4a" in adviser.get("/case/bus").text
    page = adviser.get("/case/bus/links").text
    assert 'data-events="/case/bus/events"' in page  # the stream that tells of both


def test_withdrawing_closes_a_link_and_is_in_the_history(adviser, put, bus):
    """At once; a second time is told."""
    secret, event = write_link(bus, LinkWish(NOW + DAY), NOW)
    assert adviser.get(f"/send/{secret}").status_code == 200
    assert put("links/end", number=str(event.id)).status_code == 200
    assert adviser.get(f"/send/{secret}").status_code == 410
    assert "withdrawn" in adviser.get("/case/bus/links").text
    assert put("links/end", number=str(event.id)).status_code == 400
    assert isinstance(read_history(bus).events[0].data, LinkMade)


def test_only_a_link_is_withdrawn_by_its_form(put, bus):
    """A note stays, whatever number is sent."""
    note = write_event(bus, Note("stays"), NOW)
    assert put("links/end", number=str(note.id)).status_code == 400
    assert put("hide", number=str(note.id)).status_code == 400
    assert note in read_history(bus).standing


def test_an_opinion_is_written_with_the_evidence_beside_it(adviser, put, bus):
    """The headline and the reasons of the newest answer made here, the link to the report."""
    answer = (
        '{"belief": null, "reasons": ["outer race strikes at <90> Hz"], "next_steps": ["Spin it."],'
        ' "unseen_parts": ["gear"]}'
    )
    write_screening(bus, answer, ScreeningMade("suspects", "Likely the guide idler."), NOW)
    page = text_of(adviser.get("/case/bus/opinion"))
    for said in ("Likely the guide idler.", "strikes at <90> Hz", "Spin it.", "not be seen: gear"):
        assert said in page
    put("opinion", by="Ada", text="Change the idler.\nIt grinds.")
    (event,) = [e for e in read_case(bus).events if isinstance(e.data, Opinion)]
    assert event.data == Opinion("Ada", "Change the idler.\nIt grinds.")
    assert "Change the idler." in text_of(adviser.get("/case/bus/opinion"))
    assert put("opinion", by="", text="x").status_code == 400


def test_an_answer_kept_by_others_or_damaged_is_no_evidence(adviser, bus):
    """What somebody sent does not stand as the tool's own; of a damaged file the headline."""
    write_screening(bus, "{", ScreeningMade("suspects", "Ours."), NOW)
    write_screening(bus, "{}", ScreeningMade("suspects", "Theirs.", by="Bob"), NOW)
    page = text_of(adviser.get("/case/bus/opinion/now"))
    assert "Ours." in page
    assert "Theirs." not in page


def test_an_opinion_is_released_and_hidden_by_forms(adviser, put, bus):
    """To one link, with the report as it is, and no more once it is hidden."""
    secret, link = write_link(bus, LinkWish(NOW + DAY, "Ms Reader"), NOW)
    put("opinion", by="Ada", text="Change the idler.")
    opinion = read_history(bus).events[-1].id
    fields = {"opinion": str(opinion), "link": str(link.id)}
    assert put("release", **fields, report="yes").status_code == 400  # none was made yet
    (bus / ".page").mkdir()
    (bus / ".page" / "report.html").write_text("<!doctype html>seen")
    assert "read it before" in adviser.get("/case/bus/opinion").text
    assert put("release", **fields, report="yes").status_code == 200
    assert "Change the idler." in adviser.get(f"/send/{secret}").text
    assert adviser.get(f"/send/{secret}/report").text == "<!doctype html>seen"
    shown = read_history(bus).events[-1].id
    assert "is shown opinion number" in adviser.get("/case/bus/opinion").text
    put("hide", number=str(shown))
    assert "Change the idler." not in adviser.get(f"/send/{secret}").text


def test_what_somebody_wrote_is_text(adviser, put):
    """Label, name and opinion."""
    put("links", label="<script>x</script>", days="1")
    put("opinion", by="<b>Ada</b>", text="<i>idler</i>")
    for path in ("links", "opinion"):
        page = adviser.get(f"/case/bus/{path}").text
        assert not re.search(r"<script>x|<b>Ada|<i>idler", page)
