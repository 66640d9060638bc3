"""Work in a process of its own: what breaks, hangs or eats memory there, breaks nothing here.

What is imported late here is what the processes apart need not load.
"""

import multiprocessing
import os
import signal
import socket
import sys
import time
from dataclasses import replace
from pathlib import Path

import pytest

from acoustic.errors import CaseError, RecordingError, UnfitRecordingError
from acoustic.web.strangers import (
    ApartLimits,
    Listener,
    StoppedError,
    _started,
    load_ahead,
    run_apart,
)

LIMITS = ApartLimits(memory_bytes=1 << 30, silent_s=30.0, cpu_s=30, writes=False)
DEAF = Listener(lambda _step: None)


def tell_and_give(number, tell):
    """Tell a step and a part, give an answer."""
    tell.step("counting")
    tell.part(number + 1)
    return os.getpid()


def raise_what_a_user_can_mend(tell):
    """Raise as the reader of a clip does."""
    raise UnfitRecordingError("silent from end to end")


def raise_a_mistake_of_ours(tell):
    """Raise what no user can mend."""
    raise ZeroDivisionError("a bug")


def eat_memory(tell):
    """Ask for three times what is allowed."""
    return len(bytearray(3 << 30))


def end_at_once(tell):
    """End as a crash in a decoder does."""
    os.abort()


def hang(tell):
    """Never come to an end."""
    tell.step("hanging")
    time.sleep(600)


def spin(tell):
    """Use the processor for ever, telling steps all the time."""
    while True:
        tell.step("spinning")


def write_a_file(path, tell):
    """Write a file, as a decoder that was taken over would."""
    Path(path).write_text("taken over")


def send_what_it_likes(content, tell):
    """Send bytes past the words there are for it."""
    tell._there.send_bytes(content)


class Trap:
    """Makes a folder where it is unpickled."""

    def __init__(self, path):
        self.path = path

    def __reduce__(self):
        """What a pickle runs."""
        return os.mkdir, (self.path,)


def send_a_trap(path, tell):
    """Send a pickle that acts on whoever opens it."""
    tell._there.send(Trap(path))


def name_what_it_was_copied_from(tell):
    """Tell the process this one came from."""
    return os.getppid()


def name_sockets(tell):
    """Tell which sockets this process holds."""
    return sorted(sockets_held())


def sockets_held():
    """Sockets this process holds, by the numbers the system gives them."""
    held = [one for one in Path("/proc/self/fd").iterdir() if one.is_socket()]
    return {str(one.readlink()) for one in held}


def test_the_answer_comes_from_another_process():
    """With the steps and parts it told on the way."""
    steps, parts = [], []
    answer = run_apart(tell_and_give, (41,), LIMITS, Listener(steps.append, parts.append))
    assert answer != os.getpid()
    assert (steps, parts) == (["counting"], [42])


@pytest.mark.skipif(sys.platform != "linux", reason="reads /proc")
def test_it_is_no_copy_of_the_server():
    """A copy would hold the server's sockets; one opened after others had been made, too."""
    run_apart(tell_and_give, (1,), LIMITS, DEAF)
    with socket.create_server(("127.0.0.1", 0)):
        ours = sockets_held()
        theirs = set(run_apart(name_sockets, (), LIMITS, DEAF))
    assert ours
    assert not ours & theirs


@pytest.mark.skipif(sys.platform != "linux", reason="each is started anew there")
def test_what_they_are_copied_from_may_be_lost():
    """Ended by the system for want of memory, it is started again for the next."""
    first = run_apart(name_what_it_was_copied_from, (), LIMITS, DEAF)
    assert first != os.getpid()
    os.kill(first, signal.SIGKILL)
    while ") Z " not in Path(f"/proc/{first}/stat").read_text():
        time.sleep(0.01)
    assert run_apart(name_what_it_was_copied_from, (), LIMITS, DEAF) not in (first, os.getpid())


def test_one_does_one_piece_of_work():
    """No stranger's file is opened where another one was."""
    first = run_apart(tell_and_give, (1,), LIMITS, DEAF)
    assert run_apart(tell_and_give, (2,), LIMITS, DEAF) != first


def test_loading_ahead_leaves_no_process_that_waits():
    """What was got ready with is gone when it returns."""
    before = {one.pid for one in multiprocessing.active_children()}
    load_ahead()
    assert {one.pid for one in multiprocessing.active_children()} == before


def test_one_that_waits_for_a_server_that_broke_ends():
    """It sees the end of the pipe."""
    apart = _started()
    apart.here.close()
    apart.process.join(20)
    assert apart.process.exitcode == 0


@pytest.mark.parametrize("sent", [b"no JSON", b"[]", b'["run", "this"]', b'["trouble", "x"]',
                                  b'["trouble", ["__doc__", "broke off"]]'])  # fmt: skip
def test_what_it_says_is_read_as_words_and_never_run(sent, tmp_path):
    """A process that was taken over may send anything: a pickle that acts, or no sense."""
    with pytest.raises(RecordingError, match="broke off"):
        run_apart(send_what_it_likes, (sent,), LIMITS, DEAF)
    trap = tmp_path / "sprung"
    with pytest.raises(RecordingError, match="broke off"):
        run_apart(send_a_trap, (str(trap),), LIMITS, DEAF)
    assert not trap.exists()


def test_what_a_user_can_mend_is_raised_as_it_was():
    """Kind and words."""
    with pytest.raises(UnfitRecordingError, match="silent from end to end"):
        run_apart(raise_what_a_user_can_mend, (), LIMITS, DEAF)


@pytest.mark.parametrize("task", [eat_memory, end_at_once, raise_a_mistake_of_ours])
def test_what_breaks_it_is_told_in_a_sentence(task, capfd):
    """Memory, a crash, a mistake: the server goes on."""
    with pytest.raises(RecordingError, match="broke off"):
        run_apart(task, (), LIMITS, DEAF)


def test_what_hangs_is_ended():
    """After so long without a word."""
    with pytest.raises(RecordingError, match="longer than 2 s"):
        run_apart(hang, (), replace(LIMITS, silent_s=2.0), DEAF)


def test_what_keeps_talking_is_ended_by_its_time_on_the_processor():
    """The system ends it."""
    with pytest.raises(RecordingError, match="broke off"):
        run_apart(spin, (), replace(LIMITS, cpu_s=1), DEAF)


def test_it_cannot_write_where_that_is_not_allowed(tmp_path, capfd):
    """Not a byte, even where the server itself could."""
    with pytest.raises(RecordingError):
        run_apart(write_a_file, (str(tmp_path / "x"),), LIMITS, DEAF)
    assert not (tmp_path / "x").exists() or (tmp_path / "x").read_bytes() == b""


def test_it_is_ended_when_the_server_ends():
    """At once, not when it is done."""
    began = time.monotonic()
    with pytest.raises(StoppedError):
        run_apart(hang, (), LIMITS, Listener(lambda _step: None, stopped=lambda: True))
    assert time.monotonic() - began < LIMITS.silent_s


def test_one_bad_clip_takes_no_other_with_it(cases, sample, tmp_path):
    """Each is told of by itself, in its order."""
    from acoustic.recording.taken import Taken
    from acoustic.web.apart_tasks import LOOK_LIMITS, look_over

    bad = tmp_path / "bad.m4a"
    bad.write_bytes(b"no sound at all" * 100)
    good = sample("front_800rpm.opus")
    parts = []
    clips = [("a", bad, Taken()), ("b", good, Taken())]
    run_apart(look_over, (cases / "bus", clips), LOOK_LIMITS, Listener(str, parts.append))
    assert [one["id"] for one in parts] == ["a", "b"]
    assert parts[0]["error"][0] == "RecordingError"
    assert parts[1]["check"]["usable"]


def test_a_case_that_is_none_is_told_as_such(tmp_path):
    """The kind of the error comes through."""
    from acoustic.web.apart_tasks import LOOK_LIMITS, look_over

    with pytest.raises(CaseError, match="there is no such folder"):
        run_apart(look_over, (tmp_path / "none", []), LOOK_LIMITS, DEAF)
