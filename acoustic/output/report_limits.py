"""What a report rests on: the drive and its tolerances, limits, settings, digests, version."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from acoustic.casework.case_folder import StoredRecording
from acoustic.drive.drive import SharedUnknown
from acoustic.output.page_pieces import Element, element, listed, paragraphs, table
from acoustic.output.report_matter import ReportMatter
from acoustic.output.report_pictures import drive_picture, picture_figure
from acoustic.output.text import all_remarks
from acoustic.verdict.suspects import Heard

_GENERAL_LIMITS = (
    "The figures are odds by sound, layout and hand checks; they are no measurement of a part.",
    "Only parts and faults that the layout and the tables know can be named. A wrong layout "
    "gives a wrong answer.",
    "dB above the floor: over the noise beside the line. Order: turns or events per turn of the "
    "crankshaft. Hidden: under the engine's own lines, or outside what the phone passes.",
)


def drive_section(matter: ReportMatter) -> Element:
    """The drive with suspects marked, and what of it is not exactly known."""
    drive = matter.case.drive
    rows = [(one.name, _range(one), one.reason) for one in drive.unknowns.values()]
    return element(
        "section",
        element("h3", "The drive, and how exactly it is known"),
        picture_figure(drive_picture(drive, matter.suspects)),
        *table("Tolerances reckoned with", ("what", "how far off", "why"), rows),
    )


def limits_section(matter: ReportMatter) -> Element:
    """What could not be seen or said; always there."""
    screening = matter.screening
    unseen = ", ".join(screening.unseen_parts)
    remarks = [
        words
        for number, heard in enumerate(screening.heard, start=1)
        for words in _recording_limits(number, heard)
    ]
    return element(
        "section",
        element("h3", "Limits"),
        *paragraphs([screening.detectable]),
        *listed(
            [
                *([f"Nothing is said of what could not be seen: {unseen}."] if unseen else []),
                *remarks,
                *matter.case.remarks,
                *_GENERAL_LIMITS,
            ]
        ),
    )


def sources_section(matter: ReportMatter, *, folded: bool = True) -> Element:
    """Recordings with their digests, settings, layout, version: all it takes to repeat it.

    `folded` lets the reader open the long list of settings; on paper nothing opens.
    """
    screened = {one.recording.sha256 for one in matter.screening.heard}
    rows = [
        (
            f"number {one.event_id}: {one.added.original}",
            one.taken.stage,
            "screened" if one.added.sha256 in screened else _other_use(one),
            one.added.sha256,
        )
        for one in matter.case.recordings
    ]
    return element(
        "section",
        element("h3", "Files, settings, version"),
        *table("Recordings of the case", ("recording", "stage", "use", "SHA-256"), rows),
        element(
            "p",
            f"Layout: {matter.case.drive.name} ({matter.case.file.layout}). Screened for this "
            f"report by acoustic {matter.screening.version}; made {matter.made:%Y-%m-%d %H:%M} "
            "UTC.",
        ),
        _settings(matter, folded=folded),
    )


def _settings(matter: ReportMatter, *, folded: bool) -> Element:
    pairs = list(flat_settings(matter.screening.settings))
    title = f"All {len(pairs)} settings of the screening"
    opened = f"{title} (printed if they are open)"
    entries = [element("li", f"{name} = {value}") for name, value in pairs]
    every = element("ul", *entries, class_="settings")
    if folded:
        return element("details", element("summary", opened), every)
    return element("div", element("h4", title), every)


def flat_settings(settings: Mapping[str, Any], before: str = "") -> Iterator[tuple[str, str]]:
    """Settings by their whole name, such as ``match.workers``, and their value as text."""
    for name, value in settings.items():
        if isinstance(value, Mapping):
            yield from flat_settings(value, f"{before}{name}.")
        else:
            yield f"{before}{name}", str(value)


def _other_use(one: StoredRecording) -> str:
    """Why a recording of the case is not among those that were screened."""
    gate = one.added.gate
    if gate is not None and not gate.usable:
        return f"turned away: {'; '.join(gate.reasons)}"
    return "to compare with"


def _range(one: SharedUnknown) -> str:
    """Range of a uniform unknown, else two standard deviations either way. [%]"""
    if one.kind in ("slip", "overrun"):
        return f"{100 * one.low:.2g} to {100 * one.high:.2g} %"
    return f"± {200 * one.sd:.2g} %"


def _recording_limits(number: int, heard: Heard) -> Iterator[str]:
    for remark in all_remarks(heard):
        yield f"Recording {number}, {remark.severity}: {remark.message} {remark.advice}"
    for out in heard.stretches.left_out:
        reason = out.reason.rstrip(".")
        yield f"Recording {number}, {out.start_s:.1f} to {out.end_s:.1f} s left out: {reason}."
