"""What the result of a hand check proves, and what stays unsettled.

A check at a part bears on that part. A check of a belt drive, such as a run with the belt
off, tells where the noise is: where several parts are faulty each of them is taken to be
the one listened to equally often.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

from acoustic.drive.drive import BeltGeometry, Drive
from acoustic.errors import CaseError
from acoustic.tables.hand_check_rows import HandCheck
from acoustic.tables.knowledge import Knowledge
from acoustic.verdict.belief import Belief, PartLikelihood

_NEGLIGIBLE = 1e-9  # as in the belief itself


@dataclass(frozen=True, slots=True)
class CheckMade:
    """A hand check that was made: id of the check, name of the part, id of the result."""

    check: str
    part: str
    result: str


def apply_result(drive: Drive, belief: Belief, done: CheckMade, knowledge: Knowledge) -> Belief:
    """The belief after a hand check, by Bayes' rule.

    Raises
    ------
    CaseError
        Naming a check, part or result that is not known, and those that are.
    """
    return _apply(drive, belief, done, knowledge)[1]


def chance_of_result(drive: Drive, belief: Belief, done: CheckMade, knowledge: Knowledge) -> float:
    """P(the check comes out like this) under the belief; sums to 1 over its results.

    Raises
    ------
    CaseError
        As `apply_result`.
    """
    return _apply(drive, belief, done, knowledge)[0]


def outcomes(
    drive: Drive, belief: Belief, check: HandCheck, part: str, knowledge: Knowledge
) -> tuple[tuple[CheckMade, float, Belief], ...]:
    """Every result of a check at a part: (result, its chance, the belief after it)."""
    made = [CheckMade(check.id, part, result.id) for result in check.results]
    return tuple((done, *_apply(drive, belief, done, knowledge)) for done in made)


def unsettled_nat(drive: Drive, belief: Belief, knowledge: Knowledge) -> float:
    """Entropy of what is to be repaired: which parts, and what has to be done to each. [nat]

    Mechanisms with the same repair (the races of one bearing) count as one, since telling
    them apart would change nothing. Shannon (1948); mechanisms of several faulty parts are
    independent, as in `Belief`.
    """
    total = belief.uncertainty_nat
    for part, faulty, shares in zip(belief.parts, belief.faulty, belief.mechanisms, strict=True):
        kind = drive.parts[part].kind
        by_repair: dict[str, float] = {}
        for mechanism, share in shares.items():
            repair = knowledge.mechanism(kind, mechanism).repair
            by_repair[repair] = by_repair.get(repair, 0.0) + share
        whole = sum(by_repair.values())
        spread = (s / whole for s in by_repair.values() if s > 0.0)
        total += float(faulty) * -sum(s * math.log(s) for s in spread)
    return total


def belt_of(drive: Drive, part: str) -> BeltGeometry | None:
    """The belt that drives a part or that it touches; for a belt the belt itself."""
    for belt in drive.belts.values():
        if _driven_by(drive, belt, part):
            return belt
    for belt in drive.belts.values():
        if drive.parts[part].pulley in belt.path:
            return belt
    return None


def turns_free_without_belt(drive: Drive, part: str) -> bool:
    """Whether it can be turned by hand once its belt is off."""
    return any(_driven_by(drive, belt, part) for belt in drive.belts.values())


def driven_parts(drive: Drive, belt: BeltGeometry) -> tuple[str, ...]:
    """The belt, and all that stands still without it, by name."""
    return tuple(name for name in drive.parts if _driven_by(drive, belt, name))


def _driven_by(drive: Drive, belt: BeltGeometry, name: str) -> bool:
    part = drive.parts[name]
    if part.kind == "belt":
        return name == f"belt {belt.name}"
    if part.pulley in belt.path[1:]:
        return True
    if part.pulley == belt.driver:  # what sits in a one-way driving pulley idles without it
        return part.kind in {"overrunning drive pulley", "overrunning pulley", "decoupler pulley"}
    return f"slip of belt {belt.name}" in drive.shafts[part.shaft].depends_on


def _apply(
    drive: Drive, belief: Belief, done: CheckMade, knowledge: Knowledge
) -> tuple[float, Belief]:
    check = _known_check(belief, done, knowledge)
    at = check.index(done.result)
    belt = belt_of(drive, done.part) if check.bears_on == "belt drive" else None
    if belt is None:
        likelihoods = {done.part: _at_part(belief, check, at, done.part, knowledge)}
        return belief.probability(likelihoods), belief.updated(likelihoods)
    by_part = {
        part: _on_belt_drive(drive, belief, (check, at), (belt, part), knowledge)
        for part in belief.parts
    }
    return _updated_by_one_noise(belief, by_part, check.part_sound[at])


def _known_check(belief: Belief, done: CheckMade, knowledge: Knowledge) -> HandCheck:
    check = knowledge.hand_checks.get(done.check)
    if check is None:
        known = ", ".join(sorted(knowledge.hand_checks))
        raise CaseError(f"Hand check {done.check!r} is not known. Known are: {known}.")
    if done.part not in belief.parts:
        known = ", ".join(belief.parts)
        raise CaseError(f"Hand check at {done.part!r}: no such part here. Known are: {known}.")
    ids = [result.id for result in check.results]
    if done.result not in ids:
        raise CaseError(
            f"Hand check {done.check!r}: {done.result!r} is none of its results. "
            f"Known are: {', '.join(ids)}."
        )
    return check


def _at_part(
    belief: Belief, check: HandCheck, at: int, part: str, knowledge: Knowledge
) -> PartLikelihood:
    named = {
        mechanism: chances[at]
        for mechanism in belief.mechanisms[belief.parts.index(part)]
        if (chances := knowledge.named_chances(check, mechanism)) is not None
    }
    return PartLikelihood(check.part_sound[at], check.other_fault[at], named)


def _on_belt_drive(
    drive: Drive,
    belief: Belief,
    result: tuple[HandCheck, int],
    place: tuple[BeltGeometry, str],
    knowledge: Knowledge,
) -> PartLikelihood:
    """Likelihoods of a part for a check of a belt drive; what the belt passes by is elsewhere."""
    (check, at), (belt, part) = result, place
    elsewhere = check.part_sound[at]
    if _driven_by(drive, belt, part):
        here = _at_part(belief, check, at, part, knowledge)
        return PartLikelihood(elsewhere, here.faulty, here.by_mechanism)
    if drive.parts[part].pulley in belt.path:
        here = _at_part(belief, check, at, part, knowledge)
        return PartLikelihood(elsewhere, elsewhere, here.by_mechanism)
    return PartLikelihood(elsewhere, elsewhere)


def _updated_by_one_noise(
    belief: Belief, by_part: Mapping[str, PartLikelihood], elsewhere: float
) -> tuple[float, Belief]:
    """Bayes' rule where one noise is judged: any of the faulty parts may be the one heard."""
    ordered = [by_part[part] for part in belief.parts]
    if_faulty = [_mean(shares, one) for shares, one in zip(belief.mechanisms, ordered, strict=True)]
    weights: list[float] = []
    beside = [0.0] * len(belief.parts)  # weight by what the other faulty parts explain
    own = [0.0] * len(belief.parts)
    for chosen, weight in belief.sets:
        together = sum(if_faulty[k] for k in chosen)
        weights.append(weight * (together / len(chosen) if chosen else elsewhere))
        for k in chosen:
            own[k] += weight / len(chosen)
            beside[k] += weight * (together - if_faulty[k]) / len(chosen)
    total = sum(weights)
    if not total > 0.0:
        return 0.0, belief
    sets = tuple(
        (chosen, weight / total)
        for (chosen, _), weight in zip(belief.sets, weights, strict=True)
        if weight > _NEGLIGIBLE * total
    )
    mechanisms = tuple(
        _reshared(shares, {name: own[k] * ordered[k].of(name) + beside[k] for name in shares})
        for k, shares in enumerate(belief.mechanisms)
    )
    return total, Belief(belief.parts, sets, mechanisms)


def _mean(shares: Mapping[str, float], likelihood: PartLikelihood) -> float:
    whole = sum(shares.values())
    if not whole > 0.0:
        return likelihood.faulty
    return sum(share * likelihood.of(name) for name, share in shares.items()) / whole


def _reshared(shares: Mapping[str, float], factors: Mapping[str, float]) -> Mapping[str, float]:
    weighed = {name: share * factors[name] for name, share in shares.items()}
    whole = sum(weighed.values())
    return {name: one / whole for name, one in weighed.items()} if whole > 0.0 else shares
