"""The sample clips in samples/ and the command that remakes them."""

import csv
import importlib.util
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import av
import numpy as np
import pytest

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


@pytest.fixture(scope="module")
def maker() -> ModuleType:
    """Load samples/make_samples.py as a module."""
    spec = importlib.util.spec_from_file_location("make_samples", SAMPLES / "make_samples.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["make_samples"] = module
    spec.loader.exec_module(module)
    return module


def read_truth(path: Path) -> list[dict[str, str]]:
    """Rows of a truth table."""
    return list(csv.DictReader(path.read_text(encoding="utf-8").splitlines()))


def test_the_command_remakes_every_clip(tmp_path: Path) -> None:
    """Run as the README says, into another folder: same names, same faults, same columns."""
    command = [sys.executable, str(SAMPLES / "make_samples.py"), str(tmp_path)]
    subprocess.run(command, check=True, timeout=120)
    sounds = (".m4a", ".opus", ".csv")
    made, kept = (
        {path.relative_to(top).as_posix() for path in top.rglob("*") if path.suffix in sounds}
        for top in (tmp_path, SAMPLES)
    )
    assert made == kept
    for table in (name for name in kept if name.endswith(".csv")):
        new, old = (read_truth(folder / table) for folder in (tmp_path, SAMPLES))
        assert new[0].keys() == old[0].keys()
        planted = [
            {(row["recording"], row["part"]) for row in rows if row["role"] == "fault"}
            for rows in (new, old)
        ]
        assert planted[0] == planted[1]


def test_clips_are_small_and_as_long_as_stated(maker: ModuleType) -> None:
    """Under 300 kB each, of the whole case under 150 kB; sound that is not silent."""
    for case in maker.CASES:
        for clip in case.clips:
            path = SAMPLES / case.folder / clip.name
            assert path.stat().st_size < (150_000 if case.folder else 300_000)
            with path.open("rb") as file, av.open(file) as container:
                resampler = av.AudioResampler("flt", "mono", 48000)
                parts = [
                    made.to_ndarray()[0]
                    for frame in container.decode(audio=0)
                    for made in resampler.resample(frame)
                ]
            samples = np.concatenate(parts)
            assert samples.size / 48000 == pytest.approx(clip.duration_s, abs=0.1)
            assert 0.01 < samples.std() < 0.3


def test_every_faulty_clip_holds_a_line_that_can_be_found(maker: ModuleType) -> None:
    """The planted part has a detectable line or a level in band in each clip; healthy, none."""
    for case in maker.CASES:
        rows = read_truth(SAMPLES / case.folder / "truth.csv")
        for clip in case.clips:
            faults = [r for r in rows if r["recording"] == clip.name and r["role"] == "fault"]
            plain = [r for r in faults if r["detectable"] == "yes" or r["level_in_band_db"]]
            assert bool(plain) != clip.healthy
            assert {row["part"] for row in faults} <= {case.fault.part}


def test_readme_names_every_clip(maker: ModuleType) -> None:
    """Each clip has its row, with its layout."""
    text = (SAMPLES / "README.md").read_text(encoding="utf-8")
    for case in maker.CASES:
        for clip in case.clips:
            row = next(line for line in text.splitlines() if f"`{clip.name}`" in line)
            assert f"layouts/{case.layout}" in row
