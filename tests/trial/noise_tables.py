"""The tables of the trial of all noises, as text."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Sequence

import numpy as np
from noise_cases import HEALTHY, case_of
from noise_judging import NOTHING, SONG, Outcome, Right, planted_way
from reliability import reliability
from scoring import CALL, brier, pairs
from sound_classes import MEANING, SoundClass

COLUMNS = (*SoundClass, SONG, NOTHING)
# "unsure": found, but nobody named; the first of the suspects was right or wrong. "alike in
# sound": what is named shows in the planted way too, but is of another class.
LOSSES = (
    "speed not heard",
    "not found",
    "unsure, right",
    "unsure, wrong",
    "a song instead",
    "other part",
    "alike in sound",
    "other sound",
)
Test = Callable[[Outcome], bool]


def render_outcomes(outcomes: Sequence[Outcome]) -> str:
    """All tables of a trial."""
    return "\n\n".join(
        [
            _make_up(outcomes),
            render_reach(outcomes),
            render_classes(outcomes),
            render_losses(outcomes),
            "planted (rows) against answered, at or above 0 dB in band:\n"
            + render_confusion([o for o in outcomes if o.plain or o.recipe.sound is None]),
            "the same, fainter:\n"
            + render_confusion([o for o in outcomes if not o.plain and o.recipe.sound]),
            render_calibration(outcomes),
            "classes:\n" + "\n".join(f"  {sound:9}{MEANING[sound]}" for sound in SoundClass),
        ]
    )


def _make_up(outcomes: Sequence[Outcome]) -> str:
    faulty = _faulty(outcomes)
    seeds = {o.recipe.layout_seed for o in outcomes}
    two = sum(len(case_of(o.recipe).settings.conditions) > 1 for o in outcomes)
    unheard = sum(not o.score.answered for o in outcomes)
    return (
        f"{len(outcomes)} cases on {len(seeds)} layouts: {len(faulty)} with a fault, "
        f"{sum(o.plain for o in faulty)} of them at or above 0 dB in band; "
        f"{len(outcomes) - len(faulty)} healthy; {two} at two speeds; "
        f"{unheard} without an answer as the speed was not heard"
    )


def render_reach(outcomes: Sequence[Outcome]) -> str:
    """The figures asked for, beside what is wanted."""
    plain = [o for o in _faulty(outcomes) if o.plain]
    faint = [o for o in _faulty(outcomes) if not o.plain]
    healthy = [o for o in outcomes if o.recipe.sound is None]
    rattles = [o for o in outcomes if o.recipe.sound == SoundClass.RANDOM]
    engines = [o for o in outcomes if o.recipe.sound in (SoundClass.HISS, SoundClass.MISFIRE)]
    ticks = [o for o in outcomes if o.recipe.sound == SoundClass.ENGINE]
    return "\n".join(
        [
            f"{'':48}named               named or told       first of list       wanted",
            _both("class right, at or above 0 dB", plain, "sound", ">= 0.90"),
            _both("  the same, by its likeliest way alone", plain, "likeliest", ""),
            _both("part or stated group right, at or above 0 dB", plain, "part", ">= 0.85"),
            _both("class right, fainter", faint, "sound", ""),
            _both("part or stated group right, fainter", faint, "part", ""),
            _reach("healthy accused at P > 0.8", _share(healthy, _accused), "<= 0.01"),
            _reach("  of it a part of the drive", _share(healthy, _drive_accused), ""),
            _reach("random rattle called engine or shaft", _share(rattles, _miscalled), "<= 0.05"),
            _reach("hiss, misfire blamed on the drive", _share(engines, _is_blamed), "0"),
            _reach("engine's tick blamed on the drive", _share(ticks, _is_blamed), ""),
        ]
    )


def _both(what: str, outcomes: Sequence[Outcome], of_what: str, wanted: str) -> str:
    """One figure of the part named and of the first of the list."""
    count = len(outcomes)
    named = _counted(sum(getattr(o.named_right, of_what) for o in outcomes), count)
    told = _counted(sum(getattr(o.told_right, of_what) for o in outcomes), count)
    lead = _counted(sum(getattr(o.lead_right, of_what) for o in outcomes), count)
    return f"{what:44} {named}  {told}  {lead}  {wanted}".rstrip()


def _reach(what: str, counted: tuple[int, int], wanted: str) -> str:
    return f"{what:44} {_counted(*counted)}{'':44}{wanted}".rstrip()


def _counted(hits: int, count: int) -> str:
    return f"{hits / max(count, 1):5.3f} ({hits:3} of {count:3})"


def _share(outcomes: Iterable[Outcome], test: Test) -> tuple[int, int]:
    hits = [test(o) for o in outcomes]
    return sum(hits), len(hits)


def _faulty(outcomes: Iterable[Outcome]) -> list[Outcome]:
    return [o for o in outcomes if o.recipe.sound is not None]


def _is_blamed(outcome: Outcome) -> bool:
    return bool(outcome.blamed)


def _accused(outcome: Outcome) -> bool:
    return any(p > CALL for p, _ in outcome.score.faulty)


def _drive_accused(outcome: Outcome) -> bool:
    return _accused(outcome) and _is_blamed(outcome)


def _miscalled(outcome: Outcome) -> bool:
    """A shield's rattle laid to anything else: the engine itself or a part that turns."""
    fault = case_of(outcome.recipe).fault
    return fault is not None and outcome.named not in ("", fault.part) and outcome.answer != SONG


def render_classes(outcomes: Sequence[Outcome]) -> str:
    """Per class: found, class and part right of what is named and what leads, who is blamed."""
    head = "   n  found  class  part  1st class  part"
    lines = [
        f"{'':9}{'at or above 0 dB in band':42}   {'fainter':42}  blamed on",
        f"{'planted':9}{head:42}   {head:42}  the drive",
    ]
    for sound in SoundClass:
        own = [o for o in outcomes if o.recipe.sound == sound]
        if own:
            blamed = sum(map(_is_blamed, own)) / len(own)
            lines.append(f"{sound:9}{_loud_and_faint(own)} {blamed:9.2f}")
    lines.append(f"{'all':9}{_loud_and_faint(_faulty(outcomes))}".rstrip())
    return "\n".join(lines)


def _loud_and_faint(own: Sequence[Outcome]) -> str:
    loud, faint = [o for o in own if o.plain], [o for o in own if not o.plain]
    return f"{_figures(loud):42}   {_figures(faint):42}"


def _figures(own: Sequence[Outcome]) -> str:
    if not own:
        return f"{0:4}"
    found = np.mean([o.found for o in own])
    named, lead = [o.named_right for o in own], [o.lead_right for o in own]
    return (
        f"{len(own):4} {found:6.2f} {_mean(named, 'sound'):6.2f} {_mean(named, 'part'):5.2f}"
        f" {_mean(lead, 'sound'):10.2f} {_mean(lead, 'part'):5.2f}"
    )


def _mean(rights: Sequence[Right], of_what: str) -> float:
    return float(np.mean([getattr(right, of_what) for right in rights]))


def render_losses(outcomes: Sequence[Outcome]) -> str:
    """Where answers were lost, per class, as loud + faint."""
    lines = ["where class or part was lost (at or above 0 dB + fainter):"]
    lines.append(f"{'':9}" + "".join(f"{loss:>17}" for loss in LOSSES))
    for sound in SoundClass:
        own = [o for o in outcomes if o.recipe.sound == sound]
        if own:
            cells = [_split([o for o in own if o.loss == loss]) for loss in LOSSES]
            lines.append(f"{sound:9}" + "".join(f"{cell:>17}" for cell in cells))
    cells = [_split([o for o in outcomes if o.loss == loss]) for loss in LOSSES]
    lines.append(f"{'all':9}" + "".join(f"{cell:>17}" for cell in cells))
    return "\n".join(lines)


def _split(own: Sequence[Outcome]) -> str:
    loud = sum(o.plain for o in own)
    return f"{loud} + {len(own) - loud}" if own else "."


def render_confusion(outcomes: Sequence[Outcome]) -> str:
    """Planted class against answered class."""
    counts = Counter((o.recipe.sound or HEALTHY, o.answer) for o in outcomes)
    lines = [f"{'':9}" + "".join(f"{column:>8}" for column in COLUMNS)]
    for row in (*SoundClass, HEALTHY):
        cells = [counts[row, column] for column in COLUMNS]
        if sum(cells):
            lines.append(f"{row:9}" + "".join(f"{cell or '.':>8}" for cell in cells))
    return "\n".join(lines)


def render_calibration(outcomes: Sequence[Outcome]) -> str:
    """Brier score and what came true of the stated probabilities."""
    lines = ["calibration: stated probability, share that came true, statements"]
    scores = [o.score for o in outcomes]
    for claim, title in (("faulty", "P(faulty)"), ("source", "P(makes the sound)")):
        rows = pairs(scores, claim)
        found = reliability(rows)
        lines.append(f"  {title}: Brier {brier(rows):.4f}, off by {found.error:.4f}")
        lines += [
            f"    {stated:5.3f}  {share:5.3f} ({low:.2f} to {high:.2f})  {count:5}"
            for stated, share, low, high, count in zip(
                found.stated, found.came_true, found.low, found.high, found.count, strict=True
            )
        ]
    return "\n".join(lines)


def render_cases(outcomes: Sequence[Outcome]) -> str:
    """Every case that is not fully right, a line each."""
    lines = []
    for one in outcomes:
        accused = one.recipe.sound is None and (_accused(one) or one.blamed)
        if one.loss or accused:
            speeds = len(case_of(one.recipe).settings.conditions)
            top = max((p for p, _ in one.score.faulty), default=0.0)
            lines.append(
                f"{one.recipe.name:22} {one.level_db:+6.1f} dB {speeds} sp  {one.loss:15} "
                f"[{planted_way(one)}] -> {one.named or '-'}: {one.named_mechanism or one.answer} "
                f"(highest P {top:.2f})"
            )
    return "\n".join(lines)
