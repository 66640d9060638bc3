"""Whether the answer a case keeps is still what its recordings say."""

from __future__ import annotations

import json
from dataclasses import dataclass
from pathlib import Path

from acoustic.casework.case_folder import SCREENINGS, Case
from acoustic.casework.history import Event, ScreeningMade, screening_made
from acoustic.casework.lasting_files import read_whole
from acoustic.verdict.suspects import Screening
from acoustic.verdict.wording import probability_number

_SAME_PROBABILITY = 0.005
"""Half of the last figure that is shown."""


@dataclass(frozen=True, slots=True)
class KeptEvidence:
    """What the newest answer made with a case said, as sentences.

    Attributes
    ----------
    headline : str
    reasons : tuple of str
        How sure and why.
    next_steps : tuple of str
    unseen : tuple of str
        Parts that could not be seen.
    """

    headline: str
    reasons: tuple[str, ...] = ()
    next_steps: tuple[str, ...] = ()
    unseen: tuple[str, ...] = ()


def read_kept_evidence(case: Case) -> KeptEvidence | None:
    """What the newest answer made here said; None if there is none.

    Of one whose file is damaged or gone only the headline is known.
    """
    made = [e.data for e in case.events if isinstance(e.data, ScreeningMade) and not e.data.by]
    if not made:
        return None
    headline = made[-1].headline
    try:
        values = json.loads(read_whole(case.folder / SCREENINGS / Path(made[-1].answer).name))
        told = [tuple(map(str, values[key])) for key in ("reasons", "next_steps", "unseen_parts")]
    except (ValueError, KeyError, TypeError):
        return KeptEvidence(headline)
    return KeptEvidence(headline, *told)


def kept_answer_words(case: Case, screening: Screening) -> str:
    """How the newest answer of a case differs from a screening of it made now.

    Empty if it says the same, or if no answer is kept.
    """
    kept = [(event, event.data) for event in case.events if isinstance(event.data, ScreeningMade)]
    if not kept:
        return ""
    event, was = kept[-1]
    now = screening_made(screening)
    why = []
    if set(was.recordings) != set(now.recordings):
        why.append(f"it rests on {_counted(was)}, this report on {_counted(now)}")
    if was.version != now.version:
        why.append(f"it was made by version {was.version or 'not known'}")
    moved = _moved(was, now)
    if was.verdict == now.verdict and not moved and not why:
        return ""
    said = f"{_named(event)} differs from this report"
    if was.verdict == now.verdict and not moved:
        said = f"{_named(event)} says the same, but"
        return f"{said} {' and '.join(why)}."
    if moved:
        why.append(f"then and now faulty: {'; '.join(moved)}")
    return f"{said}: {'; '.join(why or ['it came to another end'])}. It said: {was.headline}"


def _named(event: Event) -> str:
    return f"The answer kept as number {event.id} ({event.time:%Y-%m-%d})"


def _counted(made: ScreeningMade) -> str:
    count = len(set(made.recordings))
    return f"{count} recording{'' if count == 1 else 's'}"


def _moved(was: ScreeningMade, now: ScreeningMade) -> list[str]:
    """Parts whose probability of being faulty is shown with another figure."""
    return [
        f"{part} {_number(was, part)}, {_number(now, part)}"
        for part in {**now.faulty, **was.faulty}
        if abs(was.faulty.get(part, 0.0) - now.faulty.get(part, 0.0)) >= _SAME_PROBABILITY
    ]


def _number(made: ScreeningMade, part: str) -> str:
    return probability_number(made.faulty[part]) if part in made.faulty else "not asked"
