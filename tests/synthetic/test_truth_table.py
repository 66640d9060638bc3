"""The truth as a table."""

import csv
import io
from dataclasses import replace

import numpy as np
import pytest

from acoustic.drive.drive import Drive
from acoustic.synthetic.scene import make_scene
from acoustic.synthetic.scene_settings import Condition, PlantedFault, SceneSettings
from acoustic.synthetic.truth_table import COLUMNS, render_truth_table


def test_one_row_per_line_with_its_figures(drive: Drive, plain: SceneSettings) -> None:
    """Frequency over order is the mean speed, in every row."""
    settings = replace(
        plain,
        conditions=(Condition("idle", 900, duration_s=2, wander=0.0),),
        faults=(PlantedFault("pump", "pumping", 3.0),),
    )
    truth = make_scene(drive, settings, np.random.default_rng(2)).truth
    rows = list(csv.DictReader(io.StringIO(render_truth_table(truth))))
    assert len(rows) == len(truth.recordings[0].lines)
    for row in rows:
        assert tuple(row) == COLUMNS
        assert row["part"] == "pump"
        assert row["role"] == "fault"
        assert float(row["frequency_hz"]) / float(row["order"]) == (pytest.approx(15.0, rel=1e-3))


def test_what_lies_in_bands_has_a_row_of_its_own(drive: Drive, plain: SceneSettings) -> None:
    """Kind, level and bands; the rate over the order is the mean speed; no tone-to-noise."""
    settings = replace(
        plain,
        conditions=(Condition("idle", 900, duration_s=2, wander=0.0),),
        faults=(
            PlantedFault("idler", "outer race", -4.0, "envelope"),
            PlantedFault("engine itself", "air leak", -2.0),
        ),
    )
    truth = make_scene(drive, settings, np.random.default_rng(2)).truth
    race, hiss = csv.DictReader(io.StringIO(render_truth_table(truth)))
    assert (race["part"], race["shows_as"]) == ("idler", "impacts")
    assert float(race["level_in_band_db"]) <= -4.0
    assert float(race["frequency_hz"]) / float(race["order"]) == pytest.approx(15.0, rel=1e-3)
    assert race["tone_to_noise_db"] == race["detectable"] == ""
    low, high = race["bands_hz"].split()[0].split("-")
    assert float(low) < float(high)
    assert (hiss["shows_as"], hiss["order"], hiss["frequency_hz"]) == ("hiss", "", "")
