"""What a person may type after an option, checked before any work starts."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path
from typing import Annotated, TypeVar

import typer

from acoustic.errors import SettingsError, SpeedError
from acoustic.output.whole_file import require_writable
from acoustic.recording.taken import HIGHEST_RPM, LOWEST_RPM

HEAR_IT = "heard"
NO_VALUE = "none"
TO_PIPE = Path("-")

JsonFile = Annotated[
    Path | None,
    typer.Option("--json", metavar="FILE", help="Also write JSON; - prints only the JSON."),
]
PictureFile = Annotated[
    Path | None,
    typer.Option("--picture", metavar="FILE", help="Also draw: a .png, .svg or .pdf file."),
]

_Value = TypeVar("_Value")


def parsed_rpm(text: str) -> float | None:
    """Engine speed of one clip; None for the word ``heard``. [1/min]

    Raises
    ------
    SpeedError
        If it is no number, not above zero or beyond any engine.
    """
    if text.strip().lower() == HEAR_IT:
        return None
    try:
        rpm = float(text.replace(",", "."))
    except ValueError:
        raise SpeedError(
            f"--rpm {text}: not a number. Give the crankshaft speed in rpm, such as --rpm 800, "
            f"or '{HEAR_IT}' to have it heard from the sound."
        ) from None
    if not math.isfinite(rpm) or rpm <= 0:
        raise SpeedError(
            f"--rpm {text}: engine speed must be above 0. Give the speed at which the clip was "
            "recorded, such as --rpm 800, or leave --rpm out to have it heard from the sound."
        )
    if not LOWEST_RPM <= rpm <= HIGHEST_RPM:
        raise SpeedError(
            f"--rpm {text}: no engine this program knows turns at that speed "
            f"({LOWEST_RPM:.0f} to {HIGHEST_RPM:.0f} rpm). Check the figure: crankshaft turns "
            "per minute, not per second and not times 1000."
        )
    return rpm


def parsed_tolerance(percent: float) -> float:
    """Tolerance of the given speeds as a fraction.

    Raises
    ------
    SettingsError
        Outside 0.1 to 30 %.
    """
    if not 0.1 <= percent <= 30.0:
        raise SettingsError(
            f"--rpm-tolerance {percent:g}: must lie between 0.1 and 30 percent. A dash gauge is "
            "good to about 5, a scan tool to about 1."
        )
    return percent / 100.0


def one_per_clip(values: Sequence[_Value], clips: int, option: str) -> tuple[_Value, ...]:
    """Spread one value over all clips, or take one per clip as given.

    Raises
    ------
    SettingsError
        For any other count.
    """
    if len(values) in (0, clips):
        return tuple(values)
    if len(values) == 1:
        return tuple(values) * clips
    raise SettingsError(
        f"{option} is given {len(values)} times for {clips} clip{'s' if clips > 1 else ''}. "
        "Give it once for all clips, or once per clip in the order of the clips."
    )


def parsed_second(text: str) -> float | None:
    """Second of a clip; None for the word ``none``. [s]

    Raises
    ------
    SettingsError
        If it is no number above zero.
    """
    if text.strip().lower() == NO_VALUE:
        return None
    try:
        second = float(text.replace(",", "."))
    except ValueError:
        second = math.nan
    if not math.isfinite(second) or second <= 0:
        raise SettingsError(
            f"--switched-off {text}: give the second of the clip at which the engine is "
            f"switched off, such as --switched-off 24.5, or '{NO_VALUE}' for a clip in which it "
            "runs to the end."
        )
    return second


def require_one_each(values: Sequence[str], clips: int, option: str, what: str) -> None:
    """Raise `SettingsError` unless an option is left out or given once for each clip."""
    if values and len(values) != clips:
        raise SettingsError(
            f"{option} is given {len(values)} times for {clips} clip{'s' if clips > 1 else ''}. "
            f"{what} belongs to one clip: give one per clip in the order of the clips, "
            f"'{NO_VALUE}' where there is none."
        )


def require_json_place(path: Path | None) -> None:
    """Raise `OutputError` unless the JSON answer can be written there."""
    if path is not None and path != TO_PIPE:
        require_writable(path, "--json")
