"""Where a clip is parted by switching the engine off."""

import numpy as np
import pytest

from acoustic.errors import SettingsError
from acoustic.recording.recording import Recording, Stretch, Stretches
from acoustic.recording.switch_off import cut, second_of_switch_off, with_rest_left_out

RATE_HZ = 8000.0


@pytest.fixture
def later_part() -> Recording:
    """Ten seconds from second 30 of a long file; each sample is its own number."""
    samples = np.arange(10 * int(RATE_HZ), dtype=np.float32)
    return Recording(samples, RATE_HZ, name="yard.m4a", start_s=30.0)


def test_the_second_is_counted_from_the_start_of_the_clip(later_part) -> None:
    """Second 34.5 of the file is second 4.5 of a part that begins at 30."""
    assert second_of_switch_off(later_part, 34.5) == pytest.approx(4.5)


@pytest.mark.parametrize("stated_s", [4.5, 30.0, 40.0, 41.0, -1.0, float("nan")])
def test_a_second_outside_is_refused(later_part, stated_s) -> None:
    """The message names the clip and from where to where its sound runs."""
    with pytest.raises(SettingsError, match=r"yard\.m4a: .* from 30\.0 to 40\.0 s"):
        second_of_switch_off(later_part, stated_s)


def test_a_cut_keeps_its_place_in_the_file(later_part) -> None:
    """Seconds 2 to 3: 8000 samples from number 16000 on, from second 32 of the file."""
    piece = cut(later_part, 2.0, 3.0)
    assert piece.samples[[0, -1]].tolist() == [16000.0, 23999.0]
    assert piece.start_s == pytest.approx(32.0)


def test_the_rest_is_named() -> None:
    """What follows the switching off is left out, in words, to the end."""
    parted = with_rest_left_out(Stretches((Stretch(0.0, 4.5),), ()), 4.5, 10.0)
    assert parted.used_s == 4.5
    (rest,) = parted.left_out
    assert (rest.start_s, rest.end_s, rest.code) == (4.5, 10.0, "switched_off")
    assert "switched off" in rest.reason
