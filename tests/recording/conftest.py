"""Made sound and files for the tests of what was heard."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from numpy.typing import NDArray

from acoustic.recording.recording import Recording

RATE_HZ = 16000


@pytest.fixture
def noise() -> NDArray[np.float64]:
    """Return 30 s of white noise of rms 0.02 at 16 kHz, the same every time."""
    return 0.02 * np.random.default_rng(11).standard_normal(30 * RATE_HZ)


@pytest.fixture
def time_s() -> NDArray[np.float64]:
    """Sample times that go with `noise`."""
    return np.arange(30 * RATE_HZ) / RATE_HZ


@pytest.fixture
def heard() -> Callable[[NDArray[np.float64]], Recording]:
    """Wrap samples at 16 kHz into a recording."""
    return lambda samples: Recording(samples.astype(np.float32), RATE_HZ)


@pytest.fixture
def write_clip(tmp_path: Path) -> Callable[..., Path]:
    """Write samples, shape (frames,) or (frames, channels), to a sound file."""
    import soundfile

    def write(
        samples: NDArray[np.float64], name: str = "clip.wav", rate_hz: int = RATE_HZ, **how: str
    ) -> Path:
        place = tmp_path / name
        soundfile.write(place, samples, rate_hz, **how)
        return place

    return write
