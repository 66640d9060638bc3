"""Sounds of a case to listen to: of one recording and a part, of before and after a repair."""

from __future__ import annotations

import os
from collections.abc import Callable
from dataclasses import dataclass
from typing import Literal, TypeAlias

from acoustic.casework.case_answer import read_and_screen_one, read_clip
from acoustic.casework.case_choice import case_screen_settings
from acoustic.casework.case_folder import Case, StoredRecording
from acoustic.errors import AcousticError
from acoustic.output.part_sounds import PartSound, made_part_sound, part_sounds, recorded_sound
from acoustic.output.side_by_side import before_after_sound, before_then_after_sounds

SoundKind: TypeAlias = Literal["recorded", "taken out", "changed", "matched", "both ears", "made"]
"""As recorded, filtered out of it, moved or slowed, brought to one loudness, made."""


@dataclass(frozen=True, slots=True, eq=False)
class CaseSound:
    """A sound with its title; what is changed or made says so there first."""

    kind: SoundKind
    title: str
    sound: PartSound


@dataclass(frozen=True, slots=True, eq=False)
class CaseSounds:
    """Sounds that belong together, and why some that were asked for are not there."""

    sounds: tuple[CaseSound, ...]
    missing: str = ""


def sounds_of_part(
    case: Case, one: StoredRecording, part: str, say: Callable[[str], None]
) -> CaseSounds:
    """A recording as it is, the part alone, the rest, the part changed, and the part made.

    Where nothing of the part can be taken out, the recording and the part made.

    Raises
    ------
    AcousticError
        If the recording cannot be screened, or the part makes no sound.
    """
    settings = case_screen_settings(os.cpu_count() or 1)
    screening = read_and_screen_one(case, one, settings, progress=say)
    say(f"taking the {part} out of the recording")
    drive, missing = case.drive, ""
    taken_out: tuple[CaseSound, ...] = ()
    try:
        alone, without, changed, made = part_sounds(screening, drive, part)
    except AcousticError as error:
        made, missing = made_part_sound(screening, drive, part), str(error)
    else:
        there = f"{part} alone" if alone.heard else f"where {part} would be (nothing of it heard)"
        taken_out = (
            CaseSound("taken out", there[0].upper() + there[1:], alone),
            CaseSound("taken out", f"The recording without {part}", without),
            CaseSound("changed", f"CHANGED for a small speaker: {there}", changed),
        )
    sounds = (
        CaseSound("recorded", "The recording as it is", recorded_sound(screening.heard[0])),
        *taken_out,
        CaseSound("made", f"MADE, not recorded: such a fault of {part}", made),
    )
    return CaseSounds(sounds, missing)


def sounds_of_repair(before: StoredRecording, after: StoredRecording) -> CaseSounds:
    """Before and after equally loud: each by itself, and one on each ear.

    Raises
    ------
    AcousticError
        If one of them holds nothing to listen to.
    """
    first, second = (read_clip(one).recording for one in (before, after))
    one, other = before_then_after_sounds(first, second)
    return CaseSounds(
        (
            CaseSound("matched", "Before the repair", one),
            CaseSound("matched", "After the repair", other),
            CaseSound(
                "both ears",
                "Before on the left ear, after on the right",
                before_after_sound(first, second),
            ),
        )
    )
