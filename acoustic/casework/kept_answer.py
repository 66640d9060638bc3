"""Whether the answer a case keeps is still what its recordings say."""

from __future__ import annotations

from acoustic.casework.case_folder import Case
from acoustic.casework.history import Event, ScreeningMade, screening_made
from acoustic.verdict.suspects import Screening
from acoustic.verdict.wording import probability_number

_SAME_PROBABILITY = 0.005
"""Half of the last figure that is shown."""


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
