"""Cases by mail through the page: the same checks as by command, in a process apart."""

import io
import re
import zipfile
from datetime import UTC, datetime

import pytest
from starlette.testclient import TestClient

from acoustic.casework.case_folder import read_case
from acoustic.casework.case_mail import write_opened_case, write_packed_answer
from acoustic.casework.case_writes import write_event, write_recording
from acoustic.casework.history import Note, Opinion
from acoustic.recording.taken import Taken
from acoustic.web.application import make_app
from acoustic.web.settings import Limits, PageSettings


@pytest.fixture
def now():
    """Give a time of day."""
    return datetime(2026, 11, 25, 9, 30, tzinfo=UTC)


@pytest.fixture
def bus(cases, now):
    """Give the folder of a case with one recording."""
    clip = cases.parent / "idle.wav"
    clip.write_bytes(b"RIFF" + b"a" * 500)
    write_recording(cases / "bus", clip, Taken(), now)
    return cases / "bus"


@pytest.fixture
def page(cases):
    """Give a visitor of the page; the work behind it stands still."""
    return TestClient(make_app(PageSettings(cases)), base_url="http://localhost")


@pytest.fixture
def send(page):
    """Give a function that sends a packed file."""

    def sent(path, name, content):
        token = re.search(r'form-token" content="(\w+)"', page.get("/mail").text)[1]
        return page.post(path, data={"form_token": token}, files={"pack": (name, content)})

    return sent


def test_a_case_goes_out_and_comes_in_as_one_file(page, send, cases, bus):
    """What is opened is another case with the same recording; nothing of the packing is left."""
    packed = page.get("/case/bus/packed")
    assert packed.headers["content-disposition"] == "attachment; filename*=utf-8''Library%20bus.zip"
    assert packed.headers["x-content-type-options"] == "nosniff"
    assert not list((cases / ".acoustic-page").glob("pack-*"))
    answer = send("/mail/pack", "../../from Ada.zip", packed.content)
    assert answer.status_code == 200
    assert "It holds 1 recording (1 before the repair)" in answer.text
    (there,) = [place for place in cases.iterdir() if place.name.endswith("from Ada")]
    assert read_case(there).recordings[0].added == read_case(bus).recordings[0].added
    assert f"/case/{there.name.replace(' ', '~20')}" in answer.text
    assert not list((cases / ".acoustic-page").glob("mail-*"))


def test_an_answer_is_merged_and_a_second_time_told(page, send, cases, bus, now):
    """Its opinion stands in the case, by whom."""
    (cases.parent / "bus.zip").write_bytes(page.get("/case/bus/packed").content)
    desk, packed = cases.parent / "desk", cases.parent / "answer.zip"
    write_opened_case(cases.parent / "bus.zip", desk)
    write_packed_answer(desk, packed, Opinion("Ada", "The <idler>."), now)
    answer = send("/case/bus/pack", "answer.zip", packed.read_bytes())
    assert "opinion: The &lt;idler&gt;. (Ada)" in answer.text
    assert Opinion("Ada", "The <idler>.") in [event.data for event in read_case(bus).events]
    before = len(read_case(bus).history.events)
    assert "in the case already" in send("/case/bus/pack", "a.zip", packed.read_bytes()).text
    assert len(read_case(bus).history.events) == before


def bomb():
    """Give a zip of 20 kB that unpacks to 20 MB of noughts."""
    made = io.BytesIO()
    with zipfile.ZipFile(made, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("manifest.json", b"0" * 20_000_000)
    return made.getvalue()


def test_what_is_unsafe_is_refused_and_leaves_nothing(send, cases, bus):
    """A sentence, no case more, no place on the machine told."""
    before = sorted(cases.iterdir())
    answer = send("/mail/pack", "x.zip", bomb())
    assert answer.status_code == 400
    assert "larger than 4 MB" in answer.text
    assert str(cases) not in answer.text
    assert sorted(one for one in cases.iterdir() if one.name != ".acoustic-page") == [
        one for one in before if one.name != ".acoustic-page"
    ]
    assert not list((cases / ".acoustic-page").glob("mail-*"))


def test_an_answer_to_another_case_is_refused(page, send, cases, bus, start_case, now):
    """With what differs."""
    other = start_case(cases / "other", title="Another bus")
    write_event(other, Note("first"), now)
    (cases.parent / "bus.zip").write_bytes(page.get("/case/bus/packed").content)
    desk, packed = cases.parent / "desk", cases.parent / "answer.zip"
    write_opened_case(cases.parent / "bus.zip", desk)
    write_packed_answer(desk, packed, Opinion("Ada", "The idler."), now)
    answer = send("/case/other/pack", "answer.zip", packed.read_bytes())
    assert answer.status_code == 400
    assert "already the first event differs" in answer.text
    assert len(read_case(other).history.events) == 1


def test_a_pack_above_the_cap_is_refused(cases, bus):
    """By the size of what comes."""
    page = TestClient(
        make_app(PageSettings(cases, limits=Limits(clip_bytes=10_000))), base_url="http://localhost"
    )
    token = re.search(r'form-token" content="(\w+)"', page.get("/mail").text)[1]
    data, files = {"form_token": token}, {"pack": ("x.zip", b"a" * 20_000)}
    assert page.post("/mail/pack", data=data, files=files).status_code == 413
