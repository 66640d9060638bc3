"""What was heard, missed and hidden of a suspect's lines."""

import numpy as np
import pytest

from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.verdict.joint_match import match_drive
from acoustic.verdict.line_evidence import band_at, best_voice, loudest_voice, voice_lines
from acoustic.verdict.suspects import Heard

ORDERS = (3.17, 11.23, 17.62, 22.46)
SLIP = 0.012


@pytest.fixture(scope="module")
def families(family):
    """A pump that may sing, with one line under 60 Hz at idle; an idler that does not."""
    return [
        family("pump", ORDERS, natural=True, weight=0.6),
        family("pump", (6.1, 8.81), mechanism="race", weight=0.4),
        family("idler", (6.77, 13.79)),
    ]


@pytest.fixture(scope="module")
def spectra(spectrum_of):
    """Idle and 1900 rpm; the third of the pump's lines is not there."""
    lines = {3.17: -6.0, 11.23: -6.0, 22.46: -12.0}
    shifted = {order * np.exp(-SLIP): db for order, db in lines.items()}
    return {0: spectrum_of(shifted, 13.5), 3: spectrum_of(shifted, 31.7, seed=2)}


@pytest.fixture(scope="module")
def answer(spectra, families, heard_of, drive_with, settings):
    """The match on both."""
    lines = {3.17: -6.0, 11.23: -6.0, 22.46: -12.0}
    shifted = {order * np.exp(-SLIP): db for order, db in lines.items()}
    heard = [heard_of(shifted, 13.5), heard_of(shifted, 31.7, seed=2)]
    return match_drive(drive_with(pump=0.003, idler=0.003), families, heard, settings)


@pytest.fixture(scope="module")
def rows(answer, spectra):
    """Every line of the pump's likeliest fault."""
    recording = Recording(np.zeros(8, dtype=np.float32), 8000.0, name="clip")
    stretches = Stretches((Stretch(0.0, 20.0),), ())
    heard = {n: Heard(recording, None, stretches, (), s, ()) for n, s in spectra.items()}
    return voice_lines(answer, best_voice(answer, 0), heard)


def test_every_line_in_every_recording(rows) -> None:
    """Four lines in each, named by the recording's own number, in rising order."""
    assert [row.recording for row in rows] == [0] * 4 + [3] * 4
    assert [row.order for row in rows[:4]] == sorted(row.order for row in rows[:4])


def test_heard_missing_hidden(rows) -> None:
    """43 Hz is hidden at idle and heard at 1900 rpm; the third line is missing in both."""
    assert [row.state for row in rows[:4]] == ["hidden", "heard", "missing", "heard"]
    assert [row.state for row in rows[4:]] == ["heard", "heard", "missing", "heard"]


def test_support_has_the_sign_of_the_state(rows) -> None:
    """For a heard line, against for a missing one, none for a hidden one."""
    for row in rows:
        if row.state == "hidden":
            assert row.support == 0.0
            assert row.heard_order is None and row.excess_db is None
        else:
            assert (row.support > 0) == (row.state == "heard")


def test_lines_are_told_where_they_are(rows) -> None:
    """Order with the slip on it, heard within a bin, in Hz at the recording's speed."""
    first = rows[1]
    assert first.order == pytest.approx(11.23 * np.exp(-SLIP), rel=1e-3)
    assert first.heard_order == pytest.approx(first.order, abs=1 / 64)
    assert first.frequency_hz == pytest.approx(first.order * 13.5)
    assert first.excess_db > 10.0
    assert rows[5].frequency_hz == pytest.approx(rows[5].order * 31.7)


def test_the_likeliest_fault_is_the_one_whose_lines_are_there(answer) -> None:
    """Of two mechanisms the one that was planted."""
    assert answer.voices[best_voice(answer, 0)].family.mechanism == "worn"


def test_a_part_is_shown_with_the_voice_it_sounds_with(answer) -> None:
    """The song if singing is likelier than a fault, else the fault."""
    voice = answer.voices[loudest_voice(answer, 0)]
    assert voice.healthy == bool(answer.result.singing[0] > answer.result.faulty[0])
    assert not answer.voices[loudest_voice(answer, 1)].healthy


def test_the_band_of_an_order(spectra) -> None:
    """None beyond the spectrum."""
    assert band_at(spectra[0].bands, 20.0).revolutions == 32
    assert band_at(spectra[0].bands, 900.0) is None
