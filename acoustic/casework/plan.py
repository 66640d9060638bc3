"""The plan of recordings: which points, speeds and loads, how long, in what order, and why.

Everything follows from the layout and the complaint: the speeds from what clears the phone's
limit, the lengths from the resolution, points and load switches from the pairs of suspects
that lines alone leave open.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import combinations

from acoustic.casework.clip_length import FEWEST_TURNS
from acoustic.casework.pair_advice import (
    NEARLY_ALL,
    Comparison,
    Key,
    PairAdvice,
    PlanReach,
    SharedWays,
    advise,
    compare_parts,
    hand_check_of,
    key_of,
    told_by,
)
from acoustic.casework.plan_speeds import PlanSpeeds, choose_speeds
from acoustic.casework.plan_steps import PlanStep, StepMaker, in_order
from acoustic.casework.plan_suspects import InQuestion, parts_in_question
from acoustic.casework.telling_lines import Audible, audible, lowest_rpm
from acoustic.drive.drive import Drive, ExpectedLine
from acoustic.drive.expected import expected_families
from acoustic.drive.hiding import PHONE_LIMIT_HZ, line_spacing
from acoustic.recording.taken import Taken
from acoustic.tables.plan_words import PlanTable, ProbeRow, read_plan_table
from acoustic.tables.sound_words import Complaint
from acoustic.verdict.belief import Belief

MOST_STEPS = 12
_MOST_LOADS = 3
_MOST_CHECKS = 3
_NAMED = 3
_RUNS_ON = "run-on rattle"
_STILL = ("Engine off", "Engine cold")  # how the tables begin a check with nothing running


@dataclass(frozen=True, slots=True)
class HiddenWays:
    """Mechanisms of a part whose likely lines all lie on the engine's own orders."""

    part: str
    titles: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Plan:
    """What to record of a drive, and what that will tell.

    Attributes
    ----------
    drive : str
    suspects : tuple of str
        Parts in question, likeliest first.
    idle_rpm, held_rpm : float, float or None
        Crankshaft speeds; None where there is no second one. [1/min]
    steps : tuple of PlanStep
        In the order to do them.
    pairs : tuple of PairAdvice
        One for each pair of suspects.
    hidden : tuple of HiddenWays
        What no recording will show, at whatever speed.
    minutes : float
        All steps that are not done. [min]
    """

    drive: str
    suspects: tuple[str, ...]
    idle_rpm: float
    held_rpm: float | None
    steps: tuple[PlanStep, ...]
    pairs: tuple[PairAdvice, ...]
    hidden: tuple[HiddenWays, ...]
    minutes: float


@dataclass(frozen=True, slots=True, eq=False)
class _Survey:
    """What is in question, at which speeds, and every pair compared."""

    drive: Drive
    parts: tuple[InQuestion, ...]
    heard: Mapping[Key, Audible]
    speeds: PlanSpeeds
    compared: tuple[Comparison, ...]
    probed: Mapping[str, str]

    @property
    def open_pairs(self) -> tuple[Comparison, ...]:
        """Pairs that lines do not tell apart."""
        return tuple(one for one in self.compared if not one.told_by_lines)


def make_plan(
    drive: Drive,
    complaint: Complaint | None = None,
    belief: Belief | None = None,
    done: Sequence[Taken] = (),
) -> Plan:
    """Plan the recordings of a drive.

    Parameters
    ----------
    drive : Drive
    complaint : Complaint, optional
        Words for the sound: they limit the plan to the parts somebody could mean by them.
    belief : Belief, optional
        After a first screening: limits the plan to what is still in question, and goes
        before the complaint's words there.
    done : sequence of Taken
        Recordings there are already; their steps are ticked. Speeds must be filled in.
    """
    table = read_plan_table()
    survey = _survey(drive, table, complaint, belief)
    maker = StepMaker(drive, survey.speeds, table, tuple(done))
    before, after = _fixed_steps(survey, maker, complaint)
    loads = _load_steps(survey, maker)
    room = MOST_STEPS - len(before) - len(after) - len(loads)
    points = _point_steps(survey, maker, room)
    recorded = sorted([*before, *loads], key=_place_in_order)
    steps = in_order([*recorded, *sorted(points, key=_speed_of), *after])
    reach = PlanReach(
        probed=survey.probed,
        chosen=tuple(step.asks_for.point for step in points if step.asks_for is not None),
        switches=tuple(s for step in loads if step.asks_for for s in step.asks_for.loads),
        hidden=tuple(one.part.name for one in survey.parts if _all_hidden(one, survey.heard)),
    )
    return Plan(
        drive=drive.name,
        suspects=tuple(one.part.name for one in survey.parts),
        idle_rpm=survey.speeds.idle_rpm,
        held_rpm=survey.speeds.held_rpm,
        steps=steps,
        pairs=tuple(advise(one, survey.speeds, reach, table.pair) for one in survey.compared),
        hidden=tuple(_hidden_ways(survey)),
        minutes=sum(step.minutes for step in steps if not step.done),
    )


def _survey(
    drive: Drive, table: PlanTable, complaint: Complaint | None, belief: Belief | None
) -> _Survey:
    families = expected_families(drive)
    parts = parts_in_question(drive, families, complaint, belief)
    every = [audible(drive, family) for family in families]
    # Words may mislead, so the speeds serve whatever the drive can make.
    speeds = choose_speeds(drive, [(one, one.family.prior_weight) for one in every])
    by_key = {(one.family.part, one.family.mechanism): one for one in every}
    heard = {key_of(way): by_key[key_of(way)] for one in parts for way in one.ways}
    compared = tuple(
        compare_parts(one, other, heard, speeds) for one, other in combinations(parts, 2)
    )
    probed = {
        one.part.name: place
        for one in parts
        if (place := probe_place(one.part.kind, one.part.name, one.part.probe_at, table.probe))
    }
    return _Survey(drive, parts, heard, speeds, compared, probed)


def probe_place(kind: str, part: str, probe_at: str | None, rules: ProbeRow) -> str | None:
    """Where a probe may rest for a part: its own place, one farther off, or None.

    The layout's place is not used where the only fixed bolt lies within or beside something
    that turns.
    """
    if not probe_at or kind in rules.never:
        return None
    return rules.instead.format(part=part) if kind in rules.beside_a_pulley else probe_at


# ------------------------------------------------------------------ steps


def _fixed_steps(
    survey: _Survey, maker: StepMaker, complaint: Complaint | None
) -> tuple[list[PlanStep], list[PlanStep]]:
    """Steps of every plan: checks and recordings in front, and the last of all."""
    speeds = survey.speeds
    before = [maker.checks("look", maker.table.step_row("look").why)]
    checks = _still_checks(survey)
    if checks:
        before.append(maker.checks("hands", maker.table.step_row("hands").why, " ".join(checks)))
    when = () if complaint is None else complaint.when
    turns = _turns(one for one in survey.compared if one.told_at_idle)
    before.append(maker.front(speeds.idle_rpm, turns, _why_idle(survey), when))
    if speeds.held_rpm is not None:
        turns = _turns(one for one in survey.compared if one.told_by_lines)
        before.append(maker.front(speeds.held_rpm, turns, _why_held(survey, speeds.held_rpm)))
    after = []
    said = complaint or Complaint()
    if not survey.drive.engine.motor and ("rattle" in said.sounds or "switch-off" in said.when):
        run_on = [key[0] for key, one in survey.heard.items() if _RUNS_ON in one.noises]
        named = ", ".join(dict.fromkeys(run_on)) or "none of the parts in question"
        why = [f"A rattle that runs on after switching off would speak for: {named}."]
        after.append(maker.switch_off(FEWEST_TURNS, why))
    return before, after


def _still_checks(survey: _Survey) -> list[str]:
    """Checks with nothing running for the pairs that no sound tells apart."""
    checks: dict[str, str] = {}
    for compared in survey.open_pairs:
        if told_by(compared, survey.probed) != "hand check":
            continue
        for one in (compared.first, compared.second):
            check = hand_check_of(one, compared.shared)
            if check.removeprefix(f"{one.part.name}: ").startswith(_STILL):
                checks.setdefault(one.part.name, check)
    return list(checks.values())[:_MOST_CHECKS]


def _load_steps(survey: _Survey, maker: StepMaker) -> list[PlanStep]:
    """Recordings with a load on, where it changes open pairs by different amounts."""
    told: dict[str, list[Comparison]] = {}
    for compared in survey.open_pairs:
        for switch in compared.helpful_switches():
            told.setdefault(switch, []).append(compared)
    ranked = sorted(told, key=lambda switch: -len(told[switch]))[:_MOST_LOADS]
    steps = []
    for switch in ranked:
        shared = [one for pair in told[switch] for one in pair.shared if switch in one.switches]
        rpm = survey.speeds.idle_rpm
        if not maker.idle_only(switch):
            rpm = _speed_for(shared, survey)
        why = [f"It changes these by different amounts: {_pairs_words(told[switch])}."]
        steps.append(maker.load(switch, rpm, _line_turns(shared, survey), why))
    return steps


def _point_steps(survey: _Survey, maker: StepMaker, room: int) -> list[PlanStep]:
    """Recordings at as few parts as have one of each pair that only a point tells apart."""
    left = [one for one in survey.open_pairs if told_by(one, survey.probed) == "point"]
    steps: list[PlanStep] = []
    while left and len(steps) < room:
        open_share: dict[str, float] = {}
        for compared in left:
            for part in _both(compared):
                if part in survey.probed:
                    open_share[part] = open_share.get(part, 0.0) + 1.0 - compared.told_any
        best = max(open_share, key=lambda part: open_share[part])
        told = [one for one in left if best in _both(one)]
        left = [one for one in left if best not in _both(one)]
        shared = [one for compared in told for one in compared.shared]
        others = [part for one in told for part in _both(one) if part != best]
        why = [f"Tells {best} from {', '.join(others)}: where the lines they share are louder."]
        rpm, turns = _speed_for(shared, survey), _line_turns(shared, survey)
        steps.append(maker.point(best, survey.probed[best], rpm, turns, why))
    return steps


def _place_in_order(step: PlanStep) -> tuple[bool, float, bool]:
    """Nothing running first, then slower before faster, loads after the plain recording."""
    return step.running, _speed_of(step), step.kind == "load"


def _speed_of(step: PlanStep) -> float:
    rpm = None if step.asks_for is None else step.asks_for.rpm
    return 0.0 if rpm is None else rpm


def _speed_for(shared: Sequence[SharedWays], survey: _Survey) -> float:
    """Idle if it shows nearly all that the held speed shows of what is shared."""
    at_idle, at_best = (
        sum(
            one.share
            for one in shared
            for way in (one.first, one.second)
            if _shows(survey.heard[key_of(way)], rpm)
        )
        for rpm in (survey.speeds.idle_rpm, survey.speeds.highest_rpm)
    )
    return survey.speeds.idle_rpm if at_idle >= NEARLY_ALL * at_best else survey.speeds.highest_rpm


def _shows(one: Audible, rpm: float) -> bool:
    return bool(one.likely_noises or one.heard_at(rpm))


def _turns(compared: Iterator[Comparison]) -> int:
    """Turns in one segment that part everything these pairs are told apart by."""
    return max((one.segment_turns for one in compared), default=FEWEST_TURNS)


def _line_turns(shared: Sequence[SharedWays], survey: _Survey) -> float:
    """Turns in one segment that keep the shared lines off the engine's own."""
    lines = [
        line
        for one in shared
        for way in (one.first, one.second)
        for line in survey.heard[key_of(way)].clear
    ]
    return max((2 / line_spacing(line.order) for line in lines), default=FEWEST_TURNS)


# ------------------------------------------------------------------ words


def _why_idle(survey: _Survey) -> list[str]:
    told = [one for one in survey.compared if one.told_at_idle]
    words = []
    if survey.compared:
        words.append(f"Tells apart by their lines {_count_words(told, survey)}.")
    low = survey.speeds.idle_rpm
    tones = _tones(survey)
    heard = sum(low >= lowest_rpm(line) for _, line in tones)
    if tones:
        words.append(
            f"{heard} of {len(tones)} likely tones off the engine's orders lie above "
            f"{PHONE_LIMIT_HZ:.0f} Hz at this speed."
        )
    return words


def _why_held(survey: _Survey, held_rpm: float) -> list[str]:
    told = [one for one in survey.compared if one.told_by_lines and not one.told_at_idle]
    words = [f"Tells apart {_count_words(told, survey)} that idle does not."] if told else []
    tones = _tones(survey)
    risen = [
        f"{part} (order {line.order:.2f})"
        for part, line in tones
        if survey.speeds.idle_rpm < lowest_rpm(line) <= held_rpm
    ]
    if risen:
        words.append(
            f"Likely tones that rise above {PHONE_LIMIT_HZ:.0f} Hz only here: {len(risen)}. "
            f"{_listed(risen)}."
        )
    words.append("A tone that follows the speed comes from something that turns.")
    return words


def _tones(survey: _Survey) -> list[tuple[str, ExpectedLine]]:
    return [
        (key[0], line)
        for key, one in survey.heard.items()
        for line in one.clear
        if not line.in_envelope
    ]


def _count_words(told: Sequence[Comparison], survey: _Survey) -> str:
    count = f"{len(told)} of {len(survey.compared)} pairs of suspects"
    return f"{count}, such as {_pairs_words(told)}" if told else count


def _pairs_words(told: Sequence[Comparison]) -> str:
    return _listed([" and ".join(_both(one)) for one in told])


def _both(compared: Comparison) -> tuple[str, str]:
    return compared.first.part.name, compared.second.part.name


def _listed(names: Sequence[str]) -> str:
    kept = list(dict.fromkeys(names))
    more = len(kept) - _NAMED
    return "; ".join(kept[:_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _all_hidden(one: InQuestion, heard: Mapping[Key, Audible]) -> bool:
    """Whether nearly all ways of a part lie on the engine's comb."""
    return sum(way.weight for way in one.ways if heard[key_of(way)].hidden) >= NEARLY_ALL


def _hidden_ways(survey: _Survey) -> Iterator[HiddenWays]:
    for one in survey.parts:
        titles = [way.family.title for way in one.ways if survey.heard[key_of(way)].hidden]
        if titles:
            yield HiddenWays(one.part.name, tuple(dict.fromkeys(titles)))
