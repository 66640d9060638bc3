"""Which parts are due for a change by the distance they have run."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from acoustic.drive.drive import Drive
from acoustic.tables.knowledge import Knowledge
from acoustic.tables.words import repair_words

DueName = Literal["due", "due_if_first", "soon", "not_yet", "not_known"]
_SOON = 0.1  # the last tenth of the interval: common practice, no source


@dataclass(frozen=True, slots=True)
class Mileage:
    """Odometer reading, and at which reading each part was last changed. [km]"""

    odometer_km: float | None = None
    changed_at_km: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class ServiceDue:
    """One part's service by distance.

    `interval_km` is that of the layout, or how long its kind usually lasts; `source` says
    which. `run_km` is None without an odometer reading.
    """

    part: str
    state: DueName
    interval_km: float
    run_km: float | None
    sentence: str
    source: str

    @property
    def is_due(self) -> bool:
        """Whether it is to be changed now, as far as is known."""
        return self.state in ("due", "due_if_first")


def find_service_due(
    drive: Drive, mileage: Mileage, knowledge: Knowledge
) -> tuple[ServiceDue, ...]:
    """Service of every part that has an interval, the most overdue first."""
    found = []
    for part in drive.parts.values():
        kind = knowledge.kinds[part.kind]
        interval = part.service_interval_km or kind.usual_life_km
        if interval is None:
            continue
        own = part.service_interval_km is not None
        source = repair_words("service", "from_layout") if own else kind.note or kind.source
        found.append(_due(part.name, interval, mileage, source))
    return tuple(sorted(found, key=lambda one: (-(one.run_km or 0.0) / one.interval_km, one.part)))


def _due(part: str, interval: float, mileage: Mileage, source: str) -> ServiceDue:
    if mileage.odometer_km is None:
        sentence = repair_words("service", "not_known", interval=interval)
        return ServiceDue(part, "not_known", interval, None, sentence, source)
    changed = mileage.changed_at_km.get(part)
    run = max(0.0, mileage.odometer_km - (changed or 0.0))
    state: DueName = "not_yet"
    if run >= interval:
        state = "due_if_first" if changed is None else "due"
    elif run >= (1 - _SOON) * interval:
        state = "soon"
    sentence = repair_words("service", state, run=run, left=interval - run, interval=interval)
    return ServiceDue(part, state, interval, run, sentence, source)
