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
