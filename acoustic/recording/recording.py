"""What was heard: samples, where they came from, and remarks on their quality."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from acoustic.errors import RecordingError

Samples = NDArray[np.float32]


@dataclass(frozen=True, slots=True)
class QualityRemark:
    """Something about a recording that limits what can be heard in it.

    Attributes
    ----------
    code : str
        Stable key, such as ``"clipped"``; sentences live in ``tables/words.toml``.
    severity : str
        ``"note"`` (say it), ``"weak"`` (results weaker), ``"unfit"`` (cannot be used).
    message : str
        What is wrong, with the figure.
    advice : str
        What to do about it at the engine.
    amount : float or None
        The measured statistic.
    """

    code: str
    severity: Literal["note", "weak", "unfit"]
    message: str
    advice: str
    amount: float | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Recording:
    """One channel of sound.

    Attributes
    ----------
    samples : ndarray of float32, shape (frames,)
        Full scale is 1. Read-only. Never resampled.
    sample_rate_hz : float
    name : str
        File name without folders.
    sha256 : str
        Digest of the whole file; empty for made sound.
    codec, container : str
        As found in the content, not in the name ("aac", "mp4").
    channel : str
        ``"mono"``, or which channel of a stereo file this is.
    start_s : float
        Where in the file the samples begin (long files are read in part). [s]
    file_duration_s : float
        Length of the whole file. [s]
    remarks : tuple of QualityRemark
        What reading the file showed (cut short, packets lost, only part used).
    """

    samples: Samples
    sample_rate_hz: float
    name: str = "recording"
    sha256: str = ""
    codec: str = ""
    container: str = ""
    channel: str = "mono"
    start_s: float = 0.0
    file_duration_s: float | None = None
    remarks: tuple[QualityRemark, ...] = ()

    def __post_init__(self) -> None:
        samples = np.ascontiguousarray(self.samples, dtype=np.float32)
        if samples.ndim != 1:
            raise RecordingError(
                f"{self.name}: samples have shape {samples.shape}; one channel is needed. "
                "Choose a channel first."
            )
        if not self.sample_rate_hz > 0:
            raise RecordingError(
                f"{self.name}: sample rate {self.sample_rate_hz} Hz makes no sense. "
                "Export the clip again."
            )
        if samples is self.samples and samples.flags.writeable:
            samples = samples.view()
        samples.flags.writeable = False
        object.__setattr__(self, "samples", samples)

    @property
    def duration_s(self) -> float:
        """Length of `samples`. [s]"""
        return len(self.samples) / self.sample_rate_hz


@dataclass(frozen=True, slots=True)
class Stretch:
    """A part of a recording, in seconds from its first sample."""

    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True)
class LeftOut:
    """A part of a recording that is not used, and why."""

    start_s: float
    end_s: float
    code: str
    reason: str


@dataclass(frozen=True, slots=True)
class Stretches:
    """Which parts of a recording are used and which are left out.

    Each of `used` holds sound taken from one place at one level without bumps or
    speech; levels may differ between them (the phone was moved), so nothing may be
    averaged across their edges without normalising first.
    """

    used: tuple[Stretch, ...]
    left_out: tuple[LeftOut, ...]

    @property
    def used_s(self) -> float:
        """Total length used. [s]"""
        return sum(s.end_s - s.start_s for s in self.used)
