"""Work that outlives its server: what was asked stands on the disk until it is done."""

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from starlette.testclient import TestClient

from acoustic.casework.case_answer import is_answered
from acoustic.casework.case_folder import read_case
from acoustic.casework.history import ScreeningMade
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings
from acoustic.web.waiting import read_waiting
from acoustic.web.work import WorkQueue

ROOT = Path(__file__).resolve().parents[2]


def screenings(folder):
    """Count the answers a case keeps."""
    return sum(isinstance(e.data, ScreeningMade) for e in read_case(folder).events)


def test_a_screening_asked_of_a_server_that_ended_is_made_by_the_next(recorded, wait_until):
    """The first is stopped as soon as it has begun; the second begins by itself."""
    first = WorkQueue(recorded.parent)
    first.start()
    first.ask(recorded, "screen")
    wait_until(lambda: first.states_of(recorded)[0].step)
    first.stop()
    assert screenings(recorded) == 0
    assert not is_answered(read_case(recorded))
    second = WorkQueue(recorded.parent)
    second.start()
    try:
        wait_until(lambda: screenings(recorded) and not second.states_of(recorded))
    finally:
        second.stop()
    assert screenings(recorded) == 1
    assert is_answered(read_case(recorded))
    third = WorkQueue(recorded.parent)  # nothing is left to be done
    third.start()
    assert third.states_of(recorded) == ()
    third.stop()


def test_a_server_killed_in_the_middle_loses_nothing_acknowledged(
    recorded, sample, token_on, wait_until
):
    """SIGKILL between a clip acknowledged and its look, and in a screening: all is made up for."""
    port = str(20_000 + os.getpid() % 10_000)
    program = "import sys; from acoustic.cli import main; sys.exit(main())"
    server = subprocess.Popen(
        [sys.executable, "-c", program, "serve", str(recorded.parent), "--port", port],
        stdout=subprocess.PIPE, cwd=ROOT,
    )  # fmt: skip
    try:
        assert b"For this machine alone" in server.stdout.readline()
        with _client(port) as client:
            token = token_on(wait_until(lambda: _answer(client, "/")))
            headers = {"X-Form-Token": token}
            assert client.post("/case/bus/screen", headers=headers).status_code == 303
            sent = {"clip": ("front_1700rpm.opus", sample("front_1700rpm.opus").read_bytes())}
            told = {"point": "front", "rpm": "1700"}
            answer = client.post("/case/bus/clips", data=told, files=sent, headers=headers)
            assert answer.status_code == 303
    finally:
        server.send_signal(signal.SIGKILL)
        server.wait()
        server.stdout.close()
    assert len(read_waiting(recorded)) + len(read_case(recorded).recordings) == 3
    with TestClient(make_app(PageSettings(recorded.parent)), base_url="http://localhost"):
        wait_until(lambda: not read_waiting(recorded) and is_answered(read_case(recorded)))
    assert len(read_case(recorded).recordings) == 3


def test_a_screening_that_cannot_be_is_told_and_not_tried_for_ever(visitor, token, wait_until):
    """A case without a usable recording: the page says what to do."""
    visitor.post("/case/bus/screen", data={"form_token": token})
    page = wait_until(lambda: "came to nothing" in (page := visitor.get("/case/bus").text) and page)
    assert "it has no recordings before the repair yet" in page
    assert not list(Path(visitor.app.state.desk.settings.root).glob("bus/.page/asked*"))


def test_a_mistake_of_ours_stops_no_other_work(visitor, token, recorded, monkeypatch, wait_until):
    """It is told on the page without its trace; the next thing asked is done all the same."""

    def broken(*arguments):
        raise ZeroDivisionError("a bug")

    with monkeypatch.context() as patched:
        patched.setattr("acoustic.web.work.run_apart", broken)
        visitor.post("/case/bus/screen", data={"form_token": token})
        page = wait_until(
            lambda: "mistake of the program" in (page := visitor.get("/case/bus").text) and page
        )
    assert "ZeroDivision" not in page
    visitor.post("/case/bus/screen", data={"form_token": token})
    wait_until(lambda: is_answered(read_case(recorded)))


def _client(port):
    import httpx2

    return httpx2.Client(base_url=f"http://127.0.0.1:{port}", timeout=60.0)


def _answer(client, address):
    import httpx2

    try:
        return client.get(address)
    except httpx2.ConnectError:
        time.sleep(0.1)
        return None
