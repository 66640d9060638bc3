"""Strangers' files are opened in a process of their own, with little memory and little time.

A clip may come from anybody, and what reads it is a large body of code in C. So it runs in a
process that is made for it and ends with it: never a copy of the server, with a cap on
memory and time, and for a look at a clip without the right to write a file. What breaks
there breaks nothing here. It tells of its work in JSON, never in pickles, which could run
what they like in the server.
"""

from __future__ import annotations

import json
import multiprocessing
import os
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from multiprocessing.context import ForkServerContext, SpawnContext
from multiprocessing.process import BaseProcess
from typing import Any, TypeAlias

from pydantic_core import to_json

from acoustic import errors
from acoustic.errors import AcousticError, RecordingError

Say: TypeAlias = Callable[[str], None]
_LOOK_AGAIN_S = 0.2
_NICE = 10
_LONGEST_MESSAGE = 1_000_000
_WORK = "acoustic.web.apart_tasks"
"""What processes apart need loaded."""
_KINDS = ("step", "part", "done", "trouble")


@dataclass(frozen=True, slots=True)
class ApartLimits:
    """What a process apart may use.

    Attributes
    ----------
    memory_bytes : int
        Of addresses, which is more than is ever filled.
    silent_s : float
        By the clock, without telling anything. [s]
    cpu_s : int
        Of one core, in all. [s]
    writes : bool
        Whether it may write files.
    """

    memory_bytes: int
    silent_s: float
    cpu_s: int
    writes: bool


@dataclass(frozen=True, slots=True)
class Listener:
    """Whoever waits for work apart.

    Attributes
    ----------
    step : callable
        Takes each step of the work, as it begins.
    part : callable
        Takes each part of the answer, as it is done.
    stopped : callable
        Asked now and then; once True the work is ended.
    """

    step: Say
    part: Callable[[Any], None] = lambda _part: None
    stopped: Callable[[], bool] = lambda: False


class Teller:
    """What work apart tells its listener with."""

    def __init__(self, there: Connection) -> None:
        self._there = there

    def step(self, step: str) -> None:
        """Say which step begins; breaks off here when nobody listens any more."""
        self._send("step", step)

    def part(self, part: Any) -> None:
        """Hand over a part of the answer: plain values, or what pydantic makes plain."""
        self._send("part", part)

    def end(self, kind: str, value: Any) -> None:
        """Tell the last: ``"done"`` with the answer, or ``"trouble"`` with kind and words."""
        self._send(kind, value)

    def _send(self, kind: str, value: Any) -> None:
        self._there.send_bytes(to_json([kind, value], inf_nan_mode="constants"))


class StoppedError(Exception):
    """The work apart was stopped because the server ends; it is done at the next start."""


@dataclass(frozen=True, slots=True)
class Apart:
    """A process apart, and the end of the pipe to it."""

    process: BaseProcess
    here: Connection


def load_ahead() -> None:
    """Get ready what processes apart come from, so that the first of them starts at once."""
    apart = _started()
    apart.here.close()  # it sees that and ends
    apart.process.join()
    apart.process.close()


def run_apart(
    task: Callable[..., Any],
    arguments: tuple[Any, ...],
    limits: ApartLimits,
    listener: Listener,
) -> Any:
    """Run a function of a module in a process of its own; give what it gives.

    Parameters
    ----------
    task : callable
        Takes `arguments` and a `Teller`.
    arguments : tuple
    limits : ApartLimits
    listener : Listener

    Raises
    ------
    AcousticError
        What the task raised, or that it went beyond its limits or broke.
    StoppedError
        It was stopped.
    """
    apart = _started()
    try:
        with suppress(BrokenPipeError):  # it ended: told as whatever else breaks off there
            apart.here.send((limits, task, arguments))
        return _answer(apart.here, limits, listener)
    finally:
        _end(apart)


def _started() -> Apart:
    """A process that waits for work: a copy of one which has only loaded what work needs.

    That one was started anew and opens no file of anybody. A copy of the server itself would
    hold its sockets. Elsewhere than on Linux, where copies of a process that has loaded
    numerical libraries may break, each is started anew.
    """
    context: ForkServerContext | SpawnContext = multiprocessing.get_context("spawn")
    if sys.platform == "linux":
        context = multiprocessing.get_context("forkserver")
        context.set_forkserver_preload(["__main__", _WORK])
    here, there = context.Pipe()
    process = context.Process(target=_wait_for_work, args=(there,), daemon=True)
    process.start()
    there.close()
    return Apart(process, here)


def _end(apart: Apart) -> None:
    apart.process.kill()
    apart.process.join()
    apart.process.close()
    apart.here.close()


def _answer(here: Connection, limits: ApartLimits, listener: Listener) -> Any:
    last = time.monotonic()
    while True:
        if listener.stopped():
            raise StoppedError
        if time.monotonic() > last + limits.silent_s:
            raise RecordingError(
                f"Opening it took longer than {limits.silent_s:.0f} s and was given up. Send the "
                "original of the phone, or a shorter recording."
            )
        if not here.poll(_LOOK_AGAIN_S):
            continue
        try:
            kind, value = _message(here)
        except (EOFError, OSError, ValueError, TypeError):  # ended, or nothing we ever send
            raise _broken() from None
        last = time.monotonic()
        if kind == "step":
            listener.step(value)
        elif kind == "part":
            listener.part(value)
        elif kind == "done":
            return value
        else:
            raise as_raised(str(value[0]), str(value[1]))


def _message(here: Connection) -> tuple[str, Any]:
    kind, value = json.loads(here.recv_bytes(_LONGEST_MESSAGE))
    if kind not in _KINDS or (kind == "trouble" and len(value) != 2):
        raise ValueError(kind)
    return str(kind), value


def _broken() -> RecordingError:
    return RecordingError(
        "Opening it broke off: the file is damaged, or needs more memory or time than is allowed "
        "here. Send the original of the phone, or export it as WAV."
    )


def as_raised(name: str, said: str) -> AcousticError:
    """The error that work apart told of, by the name of its kind and its sentences."""
    kind = getattr(errors, name, None)
    if isinstance(kind, type) and issubclass(kind, AcousticError):
        return kind(said)
    return RecordingError(said)


def _wait_for_work(there: Connection) -> None:
    """What the process does: wait, then work once.

    What it is given comes from the server, which may say what is to be run here; the other
    way goes nothing but words.
    """
    if sys.platform != "win32":
        with suppress(OSError):
            os.nice(_NICE)  # the page goes first
    try:
        limits, task, arguments = there.recv()
    except (EOFError, OSError):  # the server has ended
        return
    _work_apart(there, limits, task, arguments)


def _work_apart(
    there: Connection, limits: ApartLimits, task: Callable[..., Any], arguments: tuple[Any, ...]
) -> None:
    """Hold to the limits, work, tell what came of it."""
    _hold_to(limits)
    tell = Teller(there)
    answer: tuple[str, Any]
    try:
        answer = ("done", task(*arguments, tell))
    except AcousticError as error:
        answer = ("trouble", (type(error).__name__, str(error)))
    except BrokenPipeError:
        return
    except MemoryError:
        answer = ("trouble", ("RecordingError", str(_broken())))
    except Exception:
        traceback.print_exc()  # a mistake of ours: for whoever runs the server
        answer = ("trouble", ("RecordingError", str(_broken())))
    with suppress(BrokenPipeError):
        tell.end(*answer)


def _hold_to(limits: ApartLimits) -> None:
    """Set the caps of the system on this process, as far as the system has them."""
    if sys.platform == "win32":
        return
    import resource

    caps = [(resource.RLIMIT_AS, limits.memory_bytes), (resource.RLIMIT_CPU, limits.cpu_s)]
    if not limits.writes:
        caps.append((resource.RLIMIT_FSIZE, 0))
    for kind, most in [*caps, (resource.RLIMIT_CORE, 0)]:
        with suppress(OSError, ValueError):
            resource.setrlimit(kind, (most, most))
