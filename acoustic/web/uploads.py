"""Recordings sent by a form: what it says of them, and each kept before it is acknowledged."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import UTC, datetime
from typing import cast

from starlette.datastructures import FormData, UploadFile

from acoustic.casework.case_folder import Case
from acoustic.casework.take_names import parse_take_name, taken_as
from acoustic.casework.take_words import TakeWords, Told, find_take_words
from acoustic.errors import CaseError, SpeedError
from acoustic.recording.taken import HIGHEST_RPM, LOWEST_RPM, Stage
from acoustic.web.pages import text_field
from acoustic.web.waiting import ClipAsked, WaitingClip, safe_name, write_waiting

MOST_FILES = 20
_PROCESSING = {
    "noiseSuppression": "noise suppression",
    "echoCancellation": "echo cancelling",
    "autoGainControl": "automatic gain",
}
_STAGES = ("before", "after", "healthy")
_LONGEST_SETTINGS = 4_000
LONGEST_DEVICE = 80


def keep_uploads(case: Case, form: FormData) -> tuple[WaitingClip, ...]:
    """Keep all recordings of a form; on the disk when this returns.

    Parameters
    ----------
    case : Case
    form : FormData
        With files named ``clip``; `told_by` says what else is read from it.

    Raises
    ------
    CaseError, SpeedError
        Nothing was kept: a field cannot be right, or a name leaves something open.
    """
    files = [one for one in form.getlist("clip") if isinstance(one, UploadFile) and one.filename]
    if not files:
        raise CaseError("No recording was chosen. Choose a file, or record one.")
    asked = [clip_asked(case, form, safe_name(one.filename or "")) for one in files]
    kept = []
    for file, words in zip(files, asked, strict=True):
        file.file.seek(0)
        kept.append(write_waiting(case.folder, file.file, words))
    return tuple(kept)


def clip_asked(case: Case, form: FormData, name: str) -> ClipAsked:
    """What a form says of a clip; with ``by_name`` its name tells what the fields do not."""
    words = find_take_words(case.drive)
    given = told_by(form, words)
    named = Told()
    if form.get("by_name"):
        read = parse_take_name(name, words)
        settled = set(given.fields_told())
        asked = [q.open for q in read.questions if not settled.issuperset(q.fields)]
        if asked:
            what = " ".join(asked)
            raise CaseError(
                f"{name}: {what}\nNothing was kept yet. Send this one by itself and choose below "
                "how it was taken."
            )
        named = read.told
    return ClipAsked(
        original=name,
        taken=taken_as(given, named),
        time=datetime.now(UTC),
        processing=processing_of(text_field(form, "settings", _LONGEST_SETTINGS)),
        numbered=named.take is not None,
    )


def told_by(form: FormData, words: TakeWords) -> Told:
    """What the fields of a form tell of how a clip was taken.

    Fields are ``point`` (a part, or ``front``), ``contact`` (``yes`` or ``no``), ``loads``
    (repeated), ``rpm``, ``stage``, ``switched_off`` and ``device``; an empty one tells nothing.

    Raises
    ------
    CaseError, SpeedError
        A value that the layout or the tables do not have, or that cannot be.
    """
    told = Told(device=text_field(form, "device", LONGEST_DEVICE) or None)
    point, contact = text_field(form, "point", 200), text_field(form, "contact", 3)
    if point:
        told = replace(told, point=_point(point, words))
    if contact:
        told = replace(told, contact=contact == "yes")
    loads = [str(one) for one in form.getlist("loads") if one]
    if loads:
        told = replace(told, loads=_loads(loads, words))
    stage = text_field(form, "stage", 20)
    if stage:
        told = replace(told, stage=_stage(stage))
    if text_field(form, "rpm", 20):
        told = replace(told, rpm=_rpm(text_field(form, "rpm", 20)))
    if text_field(form, "switched_off", 20):
        told = replace(told, switched_off_s=_second(text_field(form, "switched_off", 20)))
    return told


def processing_of(settings: str) -> tuple[str, ...]:
    """What a browser did to the sound, from the settings of its track as JSON.

    >>> processing_of('{"noiseSuppression": true, "autoGainControl": false}')
    ('noise suppression',)
    """
    try:
        told = json.loads(settings or "{}")
    except (ValueError, RecursionError):
        return ()
    if not isinstance(told, dict):
        return ()
    return tuple(words for name, words in _PROCESSING.items() if told.get(name))


def _point(said: str, words: TakeWords) -> str:
    if said == "front":
        return ""
    if said not in words.parts.values():
        raise CaseError(f"{said!r} is no part of this layout. Choose one of the list.")
    return said


def _loads(said: list[str], words: TakeWords) -> tuple[str, ...]:
    chosen = {one for one in said if one != "none"}
    unknown = chosen - set(words.loads.values())
    if unknown:
        raise CaseError(f"{', '.join(sorted(unknown))}: is no load known here.")
    return tuple(sorted(chosen))


def _stage(said: str) -> Stage:
    if said not in _STAGES:
        raise CaseError("Choose whether it was before or after the repair.")
    return cast(Stage, said)


def _rpm(said: str) -> float:
    rpm = _number(said)
    if rpm is None or not LOWEST_RPM <= rpm <= HIGHEST_RPM:
        raise SpeedError(
            f"Engine speed {said!r}: give turns of the crankshaft a minute, such as 800, or leave "
            "it empty to have it heard from the sound."
        )
    return rpm


def _second(said: str) -> float:
    second = _number(said)
    if second is None or second <= 0:
        raise CaseError(
            f"Switched off at {said!r}: give the second of the recording, such as 24.5, or leave "
            "it empty if the engine runs to the end."
        )
    return second


def _number(said: str) -> float | None:
    try:
        value = float(said.replace(",", "."))
    except ValueError:
        return None
    return value if math.isfinite(value) else None


def device_names(case: Case) -> tuple[str, ...]:
    """What recordings of a case were made with, each once."""
    names = (one.taken.device for one in case.recordings)
    return tuple(dict.fromkeys(filter(None, names)))
