"""The heard speed against open phone recordings of ordinary engines.

Source: D. Kurapkis, car-sound-classification-with-keras (public repository, MIT licence,
commit 7c71c6e), phone recordings of idling engines; the speeds are estimates from the
engine-cycle period by autocorrelation, made independently of this program. They are not
shipped: without them these tests are skipped. All 37 are heard by
tests/trial/speed_on_phone_clips.py, which also says why one of the 22 engine-cycle estimates
(recording 117) is not followed.
"""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from acoustic.drive.drive import Engine
from acoustic.recording.audio_file import read_recording
from acoustic.recording.recording import Stretch, Stretches
from acoustic.recording.speed_heard import HeardSpeed, hear_speed

CLIPS = Path(__file__).resolve().parents[2].parent / "shared" / "data" / "engine_phone"
PLAIN_FOUR = Engine(4, 4, 2.0, 0.5, False, (700.0, 1100.0), (700.0, 2100.0), "clockwise")

pytestmark = pytest.mark.skipif(not CLIPS.is_dir(), reason="phone recordings are not here")


def hear(file: str) -> HeardSpeed:
    recording = read_recording(CLIPS / file)
    whole = Stretches((Stretch(0.0, recording.duration_s),), ())
    return hear_speed(recording, whole, PLAIN_FOUR)


@pytest.mark.parametrize(
    "file",
    [
        "rec009_t032.flac",
        "rec081_t000.flac",
        "rec107_t012.flac",
        "rec121_t034.flac",  # three cylinders
        "rec127_t032.flac",  # three cylinders
        "rec133_t008.flac",
        "rec139_t040.flac",
    ],
)
def test_speed_from_the_engine_cycle(file: str) -> None:
    """Within 2 % of the engine-cycle estimate, also where the cylinder count is wrong."""
    with (CLIPS / "MANIFEST.csv").open(encoding="utf-8") as stream:
        row = next(row for row in csv.DictReader(stream) if row["file"] == file)
    assert row["rpm_est_basis"].startswith("engine-cycle period")
    heard = hear(file)
    assert heard.trace is not None, heard.reason
    assert heard.trace.mean_rpm == pytest.approx(float(row["rpm_est"]), rel=0.02)


def test_near_silence_has_no_speed() -> None:
    """The manifest calls it almost silent: refused."""
    assert hear("rec092_t000.flac").trace is None
