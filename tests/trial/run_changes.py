"""The trial of before and after: made pairs whose true change is known, and what is said of them.

    python tests/trial/run_changes.py                   reported layouts
    python tests/trial/run_changes.py --tuning          the layouts for choosing settings
    python tests/trial/run_changes.py --placing contact     all on a marked contact point
    python tests/trial/run_changes.py --placing swapped     other scenes: by hand where they
                                                            were on a contact point, and back

One fault is planted; after the repair it is gone, 10 dB lower, as it was, 6 dB louder, or
gone with a fault of another part in its place. All takes of a drive are of one engine in one
surrounding (its ranges are drawn once), and differ as takes do: each time the phone is put
down the level of every family moves by `level_shift_db`, single lines by half of that, and
the way to the phone by the like. Every second layout goes through a codec. Automatic gain is
on. What was repaired is taken to be known, with the place of its lines, as from a screening
that was right.
"""

from __future__ import annotations

import argparse
import math
import os
import pickle
import sys
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

os.environ.setdefault("OMP_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).parent))

import numpy as np
from random_layouts import layout_of_seed
from scenes import REPORTED_LAYOUTS, TUNING_LAYOUTS, draw_fault, draw_knocks

from acoustic.drive.build import build_drive
from acoustic.drive.drive import Drive
from acoustic.drive.expected import expected_families
from acoustic.errors import CaseError
from acoustic.evidence.comb import comb_levels
from acoustic.evidence.fixed_tones import spectrum_over_hz, without_fixed_lines
from acoustic.evidence.order_spectrum import track_orders
from acoustic.evidence.tones import find_tones
from acoustic.recording.quality import codec_cutoff_hz
from acoustic.recording.recording import Recording
from acoustic.recording.speed_given import speed_of
from acoustic.recording.stretches import find_stretches
from acoustic.recording.taken import Taken
from acoustic.screening import ScreenSettings
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import (
    Codec,
    Condition,
    EngineSound,
    HealthySong,
    Phone,
    PlantedFault,
    SceneSettings,
    Surroundings,
)
from acoustic.synthetic.truth import RecordingTruth
from acoustic.verdict.change import compare
from acoustic.verdict.change_values import Change, ChangeSettings, Take, Target
from acoustic.verdict.suspects import Heard

KINDS = {"gone": -math.inf, "-10 dB": -10.0, "as it was": 0.0, "+6 dB": 6.0, "another": -math.inf}
HAND_HELD_DB, CONTACT_DB = (2.0, 2.7), (0.8, 1.3)  # sd of a family's level from take to take
SECONDS, RATE_HZ = 20.0, 24000
WARM_UP = Condition("first", duration_s=0.6)  # the first of a scene has no scatter: not used
HEARD_FROM_DB = -10.0  # level of a planted fault: those softer are no case for a proof


@dataclass(frozen=True, slots=True)
class Pair:
    """One drive: the takes before, and those after each kind of repair."""

    layout_seed: int
    fault: PlantedFault
    other: PlantedFault
    contact: bool
    before: tuple[Take, ...]
    after: dict[str, tuple[Take, ...]]
    truths: dict[str, tuple[RecordingTruth, ...]]


@dataclass(frozen=True, slots=True)
class Judged:
    """What was said of one kind of repair."""

    layout_seed: int
    kind: str
    takes: int
    contact: bool
    detectable: bool
    new_detectable: bool
    change: Change
    moved_orders: tuple[float, ...]


def fixed_engine(seed: int, rng: np.random.Generator) -> EngineSound:
    """One engine for all takes: its comb by a seed, its noises drawn once."""
    usual = EngineSound()
    combustion_db, ticking_db, swing = (
        float(rng.uniform(*limits))
        for limits in (usual.combustion_db, usual.ticking_db, usual.turn_fluctuation)
    )
    return EngineSound(
        combustion_db=(combustion_db, combustion_db),
        ticking_db=(ticking_db, ticking_db),
        turn_fluctuation=(swing, swing),
        seed=seed,
    )


def pair_settings(
    drive: Drive, seed: int, contact: bool, takes: int
) -> tuple[SceneSettings, PlantedFault, PlantedFault]:
    """The scene of all takes of a layout, before first, then each kind of repair."""
    rng = np.random.default_rng([seed, int(contact), 77])
    rpm = float(rng.uniform(*drive.engine.idle_rpm)) if seed % 3 else 2000.0
    fault, other = _two_faults(drive, rpm, rng)
    scatter_db = float(rng.uniform(*(CONTACT_DB if contact else HAND_HELD_DB)))
    noise_db, slope = float(rng.uniform(-8.0, 3.0)), float(rng.uniform(0.7, 1.5))
    corner_hz = float(rng.uniform(60.0, 100.0))
    conditions = [WARM_UP]
    for kind in ("before", *KINDS):
        changes = (
            (fault.part, KINDS.get(kind, 0.0)),
            (other.part, 0.0 if kind == "another" else -math.inf),
        )
        for take in range(takes):
            speed = rpm * float(rng.uniform(0.99, 1.01))
            conditions.append(
                Condition(f"{kind} {take + 1}", speed, duration_s=SECONDS, fault_change_db=changes)
            )
    codec = (Codec("aac", 64), Codec("mp3", 64))[seed // 2 % 2] if seed % 2 else None
    knocks = draw_knocks(drive, fault, rng)
    settings = SceneSettings(
        conditions=tuple(conditions),
        faults=(fault, *(replace(k, level_db=fault.level_db) for k in knocks), other),
        song=HealthySong(0.5, fault_level_db=fault.level_db) if seed % 4 < 2 else None,
        engine=fixed_engine(seed, rng),
        surroundings=Surroundings(
            noise_db=(noise_db - 1.0, noise_db + 1.0), slope=(slope, slope), humps=(0, 0),
            transfer_db=0.5 * scatter_db,
        ),
        phone=Phone(high_pass_hz=(corner_hz, corner_hz), codec=codec),
        sample_rate_hz=RATE_HZ,
        level_scatter_db=0.5 * scatter_db,
        level_shift_db=scatter_db * 0.75**0.5,
    )  # fmt: skip
    return settings, fault, other


def _two_faults(
    drive: Drive, rpm: float, rng: np.random.Generator
) -> tuple[PlantedFault, PlantedFault]:
    """A fault loud enough to be worth a repair, and one of another part.

    Both have a likely line off the engine's own orders and above 60 Hz.
    """
    while True:
        fault, other = (draw_fault(drive, rng)[0] for _ in range(2))
        loud = min(fault.level_db, other.level_db) >= HEARD_FROM_DB
        if (
            loud
            and fault.part != other.part
            and _shows(drive, fault, rpm)
            and _shows(drive, other, rpm)
        ):
            return fault, other


def _shows(drive: Drive, fault: PlantedFault, rpm: float) -> bool:
    families = expected_families(drive)
    found = (f for f in families if (f.part, f.mechanism) == (fault.part, fault.mechanism))
    step = drive.engine.order_step
    return any(
        line.probability >= 0.5
        and line.order * rpm > 60.0 * 65.0
        and abs(line.order - step * round(line.order / step)) > 0.12
        for line in next(found).tonal_lines
    )


def hear(recording: Recording, drive: Drive) -> Heard:
    """What `acoustic.screening.listen` hears, but for noises and knocks."""
    settings = ScreenSettings()
    stretches = find_stretches(recording, settings.stretches)
    speed = speed_of(recording, stretches, drive.engine, settings=settings.speed)
    if speed.trace is None:
        return Heard(recording, None, stretches, (), None, (), speed.reason)
    highest_hz = 0.9 * (codec_cutoff_hz(recording) or recording.sample_rate_hz / 2)
    spectrum = track_orders(
        recording, stretches, speed.trace, drive.engine, highest_hz, settings.tracking
    )
    comb = comb_levels(spectrum, drive.engine)
    over_hz = spectrum_over_hz(recording, stretches, 2.0, spectrum.highest_hz)
    level = settings.tones.false_alarms_per_recording
    spectrum = without_fixed_lines(spectrum, over_hz, speed.trace, level)
    tones = find_tones(spectrum, comb, over_hz, speed.trace, settings.tones)
    return Heard(recording, speed.trace, stretches, (), spectrum, tones)


def make_pair(seed: int, contact: bool, takes: int) -> Pair:
    """Make and hear all takes of one layout."""
    drive = build_drive(layout_of_seed(seed))
    settings, fault, other = pair_settings(drive, seed, contact, takes)
    scene = make_scene(drive, settings, np.random.default_rng([seed, int(contact), 78]))
    heard: dict[str, list[Take]] = {}
    truths: dict[str, list[RecordingTruth]] = {}
    for recording, truth in zip(scene.recordings[1:], scene.truth.recordings[1:], strict=True):
        kind, number = recording.name.rsplit(" ", 1)
        stage = "before" if kind == "before" else "after"
        taken = Taken(contact=contact, stage=stage, take=int(number), device="one phone")
        heard.setdefault(kind, []).append(Take(taken, hear(recording, drive)))
        truths.setdefault(kind, []).append(truth)
    return Pair(
        seed, fault, other, contact, tuple(heard["before"]),
        {kind: tuple(heard[kind]) for kind in KINDS},
        {kind: tuple(found) for kind, found in truths.items()},
    )  # fmt: skip


def judge_pair(pair: Pair, takes: int, settings: ChangeSettings) -> Iterator[Judged]:
    """Compare every kind of repair, on the first so many takes whose speed was heard."""
    drive = build_drive(layout_of_seed(pair.layout_seed))
    target = Target(pair.fault.part, (pair.fault.mechanism,))
    before = _usable(pair.before)[:takes]
    settled = {pair.fault.part: settled_place(pair)}
    for kind, all_after in pair.after.items():
        after = _usable(all_after)[:takes]
        if len(before) < takes or len(after) < takes:
            continue
        try:
            change = compare(drive, before, after, settings, target=target, settled=settled)
        except CaseError:  # the speed of a side was heard wrongly
            continue
        seen = sum(bool(t.detectable(pair.fault.part)) for t in pair.truths["before"])
        new = sum(bool(t.detectable(pair.other.part)) for t in pair.truths[kind])
        yield Judged(
            pair.layout_seed, kind, takes, pair.contact,
            2 * seen > len(pair.before), 2 * new > len(pair.before), change, _moved(pair, kind),
        )  # fmt: skip


def _moved(pair: Pair, kind: str) -> tuple[float, ...]:
    """True orders of all that differs between before and after: planted faults, and knocks.

    Knocks sound at every multiple of theirs. Songs of the same parts come and go with them.
    """
    parts = {pair.fault.part, pair.other.part}
    truths = [*pair.truths["before"], *pair.truths[kind]]
    lines = [line.order for truth in truths for line in truth.lines if line.part in parts]
    knocks = [one.order for truth in truths for one in truth.in_band if one.order]
    return (*lines, *(order * n for order in set(knocks) for n in range(1, 9)))


def settled_place(pair: Pair) -> float:
    """ln(true order / nominal) of the fault's lines before: as a right screening settles it."""
    lines = [
        line
        for truth in pair.truths["before"]
        for line in truth.lines
        if (line.part, line.mechanism) == (pair.fault.part, pair.fault.mechanism)
    ]
    return float(np.median([math.log(line.order / line.nominal_order) for line in lines]))


def _usable(takes: Sequence[Take]) -> tuple[Take, ...]:
    """Takes at the true speed: what is heard wrongly is refused by the speed's own checks."""
    known = [t for t in takes if t.heard.speed is not None and t.heard.spectrum is not None]
    if not known:
        return ()
    middle = float(np.median([t.heard.speed.mean_rpm for t in known if t.heard.speed]))
    return tuple(
        t for t in known if t.heard.speed and abs(t.heard.speed.mean_rpm / middle - 1) < 0.03
    )


def render(judged: Sequence[Judged]) -> str:
    """Tables of the trial."""
    lines = []
    for contact, takes in sorted({(j.contact, j.takes) for j in judged}):
        some = [j for j in judged if (j.contact, j.takes) == (contact, takes)]
        how = "marked contact point" if contact else "hand-held"
        lines.append(f"{how}, {takes} take{'s' * (takes > 1)} before and after:")
        for kind in KINDS:
            of_kind = [j for j in some if j.kind == kind and j.detectable]
            lines.append(f"  {kind:<10} detectable {_said(of_kind)}")
            telling = [j for j in of_kind if _telling(j)]
            lines.append(f"  {'':<10} plain enough before {_said(telling)}")
        lines += [f"  {line}" for line in _coverage(some)]
        lines.append(f"  {_bystanders(some)}")
        new = [j for j in some if j.kind == "another" and j.detectable and j.new_detectable]
        told = sum(j.change.verdict == "new_sound" for j in new)
        lines.append(f"  new sound where one is detectable: {told} of {len(new)}")
        old = [j for j in some if j.kind != "another"]
        false = sum(_says_new(j.change) for j in old)
        lines.append(f"  new sound where there is none: {false} of {len(old)}")
    return "\n".join(lines)


def _says_new(change: Change) -> bool:
    rows = any(row.outcome == "new" and not row.is_target for row in change.families)
    return rows or bool(change.new_tones)


def _said(judged: Sequence[Judged]) -> str:
    said = Counter(j.change.verdict for j in judged)
    return f"{len(judged):3d}: " + ", ".join(f"{name} {n}" for name, n in said.most_common())


def _telling(judged: Judged) -> bool:
    """Whether the target was heard before so plainly that it would be known to be gone."""
    rows = [row for row in judged.change.families if row.is_target]
    return any(row.telling and row.before_db is not None for row in rows)


def _bystanders(judged: Sequence[Judged]) -> str:
    """Coverage over families that nothing was done to: their true change is none."""
    rows = [
        row
        for j in judged
        for row in j.change.families
        if row.change_db is not None
        and not row.is_target
        and all(abs(a / b - 1.0) > 0.012 for a in row.orders for b in j.moved_orders)
    ]
    inside = sum(row.low_db <= 0.0 <= row.high_db for row in rows)
    changed = sum(row.outcome in ("lower", "higher") for row in rows)
    mean = float(np.mean([row.change_db for row in rows if row.change_db is not None] or [0.0]))
    return (
        f"families that did not change: interval {inside} of {len(rows)}, mean {mean:+.2f} dB, "
        f"called changed {changed}"
    )


def _coverage(judged: Sequence[Judged]) -> Iterator[str]:
    """How often the interval holds the true change, tones of the target."""
    for kinds in (("as it was",), ("-10 dB",), ("+6 dB",), ("as it was", "-10 dB", "+6 dB")):
        rows = [
            (row, KINDS[j.kind])
            for j in judged
            if j.kind in kinds and j.detectable
            for row in j.change.families
            if row.is_target and row.shows_as == "tones"
        ]
        both = [(row, true) for row, true in rows if row.change_db is not None]
        inside = sum(row.low_db <= true <= row.high_db for row, true in both)
        one = [(row, true) for row, true in rows if row.change_db is None]
        one_in = sum(row.low_db <= true <= row.high_db for row, true in one)
        error = [row.change_db - true for row, true in both if row.change_db is not None]
        width = float(np.mean([row.high_db - row.low_db for row, _ in both])) if both else 0.0
        yield (
            f"interval, {' / '.join(kinds)}: {inside} of {len(both)} (one-sided {one_in} of "
            f"{len(one)}); error mean {np.mean(error or [0.0]):+.2f}, rms "
            f"{np.sqrt(np.mean(np.square(error or [0.0]))):.2f} dB, width {width:.1f} dB"
        )


def main(argv: Sequence[str] | None = None) -> int:
    """Run the trial and print its tables."""
    parser = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    parser.add_argument("--tuning", action="store_true")
    parser.add_argument("--layouts", type=int, default=0, help="only the first so many")
    parser.add_argument("--takes", type=int, default=3)
    parser.add_argument("--placing", choices=["both", "swapped", "hand", "contact"], default="both")
    parser.add_argument("--cache", type=Path, help="folder to keep what was heard in")
    options = parser.parse_args(argv)
    layouts = TUNING_LAYOUTS if options.tuning else REPORTED_LAYOUTS
    layouts = layouts[: options.layouts] if options.layouts else layouts
    judged: list[Judged] = []
    for seed in layouts:
        contact = options.placing == "contact"
        if options.placing in ("both", "swapped"):
            contact = (seed // 2 % 2 == 1) == (options.placing == "both")
        pair = _kept(seed, contact, options.takes, options.cache)
        for takes in sorted({1, options.takes}):
            judged += judge_pair(pair, takes, ChangeSettings())
    print(render(judged))
    wanted = len(layouts) * len(KINDS) * len({1, options.takes})
    print(f"not compared, as a speed was not heard or heard wrongly: {wanted - len(judged)}")
    return 0


def _kept(seed: int, contact: bool, takes: int, cache: Path | None) -> Pair:
    kept = cache / f"change_{seed}_{int(contact)}_{takes}.pickle" if cache else None
    if kept and kept.exists():
        with kept.open("rb") as stream:
            found: Pair = pickle.load(stream)  # noqa: S301 - our own file
            return found
    pair = make_pair(seed, contact, takes)
    if kept:
        with kept.open("wb") as stream:
            pickle.dump(pair, stream)
    return pair


if __name__ == "__main__":
    sys.exit(main())
