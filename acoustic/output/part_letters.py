"""Which parts a picture marks, by which letter, and where their lines must be.

A picture at 380 px has no room for names beside ticks: each part gets a letter, best
suspect first, and one list tells the letters.
"""

from __future__ import annotations

from dataclasses import dataclass
from string import ascii_uppercase

from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.evidence.findings import Tone
from acoustic.output.text import SHOWN_PROBABILITY, shown_suspects
from acoustic.verdict.suspects import LineEvidence, Screening, Suspect

COMPARED_PARTS = 3  # even where only one is suspected, what it is compared with is shown
SAME_LINE = 0.002  # relative: a heard order and the found tone it stands for


@dataclass(frozen=True, slots=True)
class MarkedPart:
    """A suspect with its letter and the orders its lines must have.

    `lines` is what the verdict says of tones in the chosen recording and `swells` of bands
    whose loudness swings; `orders` holds the nominal orders of every tone of the part,
    also those the verdict did not list.
    """

    letter: str
    suspect: Suspect
    lines: tuple[LineEvidence, ...]
    swells: tuple[LineEvidence, ...]
    orders: tuple[float, ...]

    @property
    def suspected(self) -> bool:
        """Whether there is any real probability that it makes the sound."""
        suspect = self.suspect
        return max(suspect.probability, suspect.source_probability) >= SHOWN_PROBABILITY

    @property
    def name(self) -> str:
        """Letter and part, as written beside a row."""
        return f"{self.letter}  {self.suspect.part}"


def mark_parts(
    screening: Screening, drive: Drive, recording: int, limit: int
) -> tuple[MarkedPart, ...]:
    """Give letters to the best suspects, at most `limit`."""
    families = expected_families(drive)
    marked = []
    count = min(limit, max(COMPARED_PARTS, len(shown_suspects(screening))))
    for letter, suspect in zip(ascii_uppercase, screening.suspects[:count], strict=False):
        own = [f for f in families if f.part == suspect.part]
        named = [f for f in own if f.title == suspect.mechanism] or own
        here = [line for line in suspect.lines if line.recording == recording]
        marked.append(
            MarkedPart(
                letter=letter,
                suspect=suspect,
                lines=tuple(line for line in here if line.swings_hz is None),
                swells=tuple(line for line in here if line.swings_hz is not None),
                orders=tuple(line.order for family in named for line in family.tonal_lines),
            )
        )
    return tuple(marked)


def shown_recording(screening: Screening) -> int:
    """Find the recording that says most about the best suspect; the first where none does."""
    support = [0.0] * max(1, len(screening.heard))
    for suspect in screening.suspects[:1]:
        for line in suspect.lines:
            support[line.recording] += max(0.0, line.support)
    usable = [
        (support[i], -i) for i, heard in enumerate(screening.heard) if heard.spectrum is not None
    ]
    return -max(usable)[1] if usable else 0


def explaining_part(
    tone: Tone, recording: int, screening: Screening, marked: tuple[MarkedPart, ...]
) -> str | None:
    """Find the letter of the part a tone belongs to; "" for another home; None for none."""
    for found in screening.unexplained:
        if found.recording == recording and _same(found.tone.order, tone.order):
            return None
    best: tuple[float, str] | None = None
    for part in marked:
        for line in part.lines:
            if line.heard_order is None or not _same(line.heard_order, tone.order):
                continue
            if best is None or line.support > best[0]:
                best = (line.support, part.letter)
    return best[1] if best else ""


def _same(one: float, other: float) -> bool:
    return abs(one - other) <= SAME_LINE * max(one, other)
