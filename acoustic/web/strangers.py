"""Strangers' files are opened in a process of their own, with little memory and little time.

A clip may come from anybody, and what reads it is a large body of code in C. So it runs in a
process that is started for it and ends with it: never a copy of the server, with a cap on
memory and time, and for a look at a clip without the right to write a file. What breaks
there breaks nothing here.
"""

from __future__ import annotations

import multiprocessing
import os
import sys
import time
import traceback
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from multiprocessing.connection import Connection
from typing import Any, TypeAlias

from acoustic import errors
from acoustic.errors import AcousticError, RecordingError

Say: TypeAlias = Callable[[str], None]
_LOOK_AGAIN_S = 0.2
_NICE = 10


@dataclass(frozen=True, slots=True)
class ApartLimits:
    """What a process apart may use.

    Attributes
    ----------
    memory_bytes : int
        Of addresses, which is more than is ever filled.
    seconds : float
        By the clock, and of one core. [s]
    writes : bool
        Whether it may write files.
    """

    memory_bytes: int
    seconds: float
    writes: bool


class StoppedError(Exception):
    """The work apart was stopped because the server ends; it is done at the next start."""


def run_apart(
    task: Callable[..., Any],
    arguments: tuple[Any, ...],
    limits: ApartLimits,
    say: Say,
    stopped: Callable[[], bool] = lambda: False,
) -> Any:
    """Run a function of a module in a process of its own; give what it gives.

    Parameters
    ----------
    task : callable
        Takes `arguments` and a function that tells its present step.
    arguments : tuple
    limits : ApartLimits
    say : callable
        Takes each step it tells.
    stopped : callable
        Asked now and then; once True the process is ended.

    Raises
    ------
    AcousticError
        What the task raised, or that it went beyond its limits or broke.
    StoppedError
        It was stopped.
    """
    context = multiprocessing.get_context("spawn")  # a forked one would hold our socket
    here, there = context.Pipe(duplex=False)
    process = context.Process(
        target=_work_apart, args=(there, limits, task, arguments), daemon=True
    )
    process.start()
    there.close()
    try:
        return _answer(here, limits, say, stopped)
    finally:
        process.kill()
        process.join()
        process.close()
        here.close()


def _answer(
    here: Connection,
    limits: ApartLimits,
    say: Say,
    stopped: Callable[[], bool],
) -> Any:
    end = time.monotonic() + limits.seconds
    while True:
        if stopped():
            raise StoppedError
        if time.monotonic() > end:
            raise RecordingError(
                f"Opening it took longer than {limits.seconds:.0f} s and was given up. Send the "
                "original of the phone, or a shorter recording."
            )
        if not here.poll(_LOOK_AGAIN_S):
            continue
        try:
            kind, value = here.recv()
        except EOFError:
            raise _broken() from None
        if kind == "step":
            say(value)
        elif kind == "done":
            return value
        else:
            raise _as_raised(*value)


def _broken() -> RecordingError:
    return RecordingError(
        "Opening it broke off: the file is damaged, or needs more memory or time than is allowed "
        "here. Send the original of the phone, or export it as WAV."
    )


def _as_raised(name: str, said: str) -> AcousticError:
    kind = getattr(errors, name, RecordingError)
    error = kind(said)
    return error if isinstance(error, AcousticError) else RecordingError(said)


def _work_apart(
    there: Connection, limits: ApartLimits, task: Callable[..., Any], arguments: tuple[Any, ...]
) -> None:
    """What the process does: hold itself to its limits, work, tell what came of it."""
    _hold_to(limits)

    def say(step: str) -> None:
        there.send(("step", step))  # breaks off here when nobody listens any more

    try:
        answer = ("done", task(*arguments, say))
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
        there.send(answer)


def _hold_to(limits: ApartLimits) -> None:
    """Set the caps of the system on this process, as far as the system has them."""
    if sys.platform == "win32":
        return
    import resource

    with suppress(OSError):
        os.nice(_NICE)  # the page goes first
    seconds = int(limits.seconds) + 1
    caps = [(resource.RLIMIT_AS, limits.memory_bytes), (resource.RLIMIT_CPU, 2 * seconds)]
    if not limits.writes:
        caps.append((resource.RLIMIT_FSIZE, 0))
    for kind, most in [*caps, (resource.RLIMIT_CORE, 0)]:
        with suppress(OSError, ValueError):
            resource.setrlimit(kind, (most, most))
