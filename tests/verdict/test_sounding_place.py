"""Which lines or which band of a recording a part is heard by."""

import dataclasses
import importlib.resources
import types

import numpy as np
import pytest

from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import parse_drive
from acoustic.errors import DriveError, UnfitRecordingError
from acoustic.evidence.findings import EnvelopeBand, EnvelopeSpectrum, NoiseFinding, OrderBand
from acoustic.evidence.isolate import FollowedLine
from acoustic.verdict.belief import Belief
from acoustic.verdict.sounding_place import (
    likeliest_family,
    lines_on_the_engine,
    sounding_place,
)
from acoustic.verdict.suspects import LineEvidence

WIDE = (600.0, 6000.0)


@pytest.fixture(scope="module")
def drive():
    """Give the front drive of the sample case."""
    folder = importlib.resources.files("acoustic.cli")
    return parse_drive((folder / "demo_layout.toml").read_text(encoding="utf-8"))


def found_line(order, state="heard", support=3.0, swings_hz=None, recording=0):
    """One line of a suspect; heard a little off its place."""
    heard = order + 0.01 if state == "heard" else None
    return LineEvidence(
        recording, f"line at {order:g}", order, heard, 100.0, 9.0, state, support, swings_hz
    )


def answer(lines, part="idler", envelope=None, noises=(), belief=None):
    """A screening of one recording in which a part shows these lines."""
    suspect = types.SimpleNamespace(part=part, lines=tuple(lines))
    heard = types.SimpleNamespace(envelope=envelope, noises=noises)
    return types.SimpleNamespace(
        suspects=(suspect,), heard=(heard,), belief=belief, headline="Too quiet.", reasons=()
    )


def swing(low_hz, high_hz, excess):
    """Envelope spectrum of a band with one swing, at order 4.5."""
    orders = np.arange(160) / 32
    level = np.where(np.abs(orders - 4.5) < 0.01, excess, 0.0)
    none = np.zeros(160)
    no = none.astype(bool)
    band = OrderBand(orders, 32, level, none, level, no, ~no, 12, 23.0, none)
    return EnvelopeBand(low_hz, high_hz, (band,))


def family_of(drive, part, mechanism=None):
    """The family of a part, its first where no mechanism is named."""
    own = [f for f in expected_families(drive) if f.part == part]
    return next(f for f in own if mechanism in (None, f.mechanism))


def test_the_likeliest_mechanism_is_taken(drive):
    """The one with the largest share of the belief."""
    names = [f.mechanism for f in expected_families(drive) if f.part == "idler"]
    shares = dict.fromkeys(names, 0.1) | {names[-1]: 0.5}
    belief = Belief(("idler",), (((0,), 1.0),), (shares,))
    assert likeliest_family(answer((), belief=belief), drive, "idler").mechanism == names[-1]


def test_an_unknown_part_and_an_unfit_clip_are_refused(drive):
    """Each in a sentence that says what there is, or why not."""
    with pytest.raises(DriveError, match=r"no such part\. It has .*idler"):
        likeliest_family(answer(()), drive, "windmill")
    with pytest.raises(UnfitRecordingError, match="Too quiet"):
        likeliest_family(answer(()), drive, "idler")


def test_heard_lines_are_taken_where_they_were_heard(drive):
    """Not those missing or hidden by the engine, nor those of another recording."""
    lines = [
        found_line(9.1), found_line(4.5), found_line(13.6, "missing"),
        found_line(2.0, "hidden"), found_line(18.2, recording=1),
    ]  # fmt: skip
    place = sounding_place(answer(lines), family_of(drive, "idler"))
    assert place.orders == (4.51, 9.11)
    assert place.labels == ("line at 4.5", "line at 9.1")
    assert (place.band_hz, place.heard) == (None, True)


def test_the_kind_that_speaks_more_is_taken(drive):
    """A swing with a support of 9 against a tone with 3: the band, and how often it swings."""
    lines = [found_line(9.1), found_line(4.5, support=9.0, swings_hz=(2000.0, 3000.0))]
    envelope = EnvelopeSpectrum((swing(2000, 3000, 3.0), swing(*WIDE, 3.0)), 13.0, 0.5)
    place = sounding_place(answer(lines, envelope=envelope), family_of(drive, "idler"))
    assert (place.orders, place.band_hz, place.swings_order) == ((), (2000.0, 3000.0), 4.51)


def test_where_all_bands_swing_the_one_that_swings_most_is_taken(drive):
    """The whole sound would be no part alone."""
    lines = [found_line(4.5, swings_hz=WIDE)]
    bands = (swing(600, 1000, 2.0), swing(1000, 1700, 6.0), swing(1700, 3000, 3.0))
    envelope = EnvelopeSpectrum((*bands, swing(*WIDE, 7.0)), 13.0, 0.5)
    place = sounding_place(answer(lines, envelope=envelope), family_of(drive, "idler"))
    assert place.band_hz == (1000.0, 1700.0)


def test_a_noise_is_taken_by_its_band(drive):
    """Only one that the mechanism makes and that was found."""
    family = next(f for f in expected_families(drive) if f.noises)
    own = family.noises[0].noise
    found = NoiseFinding(own, 4.0, -3.0, 3000.0, 5000.0, 0.5, "cries between 3 and 5 kHz")
    doubtful = dataclasses.replace(found, ln_ratio=0.2)
    other = dataclasses.replace(found, noise="something else")
    place = sounding_place(answer((), family.part, noises=(other, found)), family)
    assert (place.band_hz, place.labels, place.heard) == (
        (3000.0, 5000.0), ("cries between 3 and 5 kHz",), True,
    )  # fmt: skip
    for noises in ((other,), (doubtful,)):
        try:
            assert not sounding_place(answer((), family.part, noises=noises), family).heard
        except DriveError as error:
            assert "no tone to follow" in str(error)


def test_where_nothing_was_heard_it_says_so(drive):
    """The places of the layout, named as not heard; a part without tones is refused."""
    tonal = next(f for f in expected_families(drive) if f.tonal_lines)
    place = sounding_place(answer((), tonal.part), tonal)
    assert place.orders == tuple(sorted(line.order for line in tonal.tonal_lines))
    assert not place.heard
    silent = dataclasses.replace(tonal, lines=tonal.envelope_lines, noises=())
    with pytest.raises(DriveError, match="no tone to follow"):
        sounding_place(answer((), tonal.part), silent)


def test_lines_on_the_engine_are_counted(drive):
    """0.4 Hz either side: order 10.01 at 20 turns a second lies 0.2 Hz from the tenth."""
    none = np.zeros(0, np.complex64)
    lines = [FollowedLine(order, 20 * order, 0.4, none) for order in (10.01, 10.25)]
    assert lines_on_the_engine(lines, drive) == 1
    assert lines_on_the_engine([], drive) == 0
    motor = dataclasses.replace(drive, engine=dataclasses.replace(drive.engine, motor=True))
    assert lines_on_the_engine(lines, motor) == 0
