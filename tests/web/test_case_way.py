"""The technician's way by plain forms, as without any script: from the start to the report."""

import html
import re
import shutil

import pytest

from acoustic.casework.case_folder import read_case
from acoustic.casework.history import CheckDone, Note, Opinion, Outcome

LAYOUT = "front_four.toml"


def in_page(page):
    """What a reader sees of a page, tags left out."""
    return " ".join(html.unescape(re.sub(r"<[^>]+>", " ", page.text)).split())


def test_a_case_is_started_with_a_layout_sent_along(visitor, token, cases, sample):
    """It lies in a folder of its own, named by day and title, and is shown at once."""
    layout = sample("..").resolve() / "layouts" / LAYOUT
    answer = visitor.post(
        "/new",
        data={"form_token": token, "title": "Library bus: squeal / <b>", "vehicle": "bus 7",
              "odometer_km": "123456", "complaint": "It squeals & growls", "sounds_like": "squeal",
              "comes_when": ["cold", "wet"]},
        files={"layout_file": (LAYOUT, layout.read_bytes())},
    )  # fmt: skip
    assert answer.status_code == 200
    assert "<h1>Library bus: squeal / &lt;b&gt;</h1>" in answer.text
    (folder,) = [path for path in cases.iterdir() if "squeal" in path.name]
    file = read_case(folder).file
    assert (file.vehicle, file.odometer_km, file.complaint) == (
        "bus 7", 123456.0, "It squeals & growls"
    )  # fmt: skip
    assert (file.sounds_like, file.comes_when) == (["squeal"], ["cold", "wet"])


def test_a_case_is_started_with_a_layout_used_before(visitor, token, cases):
    """Chosen from a list; a second case of the same title gets a folder of its own."""
    number = re.search(r'<option value="(\w{16})">Library bus 1', visitor.get("/new").text)[1]
    for _ in range(2):
        told = {"form_token": token, "title": "Bus", "layout": number}
        assert visitor.post("/new", data=told).status_code == 200
    assert len([path for path in cases.iterdir() if path.name.endswith(("Bus", "Bus 2"))]) == 2


def test_what_comes_by_itself_is_promised_only_where_it_does(visitor, recorded):
    """Without a recording it will; with one that was added by command it is to be asked for."""
    page = in_page(visitor.get("/case/bus"))
    assert "Nothing was screened yet. Screen now" in page
    shutil.rmtree(recorded / "recordings")
    (recorded / "history.jsonl").write_text("")
    page = in_page(visitor.get("/case/bus"))
    assert "The ranking comes by itself after the first usable recording." in page
    assert "Screen now" not in page


@pytest.mark.parametrize(
    ("told", "layout", "words"),
    [
        ({"title": "  "}, None, "Give the case a title"),
        ({"title": "Bus"}, None, "Choose the layout of the drive"),
        ({"title": "Bus", "odometer_km": "far"}, None, "give the kilometres as a number"),
        ({"title": "Bus", "odometer_km": "-5"}, "whole", "odometer_km"),
        ({"title": "Bus", "sounds_like": "zzz"}, "whole", "zzz"),
        ({"title": "Bus"}, "cylinders = five", "mine.toml"),
        ({"title": "Bus"}, "name = 'x'\n[engine]\ncylindres = 4\n", "cylindres"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_and_nothing_typed_is_lost(
    visitor, token, cases, sample, told, layout, words
):
    """The same sentences as on the command line, above the form as it was filled in."""
    before = set(cases.iterdir())
    files = {}
    if layout:
        whole = (sample("..").resolve() / "layouts" / LAYOUT).read_text()
        files = {"layout_file": ("mine.toml", whole if layout == "whole" else layout)}
    told = {"form_token": token, "complaint": "It squeals", **told}
    answer = visitor.post("/new", data=told, files=files)
    assert answer.status_code == 400
    assert words in in_page(answer)
    assert ">It squeals</textarea>" in answer.text
    assert set(cases.iterdir()) == before


def test_a_step_shows_its_cautions_and_asks_for_its_recording(visitor):
    """The second step of the plan, with what it asks for already filled in."""
    page = visitor.get("/case/bus/step/2").text
    assert "Exhaust gas kills" in page
    assert '<input type="hidden" name="point" value="front">' in page
    assert re.search(r'<input type="file"[^>]* accept="audio/\*,video/\*" capture>', page)
    assert "Use the phone's own recorder instead" in html.unescape(page)
    assert visitor.get("/case/bus/step/99").status_code == 404


def test_a_hand_check_is_entered_and_moves_the_ranking(visitor, token, screened):
    """By the first form of the page; a result must be chosen, an unknown one is refused."""
    page = visitor.get("/case/bus/checks?all").text
    assert "Never touch or spray a moving belt" in page
    told = {"form_token": token, "check": "spin by hand", "part": "guide idler"}
    missing = visitor.post("/case/bus/checks", data=told)
    assert "Choose what came of the check" in missing.text
    wrong = visitor.post("/case/bus/checks", data={**told, "result": "purple"})
    assert wrong.status_code == 400
    answer = visitor.post("/case/bus/checks", data={**told, "result": "smooth", "by": "Ada"})
    assert "Entered as number 4. The ranking below has taken it in." in in_page(answer)
    assert "after 1 hand check" in in_page(answer)
    done = [e.data for e in read_case(screened).events if isinstance(e.data, CheckDone)]
    assert done == [CheckDone("spin by hand", "guide idler", "smooth", "", "Ada")]


def test_what_was_found_closes_the_case_and_asks_for_the_proof(visitor, token, screened):
    """And the way of recording is filled in for after the repair."""
    told = {"form_token": token, "part": "guide idler", "text": "rough", "by": "Ada"}
    assert visitor.post("/case/bus/found", data={**told, "part": ""}).status_code == 400
    assert visitor.post("/case/bus/found", data={**told, "part": "flux pump"}).status_code == 400
    answer = visitor.post("/case/bus/found", data=told)
    again = visitor.post("/case/bus/found", data=told)
    assert "guide idler is entered already" in in_page(again)
    assert str(screened.parent) not in again.text  # nobody need know where it lies
    outcomes = [e.data for e in read_case(screened).events if isinstance(e.data, Outcome)]
    assert outcomes == [Outcome("guide idler", "", "rough", None, "Ada")]
    address = html.unescape(re.search(r'id="after-1" href="([^"]+)"', answer.text)[1])
    page = visitor.get(address).text
    assert '<option value="after" selected>' in page
    assert '<option value="guide idler" selected>' in page
    assert '<option value="yes" selected>' in page
    assert "Before it was 800 rpm: hold the same." in page


def test_what_is_recorded_after_the_repair_is_counted_with_what_it_repeats(
    visitor, token, screened, sample, wait_until
):
    """Of the same place, hold, loads and speed, though the speed was heard and not typed."""
    found = {"form_token": token, "part": "guide idler"}
    visitor.post("/case/bus/found", data=found)
    content = sample("guide-idler_800rpm_contact_after.opus").read_bytes()
    told = {"form_token": token, "stage": "after", "point": "guide idler", "contact": "yes"}
    visitor.post("/case/bus/clips", data=told, files={"clip": ("after.opus", content)})
    page = wait_until(
        lambda: "1 after, 1 before" in (page := in_page(visitor.get("/case/bus"))) and page
    )
    assert "0 after, 1 before" in page
    assert "What the repair changed stands in the report" in page


def test_notes_and_opinions_are_entered_and_taken_back(visitor, token, cases):
    """An opinion needs a name; what is taken back stays as taken back."""
    note = {"form_token": token, "text": "Belt was changed <b>last</b> year"}
    page = visitor.post("/case/bus/note", data=note)
    assert "&lt;b&gt;last&lt;/b&gt;" in page.text
    nameless = visitor.post("/case/bus/note", data={**note, "opinion": "yes"})
    assert "Say whose opinion it is" in nameless.text
    visitor.post("/case/bus/note", data={**note, "opinion": "yes", "by": "Ada"})
    kinds = [type(event.data) for event in read_case(cases / "bus").events]
    assert kinds == [Note, Opinion]
    visitor.post("/case/bus/undo", data={"form_token": token, "number": "1"})
    assert [type(e.data) for e in read_case(cases / "bus").events] == [Opinion]
    for number in ("1", "77", "x", ""):
        told = {"form_token": token, "number": number}
        assert visitor.post("/case/bus/undo", data=told).status_code == 400


def test_the_report_is_made_and_opened(visitor, token, screened, wait_until):
    """Under a policy by which its own styles hold and no other; it says so when it is old."""
    assert visitor.get("/case/bus/report").status_code == 404
    visitor.post("/case/bus/report", data={"form_token": token})
    wait_until(lambda: "Open the report" in visitor.get("/case/bus").text)
    report = visitor.get("/case/bus/report")
    assert "<h1>Noise report: Library bus</h1>" in report.text
    policy = report.headers["content-security-policy"]
    assert re.search(r"style-src 'sha256-[\w+/=]+'; ", policy)
    assert "unsafe" not in policy
    assert "script-src" not in policy
    assert "more has come in since" not in visitor.get("/case/bus").text
    visitor.post("/case/bus/note", data={"form_token": token, "text": "new"})
    assert "more has come in since" in visitor.get("/case/bus").text


def test_the_event_stream_tells_of_changes_made_by_a_command(cases, wait_until):
    """A first event at once, so that whoever comes back misses nothing; then one per change."""
    import asyncio

    from starlette.requests import Request

    from acoustic.cli import main
    from acoustic.web.application import make_app
    from acoustic.web.events import stream_events
    from acoustic.web.settings import PageSettings

    async def told():
        async def connected():
            await asyncio.sleep(3600)

        scope = {"type": "http", "app": make_app(PageSettings(cases)), "headers": [],
                 "path_params": {"case": "bus"}}  # fmt: skip
        stream = (await stream_events(Request(scope, connected))).body_iterator
        first = await anext(stream)
        assert main(["case", "note", str(cases / "bus"), "by hand"]) == 0
        second = await asyncio.wait_for(anext(stream), 30)
        return first, second

    first, second = asyncio.run(told())
    assert first.event == second.event == "changed"
