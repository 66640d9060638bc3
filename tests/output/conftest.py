"""Hand-made answers: what people see is tested without the screening that makes it.

The drive is a small one of the library bus; the sound has two planted lines, one at the
idler's order with its second harmonic and one that belongs to nothing.
"""

import dataclasses
import importlib.resources

import numpy as np
import pytest

from acoustic.drive.build import build_drive
from acoustic.drive.layout_file import parse_layout
from acoustic.evidence.findings import (
    EnvelopeBand,
    EnvelopeSpectrum,
    OrderBand,
    OrderSpectrum,
    SwellingLine,
    Tone,
)
from acoustic.recording.recording import LeftOut, QualityRemark, Recording, Stretch, Stretches
from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.suspects import (
    Heard,
    LineEvidence,
    PlainNoise,
    Screening,
    Suspect,
    UnexplainedSwelling,
    UnexplainedTone,
)

IDLER_ORDER, STRANGE_ORDER = 6.53, 17.3
STRIKING_HZ = (3083.0, 4440.0)
RPM = 800.0
SPEED_HZ = RPM / 60.0
SECONDS = 20.0


def made_recording(name="idle.m4a", rate_hz=16000.0):
    """Make a firing line, the idler's two lines, one strange line, noise; fixed seed."""
    rng = np.random.default_rng(7)
    time = np.arange(int(SECONDS * rate_hz)) / rate_hz
    sound = 0.05 * rng.standard_normal(time.size)
    for order, level in ((2, 0.2), (4, 0.1), (IDLER_ORDER, 0.06), (2 * IDLER_ORDER, 0.03)):
        sound += level * np.sin(2 * np.pi * order * SPEED_HZ * time)
    sound += 0.04 * np.sin(2 * np.pi * STRANGE_ORDER * SPEED_HZ * time)
    return Recording(
        sound.astype(np.float32), rate_hz, name=name, sha256="ab" * 32, codec="aac",
        container="mp4", file_duration_s=SECONDS,
    )  # fmt: skip


def made_speed():
    """Make an idle that wanders by half a percent."""
    time = np.linspace(0.0, SECONDS, 40)
    speed = SPEED_HZ * (1 + 0.005 * np.sin(time))
    return SpeedTrace(time, speed, "heard", 0.002, 1.2, "heard from the firing comb")


def made_tone(order, excess_db):
    """Make a tone that follows the speed."""
    return Tone(
        order=order, order_sd=0.002, frequency_hz=order * SPEED_HZ, excess_db=excess_db,
        tone_to_noise_db=excess_db - 6, prominent=excess_db > 12, p_value=1e-6,
        persistence=0.9, kind="follows speed",
    )  # fmt: skip


def made_band(low, high, revolutions, tones, rng):
    """Make noise about the floor with the tones standing out of it."""
    orders = np.arange(low, high, 1.0 / revolutions)
    level_db = rng.normal(0.5, 0.8, orders.size)
    for tone in tones:
        level_db += tone.excess_db * np.exp(-0.5 * ((orders - tone.order) * revolutions) ** 2)
    flat = np.zeros(orders.size)
    no = np.zeros(orders.size, dtype=bool)
    return OrderBand(
        orders=orders, revolutions=revolutions, level_db=level_db, floor_db=flat,
        excess=level_db / 4.34, engine=no, visible=~no, segments=12, freedom=23.0,
        persistence=flat,
    )  # fmt: skip


def made_heard(name="idle.m4a"):
    """Make one recording with everything drawn from it."""
    rng = np.random.default_rng(11)
    tones = (
        made_tone(IDLER_ORDER, 14.0),
        made_tone(2 * IDLER_ORDER, 7.5),
        made_tone(STRANGE_ORDER, 9.0),
    )
    limits = ((0.2, 12, 64), (12, 40, 32), (40, 130, 16), (130, 400, 10))
    bands = tuple(made_band(low, high, r, tones, rng) for low, high, r in limits)
    return Heard(
        recording=made_recording(name),
        speed=made_speed(),
        stretches=Stretches(
            used=(Stretch(0.0, 12.0), Stretch(14.0, SECONDS)),
            left_out=(LeftOut(12.0, 14.0, "bump", "a bump on the phone"),),
        ),
        quality=(
            QualityRemark(
                "clipped", "weak", "12 of 10 000 samples are clipped.",
                "Hold the phone further away.", 12.0,
            ),
        ),
        spectrum=OrderSpectrum(bands, SPEED_HZ, 7000.0, 60.0, 240.0),
        tones=tones,
    )  # fmt: skip


def made_line(label, order, excess_db, state, support):
    """Make one expected line of the first recording."""
    return LineEvidence(
        recording=0, label=label, order=order, heard_order=order if state == "heard" else None,
        frequency_hz=order * SPEED_HZ, excess_db=excess_db, state=state, support=support,
    )  # fmt: skip


def made_suspect(part, mechanism, faulty, source, **more):
    """Make a suspect with what matters set and the rest plain."""
    values = {
        "part": part, "mechanism": mechanism, "mechanisms": ((mechanism, 1.0),),
        "probability": faulty, "source_probability": source, "evidence": (), "against": (),
        "not_separable_from": (), "group_reason": "", "hand_check": "", "caution": "",
        "lines": (),
    }  # fmt: skip
    return Suspect(**{**values, **more})


def made_suspects():
    """Put the idler first, not to be told from the tensioner; a pump that merely sings."""
    reason = "same diameter on the same belt side, so both turn at the same speed"
    idler = made_suspect(
        "idler", "bearing", 0.91, 0.97,
        evidence=("The tone at 87 Hz follows engine speed and sits where this idler must be.",
                  "Its second harmonic is there too."),
        against=("The third harmonic should have been heard and is missing.",),
        not_separable_from=("tensioner",), group_reason=reason,
        hand_check="Take the belt off and spin the idler by hand.",
        caution="Release the tensioner with the engine off and the key out.",
        lines=(
            made_line("outer race", IDLER_ORDER, 14.0, "heard", 9.0),
            made_line("outer race, 2nd harmonic", 2 * IDLER_ORDER, 7.5, "heard", 4.0),
            made_line("outer race, 3rd harmonic", 3 * IDLER_ORDER, 0.4, "missing", -0.7),
            made_line("cage", 0.41, None, "hidden", 0.0),
        ),
    )  # fmt: skip
    tensioner = made_suspect(
        "tensioner", "bearing", 0.62, 0.7, not_separable_from=("idler",), group_reason=reason
    )
    pump = made_suspect("water pump", "vane passing", 0.12, 0.55)
    alternator = made_suspect("alternator", "bearing, rear", 0.004, 0.01)
    return (idler, tensioner, pump, alternator)


def made_screening(**more):
    """Make a whole answer with suspects."""
    heard = made_heard()
    values = {
        "verdict": "suspects",
        "headline": "Likely source: idler bearing (0.91). The tone at 87 Hz follows engine speed "
        "and sits where this idler's outer race must be.",
        "reasons": ("Two of its three visible lines were heard.", "One recording at one speed."),
        "next_steps": (
            "Take the belt off (engine off, key out) and spin the idler by hand: 5 minutes.",
            "Record again at 2000 rpm.",
        ),
        "suspects": made_suspects(),
        "unexplained": (UnexplainedTone(0, heard.tones[2], "no part of the layout is near"),),
        "heard": (heard,),
        "detectable": "A line 14 dB under the noise around it would have been found.",
        "unseen_parts": ("belt main",),
        "settings": {"false_alarm": 0.01, "bands": (1, 2), "gap": float("nan")},
        "version": "0.1.0",
    }
    return Screening(**{**values, **more})


def unfit_screening():
    """Make an answer for a clip that holds no engine: no speed, no spectrum, no suspects."""
    heard = Heard(
        recording=made_recording("pocket.m4a"),
        speed=None,
        stretches=Stretches(used=(), left_out=(LeftOut(0.0, SECONDS, "silence", "silence"),)),
        quality=(
            QualityRemark(
                "too_quiet", "unfit", "The clip is near silence.", "Record nearer the engine.",
                float("nan"),
            ),
        ),
        spectrum=None,
        tones=(),
    )  # fmt: skip
    return made_screening(
        verdict="recording_unfit", headline="This recording cannot be used: near silence.",
        reasons=(), next_steps=("Record nearer the engine.",), suspects=(), unexplained=(),
        heard=(heard,), detectable="", unseen_parts=(),
    )  # fmt: skip


@pytest.fixture(scope="session")
def screening():
    """Give a hand-made answer with suspects."""
    return made_screening()


@pytest.fixture
def told_screening():
    """Give the answer with two noises told: knocks that two may make, a hiss nobody may."""
    return made_screening(
        noises=(
            PlainNoise(
                "impacts with firing", "knocks in step with the firing: 200 knocks in 20 s", 3.0,
                ("water pump", "idler"),
            ),
            PlainNoise("hiss", "a hiss: 4000 to 7000 Hz", 2.2, ()),
        )
    )  # fmt: skip


@pytest.fixture
def swelling_screening():
    """Give the answer with two orders of swelling that nobody accounts for."""
    third = "at a multiple of a third or a quarter of an order: an idle that hunts swells so"
    lines = (
        SwellingLine(4.37, 0.002, 4.37 * SPEED_HZ, 17.2, 1e-20, 1.0, 917.0, 1320.0, 5),
        SwellingLine(1.333, 0.002, 1.333 * SPEED_HZ, 7.1, 1e-3, 0.6, 600.0, 1000.0, 1),
    )
    heard = dataclasses.replace(made_heard(), swelling=lines)
    strays = (UnexplainedSwelling(0, lines[0], ""), UnexplainedSwelling(0, lines[1], third))
    return made_screening(heard=(heard,), unexplained_swelling=strays)


@pytest.fixture
def striking(screening):
    """Give an answer in which the idler's strikes swell the higher of two bands."""
    rng = np.random.default_rng(3)
    strikes = (made_tone(4.2, 15.0), made_tone(8.4, 8.0))
    carriers = (
        EnvelopeBand(917.0, 1320.0, (made_band(0.5, 20, 64, (), rng),)),
        EnvelopeBand(*STRIKING_HZ, (made_band(0.5, 20, 64, strikes, rng),)),
    )
    heard = dataclasses.replace(
        screening.heard[0], envelope=EnvelopeSpectrum(carriers, SPEED_HZ, 0.5)
    )
    lines = (
        dataclasses.replace(made_line("strikes", 4.2, 15.0, "heard", 11.0), swings_hz=STRIKING_HZ),
        dataclasses.replace(
            made_line("strikes, 2nd", 8.4, 8.0, "heard", 4.0), swings_hz=STRIKING_HZ
        ),
        dataclasses.replace(
            made_line("strikes, 3rd", 12.6, 0.3, "missing", -0.8), swings_hz=STRIKING_HZ
        ),
        dataclasses.replace(
            made_line("elsewhere", 3.0, 6.0, "heard", 2.0), swings_hz=(917.0, 1320.0)
        ),
        made_line("a tone", 6.53, 14.0, "heard", 20.0),
    )
    first, *others = screening.suspects
    return dataclasses.replace(
        screening, heard=(heard,), suspects=(dataclasses.replace(first, lines=lines), *others)
    )


@pytest.fixture
def unfit():
    """Give a hand-made answer for an unfit clip."""
    return unfit_screening()


def made_drive(text):
    """Build a drive from the text of a layout."""
    return build_drive(parse_layout(text))


@pytest.fixture(scope="session")
def drive():
    """Give the front drive of the sample case: one belt, six pulleys, all placed."""
    folder = importlib.resources.files("acoustic.cli")
    return made_drive((folder / "demo_layout.toml").read_text(encoding="utf-8"))


@pytest.fixture(scope="session")
def rear_drive():
    """Give a rear drive: gears to a shaft, a coupling behind it, a belt without positions."""
    return made_drive(REAR_DRIVE)


REAR_DRIVE = """
name = "Library bus: accessory drive at the rear"
engine = { cylinders = 6 }
[[shaft]]
name = "accessory shaft"
driven_by = { kind = "gears", from = "crankshaft", teeth = [48, 37, 32] }
[[shaft]]
name = "alternator shaft"
driven_by = { kind = "coupling", from = "accessory shaft" }
[[belt]]
name = "main"
path = ["drive pulley", "idler (back)", "pumps pulley"]
[[pulley]]
name = "drive pulley"
on = "accessory shaft"
diameter_mm = 128
measured = "drawing"
overrunning = "one-way"
[[pulley]]
name = "pumps pulley"
diameter_mm = 140
measured = "drawing"
[[component]]
name = "water pump"
kind = "water pump"
on = "pumps pulley"
[[component]]
name = "idler"
kind = "idler"
pulley = { diameter_mm = 70, measured = "flat back-side pulley" }
[[component]]
name = "alternator"
kind = "alternator"
on = "alternator shaft"
"""
