"""What a packed case holds, and what it changes against one that is here, in plain sentences."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from pathlib import PurePosixPath

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import Case
from acoustic.casework.history import Event, History, RecordingAdded, ScreeningMade, recordings_of
from acoustic.casework.packing import Manifest, allowed_in, count_alike, kind_of, shown
from acoustic.errors import CaseError

_LARGEST_NUMBER = 10**9
_MOST_LINES = 20_000
_SHOWN_VALUE = 60
_SECTIONS = re.compile(r"(recordings|screenings)/")


def require_own_places(history: History) -> None:
    """Raise `CaseError` if a stranger's history names a place outside its case, or steers.

    Whatever stands in it is used later as the name of a file, or printed.
    """
    if len(history.events) > _MOST_LINES:
        raise CaseError(f"its history has more than {_MOST_LINES} events, which no case has.")
    for event in history.events:
        data = event.data
        place = ""
        if isinstance(data, RecordingAdded):
            place = data.stored
        elif isinstance(data, ScreeningMade):
            place = data.answer
        outside = place and (
            not _SECTIONS.match(place) or PurePosixPath(place).name != _SECTIONS.sub("", place)
        )
        if outside or any(sign in place for sign in "\\:\0"):
            raise CaseError(f"event {event.id} of its history names a place outside of the case.")
        if event.id > _LARGEST_NUMBER:
            raise CaseError("its history counts events beyond any case.")


def contents_in_words(manifest: Manifest, case: Case, left_out: Sequence[str]) -> tuple[str, ...]:
    """What a packed case holds, sentence by sentence."""
    known = [file for file in manifest.files if allowed_in("case", file.name)]
    size = sum(file.size_bytes for file in known) / 1e6
    kinds = Counter(kind_of(file.name) for file in known)
    events = case.history.events
    when = f", the last of {events[-1].time:%Y-%m-%d %H:%M} UTC" if events else ""
    stages = Counter(one.taken.stage for one in case.recordings)
    told = ", ".join(f"{count} {_STAGES[stage]}" for stage, count in stages.items())
    sentences = [
        f"The case '{shown(case.file.title)}', packed {manifest.packed:%Y-%m-%d %H:%M} UTC by "
        f"version {shown(manifest.version)}: {_count(len(known), 'file')}, {size:.1f} MB.",
        f"It holds {_count(kinds['recording'], 'recording')}{f' ({told})' if told else ''}, "
        f"{_count(kinds['screening'], 'screening')}, {_count(len(events), 'event')}{when}.",
    ]
    if left_out:
        names = ", ".join(left_out[:5]) + (", ..." if len(left_out) > 5 else "")
        sentences.append(f"Left out, as a case has no such files: {names}.")
    return (*sentences, *(f"To mend: {shown(remark)}" for remark in case.remarks))


def changes_in_words(here: Case, theirs: Case, digests: _Digests, layouts: _Layouts) -> list[str]:
    """What a packed case changes against the one that is here.

    Parameters
    ----------
    here, theirs : Case
    digests : pair of sequence of str
        Of the events of both, as `line_digests` gives them.
    layouts : pair of bytes
        The layout files of both.
    """
    alike = count_alike(*digests)
    more_here, more_there = (len(one) - alike for one in digests)
    if not alike and more_here and more_there:
        return [
            f"It is another case: already the first event differs. The one here is "
            f"'{shown(here.file.title)}', that one '{shown(theirs.file.title)}'."
        ]
    sentences = [_event_sentence(alike, more_here, more_there, theirs)]
    sentences += _recording_sentences(here, theirs)
    sentences += _value_sentences(here.file, theirs.file)
    if layouts[0] != layouts[1]:
        sentences.append("The layout of the drive differs.")
    return [one for one in sentences if one] or ["Nothing differs."]


_Digests = tuple[Sequence[str], Sequence[str]]
_Layouts = tuple[bytes, bytes]
_STAGES = {
    "before": "before the repair", "after": "after the repair", "healthy": "of the sound drive",
}  # fmt: skip


def _event_sentence(alike: int, more_here: int, more_there: int, theirs: Case) -> str:
    if more_here and more_there:
        return (
            f"Both agree up to event {alike}; after it {_count(more_here, 'event')} only here and "
            f"{more_there} only there: both went on by themselves."
        )
    if more_there:
        new = theirs.history.events[-more_there:]
        return f"{_count(more_there, 'event')} more than here: {_kinds(new)}."
    return f"{_count(more_here, 'event')} fewer than here: it is older." if more_here else ""


def _recording_sentences(here: Case, theirs: Case) -> list[str]:
    ours = {added.sha256: added for _, added in recordings_of(here.events)}
    others = {added.sha256: added for _, added in recordings_of(theirs.events)}
    sentences = []
    for which, only in (
        ("Only there", [a for sha, a in others.items() if sha not in ours]),
        ("Only here", [a for sha, a in ours.items() if sha not in others]),
    ):
        if only:
            names = ", ".join(shown(added.original) for added in only[:5])
            more = f" and {len(only) - 5} more" if len(only) > 5 else ""
            sentences.append(f"{which}: {names}{more}.")
    return sentences


def _value_sentences(here: CaseFile, theirs: CaseFile) -> list[str]:
    sentences = []
    for key in CaseFile.model_fields:
        one, other = getattr(here, key), getattr(theirs, key)
        if one != other:
            was, now = (shown(str(value))[:_SHOWN_VALUE] or "nothing" for value in (one, other))
            sentences.append(f"case.toml, {key}: here {was}; there {now}.")
    return sentences


def _kinds(events: Sequence[Event]) -> str:
    counted = Counter(shown(event.kind)[:40] for event in events)
    return ", ".join(f"{count} {kind}" for kind, count in counted.items())


def _count(count: int, thing: str) -> str:
    return f"{count} {thing}{'' if count == 1 else 's'}"
