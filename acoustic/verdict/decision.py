"""The verdict: exactly one of four, in words a person can act on.

"Source of this sound" and "this part is faulty" are two claims and never mixed.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from acoustic.drive.drive import Drive, ExpectedFamily
from acoustic.evidence.findings import Tone
from acoustic.evidence.tones import claimed
from acoustic.tables.knowledge import Knowledge
from acoustic.verdict.belt_slip import belt_slips
from acoustic.verdict.detectable import detectable_tone
from acoustic.verdict.groups import SuspectGroup, leading_group, unseen_parts
from acoustic.verdict.headline import MOST_NAMED, first_clause, headline_of, noise_clause
from acoustic.verdict.heard_noises import noises_of, plain_noises
from acoustic.verdict.heard_swelling import (
    rough_turning,
    strongest_swelling,
    unexplained_swelling,
)
from acoustic.verdict.joint_match import JointAnswer
from acoustic.verdict.line_evidence import best_voice, loudest_voice, voice_lines
from acoustic.verdict.suspects import (
    BeltSlip,
    Heard,
    LineEvidence,
    PlainNoise,
    Suspect,
    UnexplainedSwelling,
    UnexplainedTone,
    VerdictName,
)
from acoustic.verdict.wording import (
    LIKELY,
    POSSIBLE,
    UNSURE,
    evidence_against,
    evidence_for,
    families_near,
    stray_remark,
)

_SPEAKS_FOR = 3.0
"""Likelihood ratio from which a part that cannot be named is the first to check (judgement)."""
_RECORD_A_SOUND_ONE = (
    "Record the same drive when it is sound, or a sister engine, as a reference: it tells a "
    "healthy part's song from a fault."
)
_RACE_SHARE = 0.9
_RACE_EXCESS_DB = 20.0


@dataclass(frozen=True, slots=True)
class Decision:
    """What a screening concludes, apart from what it was made of."""

    verdict: VerdictName
    headline: str
    reasons: tuple[str, ...]
    next_steps: tuple[str, ...]
    suspects: tuple[Suspect, ...] = ()
    unexplained: tuple[UnexplainedTone, ...] = ()
    detectable: str = ""
    unseen: tuple[str, ...] = ()
    slips: tuple[BeltSlip, ...] = ()
    noises: tuple[PlainNoise, ...] = ()
    swelling: tuple[UnexplainedSwelling, ...] = ()


def decide(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Mapping[int, Heard],
    answer: JointAnswer,
    knowledge: Knowledge,
    *,
    referred: bool = False,
) -> Decision:
    """Draw the verdict from the settled match.

    Parameters
    ----------
    heard : mapping of int to Heard
        The recordings the match ran on, in the same order, each with its spectrum, by
        their place among all that were given.
    referred : bool
        Whether a recording of the sound drive was learnt from.
    """
    each = list(heard.values())
    group = leading_group(drive, families, answer)
    suspects = _suspects(drive, heard, answer, group, knowledge)
    unexplained = _unexplained(drive, families, heard, answer, suspects)
    detectable = detectable_tone(each)
    unseen = unseen_parts(answer)
    # What a growl speaks is an upper bound: it never goes before a ratio that was fitted.
    growl = rough_turning(drive, families, heard, suspects)
    noises = (*plain_noises(heard, answer, knowledge), *growl)
    swells = strongest_swelling(heard)
    first = _first_to_check(answer, suspects)
    verdict = _verdict(each, answer, group, suspects, noises)
    return Decision(
        verdict=verdict,
        headline=headline_of(verdict, suspects, unexplained, detectable, noises, swells)
        + (first_clause(first) if verdict == "cannot_tell" and not noises else ""),
        reasons=_reasons(verdict, suspects, each, unseen, detectable, noises),
        next_steps=_next_steps(verdict, suspects, each, drive, (noises, first))
        + (() if referred or verdict == "nothing_found" else (_RECORD_A_SOUND_ONE,)),
        suspects=suspects,
        unexplained=unexplained,
        detectable=detectable,
        unseen=unseen,
        slips=belt_slips(drive, answer, suspects),
        noises=noises,
        swelling=unexplained_swelling(families, heard, answer, suspects),
    )


def source_probability(answer: JointAnswer, part: int) -> float:
    """P(the part makes sound that was found), healthy or faulty.

    The part's share in the tone it has the best claim on. A part that sings beyond
    hearing has its prior chance of singing, and that is no finding.
    """
    made = float(np.max(answer.result.tone_shares[part], initial=0.0))
    return float(np.clip(max(answer.result.faulty[part], made), 0.0, 1.0))


def _suspects(
    drive: Drive,
    heard: Mapping[int, Heard],
    answer: JointAnswer,
    group: SuspectGroup,
    knowledge: Knowledge,
) -> tuple[Suspect, ...]:
    sources = np.array([source_probability(answer, k) for k in range(len(answer.parts))])
    ranked = np.lexsort((-sources, -answer.result.faulty))
    return tuple(
        _suspect(int(k), float(sources[k]), drive, heard, answer, group, knowledge) for k in ranked
    )


def _suspect(
    part: int,
    source: float,
    drive: Drive,
    heard: Mapping[int, Heard],
    answer: JointAnswer,
    group: SuspectGroup,
    knowledge: Knowledge,
) -> Suspect:
    name = answer.parts[part]
    sounding = loudest_voice(answer, part)
    lines = voice_lines(answer, sounding, heard) if sounding is not None and source > 0.02 else ()
    mechanism, check, caution = _mechanism_words(part, drive, answer, lines, knowledge)
    noises = noises_of(part, heard, answer, knowledge) if source > 0.02 else ()
    others = tuple(answer.parts[k] for k in group.parts if k != part)
    # Parts that are all unlikely are no choice to be made.
    in_group = part in group.parts and len(group.parts) > 1
    in_group &= float(answer.result.faulty[group.parts[0]]) >= UNSURE
    return Suspect(
        part=name,
        mechanism=mechanism,
        mechanisms=_mechanism_shares(answer, part),
        probability=float(answer.result.faulty[part]),
        source_probability=source,
        evidence=(*noises, *evidence_for(lines, len(heard))),
        against=evidence_against(lines, len(heard)),
        not_separable_from=others if in_group else (),
        group_reason=group.reason if in_group else "",
        hand_check=check,
        caution=caution,
        lines=lines,
    )


def _mechanism_shares(answer: JointAnswer, part: int) -> tuple[tuple[str, float], ...]:
    shares: dict[str, float] = {}
    for v, voice in enumerate(answer.voices):
        if voice.part == part and voice.family is not None:
            title = voice.family.title
            shares[title] = shares.get(title, 0.0) + float(answer.result.voice_shares[v])
    return tuple(sorted(shares.items(), key=lambda item: -item[1]))


def _mechanism_words(
    part: int,
    drive: Drive,
    answer: JointAnswer,
    lines: Sequence[LineEvidence],
    knowledge: Knowledge,
) -> tuple[str, str, str]:
    """Likeliest mechanism with its hand check and caution."""
    name = answer.parts[part]
    best = best_voice(answer, part)
    family = answer.voices[best].family if best is not None else None
    if family is None:
        return "", "", ""
    kind = drive.parts[name].kind if name in drive.parts else ""
    try:
        row = knowledge.mechanism(kind, family.mechanism)
    except KeyError:
        return family.title, "", ""
    title = family.title
    if row.race and not _race_is_sure(best, answer, lines):
        place = title.partition(" (")[2]
        title = "worn bearing, race not certain" + (f" ({place}" if place else "")
    return title, row.hand_check, row.caution


def _race_is_sure(best: int | None, answer: JointAnswer, lines: Sequence[LineEvidence]) -> bool:
    """Whether one race may be named: it fits far better, and its lines are loud.

    Ball damage shows race lines too, and wrong lines come near 20 dB.
    """
    share = float(answer.result.voice_shares[best]) if best is not None else 0.0
    loud = [e for e in lines if e.state == "heard" and (e.excess_db or 0.0) >= _RACE_EXCESS_DB]
    return share >= _RACE_SHARE and len(loud) >= 2


def _unexplained(
    drive: Drive,
    families: Sequence[ExpectedFamily],
    heard: Mapping[int, Heard],
    answer: JointAnswer,
    suspects: Sequence[Suspect],
) -> tuple[UnexplainedTone, ...]:
    rows = []
    for r, (number, one) in enumerate(heard.items()):
        for tone in one.tones:
            if (
                tone.on_comb
                or _explained(answer, r, tone.order)
                or _line_of(suspects, number, tone)
            ):
                continue
            near = families_near(families, tone.order, 0.02)
            remark = stray_remark(tone, near, drive.engine.order_step)
            rows.append(UnexplainedTone(number, tone, remark))
    return tuple(rows)


def _explained(answer: JointAnswer, recording: int, order: float) -> bool:
    """Whether some part has the better claim on the tone at this order."""
    place = int(answer.tables[recording].place_of(np.log(order)))
    for tone, stray in zip(answer.hot[recording], answer.stray_probability[recording], strict=True):
        if tone.first - 2 <= place <= tone.last + 2:
            return bool(stray < 0.5)
    return False


def _line_of(suspects: Sequence[Suspect], number: int, tone: Tone) -> bool:
    """Whether a likely source has one of its lines here."""
    return any(
        line.recording == number
        and line.state == "heard"
        and abs(line.order - tone.order) < 3 * tone.order_sd
        for suspect in suspects
        if suspect.source_probability >= POSSIBLE
        for line in suspect.lines
    )


def _verdict(
    heard: Sequence[Heard],
    answer: JointAnswer,
    group: SuspectGroup,
    suspects: Sequence[Suspect],
    noises: Sequence[PlainNoise],
) -> VerdictName:
    top = suspects[0].probability if suspects else 0.0
    together = float(sum(answer.result.faulty[k] for k in group.parts))
    found = any(claimed(h.tones) for h in heard)
    # What somebody said tells between parts, but accuses none that was not heard at all.
    borne_out = answer.words is None or any(suspect.evidence for suspect in suspects)
    if borne_out and (top >= POSSIBLE or together >= LIKELY):
        return "suspects"
    if found and any(s.source_probability > LIKELY for s in suspects):
        return "suspects"
    swells = any(h.swelling for h in heard)
    if not found and not noises and not swells and top < POSSIBLE:
        return "nothing_found"
    return "cannot_tell"


def _first_to_check(answer: JointAnswer, suspects: Sequence[Suspect]) -> tuple[Suspect, ...]:
    """The leading part, if what was heard speaks for it at all."""
    ratios = dict(zip(answer.parts, answer.result.fault_evidence, strict=True))
    return tuple(s for s in suspects[:1] if ratios[s.part] >= _SPEAKS_FOR)


def _reasons(
    verdict: VerdictName,
    suspects: Sequence[Suspect],
    heard: Sequence[Heard],
    unseen: Sequence[str],
    detectable: str,
    noises: Sequence[PlainNoise],
) -> tuple[str, ...]:
    reasons = []
    if verdict == "suspects":
        lead = suspects[0]
        loud = max(suspects, key=lambda s: s.source_probability)
        shown = lead if lead.probability >= POSSIBLE else loud
        beside = [noise for noise in noises if shown.part not in noise.parts[:1]]
        reasons += [f"Heard besides: {noise_clause(noise, suspects)}" for noise in beside[:1]]
        reasons += list(shown.evidence[: 2 - len(reasons)])
        if lead.not_separable_from:
            others = ", ".join(lead.not_separable_from)
            reasons.append(f"{lead.part} cannot be told from {others}: {lead.group_reason}.")
        elif shown.against:
            reasons.append(f"Against it: {shown.against[0]}.")
    else:
        found = _counted(sum(len(h.tones) for h in heard), "tone") + " above the noise floor"
        swelling = sum(len(h.swelling) for h in heard)
        and_swelling = f", and swelling at {_counted(swelling, 'order')}" if swelling else ""
        reasons.append(f"{found}{and_swelling}.")
        if verdict == "cannot_tell" and detectable:
            reasons.append(detectable)
    if unseen:
        reasons.append(
            f"None of the lines of {', '.join(unseen)} could be heard at this speed: "
            "nothing is said of them."
        )
    return tuple(reasons[:3])


def _counted(count: int, what: str) -> str:
    return f"{count} {what}{'s' if count != 1 else ''}"


def _next_steps(
    verdict: VerdictName,
    suspects: Sequence[Suspect],
    heard: Sequence[Heard],
    drive: Drive,
    heard_of: tuple[Sequence[PlainNoise], Sequence[Suspect]],
) -> tuple[str, ...]:
    """Hand checks and recordings; `heard_of` are noises told and the first parts to check."""
    noises, first = heard_of
    steps = []
    if verdict == "suspects":
        checked = [s for s in suspects if s.probability >= 0.2 or s.source_probability > LIKELY]
    else:
        asked = [part for noise in noises[:1] for part in noise.parts[:MOST_NAMED]]
        checked = [s for s in suspects if s.part in asked] or list(first)
    steps += [f"{s.part}: {s.hand_check}" for s in checked[:3] if s.hand_check]
    speeds = sorted(h.speed.mean_rpm for h in heard if h.speed is not None)
    if len(speeds) < 2 or speeds[-1] < 1.15 * speeds[0]:
        held = _held_speed(drive, speeds[0] if speeds else 0.0)
        steps.append(
            f"Record 20 to 30 s at a held {held:.0f} rpm, same place, phone kept still: low "
            "orders come into the phone's range there, and suspects separate."
        )
    return tuple(steps)


def _held_speed(drive: Drive, heard_rpm: float) -> float:
    """A second speed well above the first, inside the working range, in round figures."""
    low, high = drive.engine.working_rpm
    wanted = min(max(2000.0, low), 0.95 * high)
    if heard_rpm and wanted < 1.3 * heard_rpm:
        wanted = drive.engine.idle_rpm[1]
    return round(wanted / 50.0) * 50.0
