"""Listening: a recording as it is, a part alone, the rest, the part made, before and after."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from urllib.parse import urlencode

from starlette.datastructures import FormData
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import FileResponse, Response
from starlette.routing import BaseRoute, Route

from acoustic.casework.case_answer import usable_recordings
from acoustic.casework.case_change import recordings_alike
from acoustic.casework.case_folder import Case, StoredRecording, read_case
from acoustic.casework.history import CheckDone, ScreeningMade
from acoustic.errors import CaseError
from acoustic.output.case_text import taken_in_full
from acoustic.output.wording import LISTENING_CAUTION, probability_text
from acoustic.recording.taken import Stage
from acoustic.verdict.belief import Belief
from acoustic.web.case_view import CaseView, read_view, stored_clip
from acoustic.web.desk import case_asked, desk_of
from acoustic.web.pages import go_to, show, takes_form, text_field
from acoustic.web.sound_sets import (
    SoundsAsked,
    SoundSet,
    pair_asked,
    part_asked,
    read_sound_set,
    read_sound_sets,
    read_sounds_asked,
    sound_asked,
    write_sounds_asked,
)
from acoustic.web.waiting import clip_id

_NO_RECORDING = "There is no such recording in this case."
_NO_SOUND = "This sound is not there any more. Ask for it again on the page of its recording."
_OTHER_STAGE: dict[str, Stage] = {"before": "after", "after": "before"}


@dataclass(frozen=True, slots=True)
class PartToHear:
    """A part that can be asked for: its name, and how likely it is faulty, in words."""

    name: str
    words: str


@dataclass(frozen=True, slots=True)
class OtherTake:
    """A recording of the other side of the repair, taken alike."""

    id: str
    words: str


@dataclass(frozen=True, slots=True, eq=False)
class Listening:
    """What the page to listen to one recording shows.

    Attributes
    ----------
    clip, name, taken, stage : str
        Number in addresses, name it came with, how it was taken, when.
    usable : bool
        False if the gate turned it away: it can be heard, and nothing taken out of it.
    parts : tuple of PartToHear
        Likeliest faulty first.
    others : tuple of OtherTake
    part, other : str
        What was asked for last; both empty at first.
    query : str
        The same as the address has it.
    number : str
        Of the set asked for; empty if none was.
    waits : bool
    made : SoundSet or None
    moved_on : bool
        The case has changed since the set was made.
    there : tuple of str
        Parts whose sounds are there.
    """

    clip: str
    name: str
    taken: str
    stage: str
    usable: bool
    parts: tuple[PartToHear, ...]
    others: tuple[OtherTake, ...]
    part: str
    other: str
    query: str
    number: str
    waits: bool
    made: SoundSet | None
    moved_on: bool
    there: tuple[str, ...]


def show_most_telling(request: Request) -> Response:
    """Lead to the recording that a suspect is heard in best, by where it was taken."""
    view = read_view(desk_of(request), case_asked(request))
    there = usable_recordings(view.case, "before")
    if not there:
        raise HTTPException(404, "There is no usable recording before the repair to listen to.")
    leading = view.ranking[0].name if view.ranking else ""
    chosen = next((one for one in there if one.taken.point == leading), there[0])
    wish = f"?{urlencode({'part': leading})}" if leading in view.case.drive.parts else ""
    return go_to(f"/case/{view.key}/clip/{clip_id(chosen.added.sha256)}/hear{wish}")


def show_listening(request: Request) -> Response:
    """The recording as it is, what can be asked for, and the sounds asked for."""
    view = read_view(desk_of(request), case_asked(request))
    one = _recording(view.case, request.path_params["number"])
    belief = desk_of(request).memory.thought_of(view.case.folder).belief
    part, other = (request.query_params.get(name, "") for name in ("part", "other"))
    heard = _listening(view, one, belief, (part, other))
    template = "hear_now.html" if "now" in request.query_params else "hear.html"
    return show(request, template, view=view, heard=heard, caution=LISTENING_CAUTION)


def ask_sounds(request: Request, form: FormData) -> Response:
    """Make the sounds of a part or of before and after; they come into the page by themselves."""
    folder, number = case_asked(request), request.path_params["number"]
    case = read_case(folder)
    part, other = text_field(form, "part", 200), text_field(form, "other", 16)
    asked = _asked(case, _recording(case, number), part, other)
    if asked is None:
        raise CaseError("Choose what to hear, then ask for it again.")
    if form.get("anew") or read_sound_set(folder, asked) is None:
        write_sounds_asked(folder, asked)
        desk_of(request).work.ask(folder, "sounds")
    wish = urlencode({"part": part} if part else {"other": other})
    return go_to(f"/case/{request.path_params['case']}/clip/{number}/hear?{wish}#sounds")


def send_made_sound(request: Request) -> Response:
    """A sound that was made, whole or the range a player asks for."""
    parameters = request.path_params
    found = sound_asked(case_asked(request), parameters["set"], parameters["file"])
    if found is None:
        raise HTTPException(404, _NO_SOUND)
    path, row = found
    return FileResponse(
        path, media_type="audio/wav", filename=row.name, content_disposition_type="inline"
    )


def _listening(
    view: CaseView, one: StoredRecording, belief: Belief | None, wish: tuple[str, str]
) -> Listening:
    case, (part, other) = view.case, wish
    usable = _is_usable(one)
    others = _others(case, one) if usable else []
    asked = _asked(case, one, part, other) if usable else None
    # In this order: what is done between the two looks shows as made, not as neither.
    waits = asked is not None and asked in read_sounds_asked(case.folder)
    made = None if asked is None else read_sound_set(case.folder, asked)
    return Listening(
        clip=clip_id(one.added.sha256),
        name=one.added.original,
        taken=taken_in_full(one.taken),
        stage=one.taken.stage,
        usable=usable,
        parts=_parts(case, belief) if usable else (),
        others=tuple(OtherTake(clip_id(two.added.sha256), _other_words(two)) for two in others),
        part=part if asked else "",
        other=other if asked else "",
        query=urlencode({"part": part} if part else {"other": other}) if asked else "",
        number=asked.number if asked else "",
        waits=waits,
        made=made,
        moved_on=made is not None and bool(part) and _moved_on(case, made),
        there=_parts_there(case, one),
    )


def _moved_on(case: Case, made: SoundSet) -> bool:
    """Whether the case may believe in another way to fail since a set was made."""
    return any(
        event.time > made.time and isinstance(event.data, ScreeningMade | CheckDone)
        for event in case.history.events
    )


def _is_usable(one: StoredRecording) -> bool:
    return one.added.gate is None or one.added.gate.usable


def _recording(case: Case, number: str) -> StoredRecording:
    one = stored_clip(case, number)
    if one is None:
        raise HTTPException(404, _NO_RECORDING)
    return one


def _asked(case: Case, one: StoredRecording, part: str, other: str) -> SoundsAsked | None:
    """What an address or a form asks for; None if that is nothing the case has."""
    if part in case.drive.parts and _is_usable(one):
        return part_asked(case, one, part)
    two = next((two for two in _others(case, one) if clip_id(two.added.sha256) == other), None)
    if two is None:
        return None
    return pair_asked(one, two) if one.taken.stage == "before" else pair_asked(two, one)


def _others(case: Case, one: StoredRecording) -> Sequence[StoredRecording]:
    """Recordings of the other side of the repair that may be heard beside this one."""
    stage = _OTHER_STAGE.get(one.taken.stage)
    if stage is None or not _is_usable(one):
        return []
    return recordings_alike(case, one, stage)


def _other_words(two: StoredRecording) -> str:
    return f"{two.added.original}, take {two.taken.take}"


def _parts(case: Case, belief: Belief | None) -> tuple[PartToHear, ...]:
    if belief is None:
        return tuple(PartToHear(name, "") for name in case.drive.parts)
    rows = sorted(zip(belief.faulty, belief.parts, strict=True), key=lambda row: -row[0])
    return tuple(PartToHear(part, probability_text(float(p))) for p, part in rows)


def _parts_there(case: Case, one: StoredRecording) -> tuple[str, ...]:
    made = read_sound_sets(case.folder, one.added.sha256)
    parts = {row.asked.part for row in made if row.asked.part in case.drive.parts}
    return tuple(sorted(p for p in parts if read_sound_set(case.folder, part_asked(case, one, p))))


ROUTES: tuple[BaseRoute, ...] = (
    Route("/case/{case}/hear", show_most_telling),
    Route("/case/{case}/clip/{number}/hear", show_listening),
    Route("/case/{case}/clip/{number}/hear", takes_form(ask_sounds), methods=["POST"]),
    Route("/case/{case}/sounds/{set}/{file}", send_made_sound),
)
