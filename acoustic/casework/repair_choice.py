"""What to open or order: each suspect's work, and opening now against one check first."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from acoustic.casework.next_checks import RankedCheck, nobody
from acoustic.casework.openings import OpeningSettings, Search, access_hours, best_search
from acoustic.casework.service_due import Mileage, ServiceDue, find_service_due
from acoustic.drive.drive import Drive
from acoustic.errors import SettingsError
from acoustic.tables.knowledge import Knowledge
from acoustic.tables.rows import Mechanism, Who
from acoustic.tables.words import repair_words
from acoustic.verdict.belief import Belief
from acoustic.verdict.wording import probability_number

_MINUTES = 60.0


@dataclass(frozen=True, slots=True)
class ChoiceSettings:
    """Settings of the decision.

    Attributes
    ----------
    sure_at : float
        Above this probability of one part, or of none, no further check is asked for: more
        than sound alone gives, which in one case of twenty means nothing. [-]
    listed_from : float
        Least probability of a suspect whose work is listed. [-]
    labour_rate_per_hour : float or None
        The user's own rate; money is told with it only. [per h]
    currency : str
        Written behind amounts.
    """

    sure_at: float = 0.96
    listed_from: float = 0.05
    labour_rate_per_hour: float | None = None
    currency: str = ""
    opening: OpeningSettings = field(default_factory=OpeningSettings)

    def __post_init__(self) -> None:
        """Refuse what makes no sense."""
        rate = self.labour_rate_per_hour
        if rate is not None and rate < 0.0:
            raise SettingsError(f"The labour rate is {rate:g} per hour; give 0 or more.")
        if not 0.5 <= self.sure_at < 1.0:
            raise SettingsError(f"sure_at is {self.sure_at:g}; give 0.5 to below 1.")


DEFAULT_CHOICE_SETTINGS = ChoiceSettings()


@dataclass(frozen=True, slots=True)
class SuspectWork:
    """What repairing one suspect takes, by its likeliest mechanism.

    `access_known` is False where the layout gives no access time and a usual one is used.
    `special_tools` are those of the layout and of the table; empty texts say nothing is
    known.
    """

    part: str
    title: str
    mechanism: str
    probability: float
    access_hours: float
    access_known: bool
    who: Who
    special_tools: tuple[str, ...]
    repair: str
    change_together: str
    harms: str
    caution: str


@dataclass(frozen=True, slots=True)
class CheckFirst:
    """One check before any opening: hours as in `Search`, its minutes included. [h]

    `saves_hours` of `expected_hours` is against opening at once; below 0 the check costs
    more than it gains.
    """

    ranked: RankedCheck
    working_hours: float
    expected_hours: float
    saves_hours: float

    @property
    def gain_minutes(self) -> float:
        """Hours it saves on average, its own minutes not taken off. [min]"""
        return self.saves_hours * _MINUTES + self.ranked.minutes


@dataclass(frozen=True, slots=True)
class StopAdvice:
    """Whether to stop checking, in a sentence; `sure` if a part is likely enough to be opened."""

    stop: bool
    sentence: str
    sure: bool = False


@dataclass(frozen=True, slots=True)
class RepairChoice:
    """The decision with what it rests on.

    Attributes
    ----------
    suspects : tuple of SuspectWork
        Likeliest first.
    none_of_them : float
        P(none of the listed parts is faulty).
    open_now : Search
        Order of opening and expected hours without any further check.
    opened_first : SuspectWork or None
        Work of the part that is opened first, not always the likeliest one: a part quickly
        reached may go before it. None where no opening pays.
    check_first : CheckFirst or None
        The check that saves most; None where there is none left.
    stop : StopAdvice
    service : tuple of ServiceDue
    settings : ChoiceSettings
        What it was decided with.
    """

    suspects: tuple[SuspectWork, ...]
    none_of_them: float
    open_now: Search
    opened_first: SuspectWork | None
    check_first: CheckFirst | None
    stop: StopAdvice
    service: tuple[ServiceDue, ...]
    settings: ChoiceSettings

    @property
    def working_hours(self) -> float:
        """Hours of checking and opening to be expected, on the way that is proposed. [h]"""
        if self.stop.stop or self.check_first is None:
            return self.open_now.working_hours
        return self.check_first.working_hours

    def money(self, hours: float) -> float | None:
        """Cost of these hours by the rate that was given, or None without one."""
        rate = self.settings.labour_rate_per_hour
        return None if rate is None else hours * rate


def choose_repair(
    drive: Drive,
    belief: Belief,
    ranked: Sequence[RankedCheck],
    knowledge: Knowledge,
    mileage: Mileage | None = None,
    settings: ChoiceSettings = DEFAULT_CHOICE_SETTINGS,
) -> RepairChoice:
    """Decide between opening now and one more check.

    Parameters
    ----------
    belief : Belief
        After all recordings and hand checks so far.
    ranked : sequence of RankedCheck
        Checks still to be made under the same belief, from `rank_checks`.
    mileage : Mileage, optional
        For what is due by distance.
    """
    search = best_search(drive, belief, settings.opening)
    if nobody(belief) > settings.sure_at:  # what is cheap to open is not opened for that
        search = Search((), 0.0, settings.opening.unfound_hours)
    first = best_check(drive, belief, ranked, settings)
    opened = belief.parts.index(search.openings[0].part) if search.openings else None
    return RepairChoice(
        suspects=find_suspect_work(drive, belief, knowledge, settings),
        none_of_them=nobody(belief),
        open_now=search,
        opened_first=None if opened is None else _work(drive, belief, opened, knowledge, settings),
        check_first=first,
        stop=when_to_stop(belief, first, settings),
        service=find_service_due(drive, mileage or Mileage(), knowledge),
        settings=settings,
    )


def find_suspect_work(
    drive: Drive,
    belief: Belief,
    knowledge: Knowledge,
    settings: ChoiceSettings = DEFAULT_CHOICE_SETTINGS,
) -> tuple[SuspectWork, ...]:
    """Work of every suspect that is likely enough to be listed, likeliest first."""
    likely = sorted(
        (k for k, p in enumerate(belief.faulty) if p >= settings.listed_from),
        key=lambda k: -belief.faulty[k],
    )
    return tuple(_work(drive, belief, k, knowledge, settings) for k in likely)


def best_check(
    drive: Drive,
    belief: Belief,
    ranked: Sequence[RankedCheck],
    settings: ChoiceSettings = DEFAULT_CHOICE_SETTINGS,
) -> CheckFirst | None:
    """The check that leaves the least expected hours, its own minutes included."""
    now = best_search(drive, belief, settings.opening).expected_hours
    tried = []
    for one in ranked:
        after = [
            (result.chance, best_search(drive, result.belief, settings.opening))
            for result in one.results
        ]
        own = one.minutes / _MINUTES
        working = own + sum(chance * search.working_hours for chance, search in after)
        hours = own + sum(chance * search.expected_hours for chance, search in after)
        tried.append(CheckFirst(one, working, hours, now - hours))
    return max(tried, key=lambda one: one.saves_hours, default=None)


def when_to_stop(
    belief: Belief,
    first: CheckFirst | None,
    settings: ChoiceSettings = DEFAULT_CHOICE_SETTINGS,
) -> StopAdvice:
    """Whether to stop checking: sure enough, nothing left, or the best check costs too much."""
    faulty = belief.faulty
    top = int(faulty.argmax()) if len(faulty) else None
    limit = probability_number(settings.sure_at)
    if top is not None and faulty[top] > settings.sure_at:
        sure = probability_number(float(faulty[top]))
        part = belief.parts[top]
        said = repair_words("stop", "sure", part=part, probability=sure, limit=limit)
        return StopAdvice(True, said, sure=True)
    if nobody(belief) > settings.sure_at:
        none = probability_number(nobody(belief))
        return StopAdvice(True, repair_words("stop", "cleared", probability=none, limit=limit))
    if first is None:
        return StopAdvice(True, repair_words("stop", "nothing_left"))
    pays = first.saves_hours > 0.0
    sentence = repair_words(
        "stop",
        "go_on" if pays else "not_worth",
        title=first.ranked.check.title,
        part=first.ranked.part,
        gain_min=max(0.0, first.gain_minutes),
        minutes=first.ranked.minutes,
    )
    return StopAdvice(not pays, sentence)


def _work(
    drive: Drive, belief: Belief, k: int, knowledge: Knowledge, settings: ChoiceSettings
) -> SuspectWork:
    part = drive.parts[belief.parts[k]]
    kind = knowledge.kinds[part.kind]
    row = _likeliest_row(part.kind, belief.mechanisms[k], knowledge)
    hours, known = access_hours(drive, part.name, settings.opening)
    return SuspectWork(
        part=part.name,
        title=part.title,
        # Which race it is the repair does not ask, and the sound seldom settles.
        mechanism=row.title.partition(",")[0] if row.race else row.title,
        probability=float(belief.faulty[k]),
        access_hours=hours,
        access_known=known,
        who=row.who or kind.who,
        special_tools=tuple(t for t in dict.fromkeys((part.special_tool, row.special_tool)) if t),
        repair=row.repair,
        change_together=row.change_together,
        harms=row.harms,
        caution=row.caution,
    )


def _likeliest_row(kind: str, shares: Mapping[str, float], knowledge: Knowledge) -> Mechanism:
    """The likeliest mechanism among those of the likeliest repair."""
    by_repair: dict[str, float] = {}
    by_row: dict[str, float] = {}
    for mechanism, share in shares.items():
        row = knowledge.mechanism(kind, mechanism)
        by_row[row.id] = by_row.get(row.id, 0.0) + share
        by_repair[row.repair] = by_repair.get(row.repair, 0.0) + share
    rows = [knowledge.mechanism(kind, name) for name in by_row]
    return max(rows, key=lambda row: (by_repair[row.repair], by_row[row.id]))
