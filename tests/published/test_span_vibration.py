"""Natural frequency of belt spans: belt tension application note (korins.com, page 25).

The factor of the running belt is that of the axially moving string; the figures beside it
were confirmed apart from this program by a Galerkin solution of 80 terms.
"""

import pytest

from acoustic.drive.belts import span_frequency_hz, span_tension_n


def test_application_note() -> None:
    """0.11 kg/m, 0.17 m: 220 Hz needs 615 N (the page rounds to 610); 624 N gives 221.52 Hz."""
    assert span_tension_n(170, 220, 0.11) == pytest.approx(615.45, abs=0.01)
    assert span_frequency_hz(170, 624, 0.11) == pytest.approx(221.52, abs=0.01)


@pytest.mark.parametrize(
    ("speed_m_s", "hz"), [(0, 115.0109), (6.4, 114.0216), (20, 105.3500), (40, 76.3673)]
)
def test_running_belt(speed_m_s, hz) -> None:
    """A 6PK span of 0.30 m at 600 N falls in frequency as it runs faster."""
    assert span_frequency_hz(300, 600, 6 * 0.021, speed_m_s) == pytest.approx(hz, abs=1e-3)


def test_string_stops_vibrating_at_its_own_wave_speed() -> None:
    """At v = c = sqrt(T/m) the frequency is zero, and never negative beyond."""
    wave = (600 / 0.126) ** 0.5
    assert span_frequency_hz(300, 600, 0.126, wave) == pytest.approx(0, abs=1e-9)
    assert span_frequency_hz(300, 600, 0.126, 2 * wave) == 0
