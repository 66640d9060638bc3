"""The bench layout against the bearing data of Case Western Reserve University.

Printed multiples: Bearing Data Center, bearing information. Measured lines: its records,
as read in the list that comes with our copies of them; skipped where those are not there.
"""

import csv
from pathlib import Path

import pytest

from acoustic.drive.drive import ExpectedFamily
from acoustic.drive.expected import expected_families
from acoustic.drive.layout_file import read_drive

ROOT = Path(__file__).resolve().parents[2]
RECORDS = ROOT.parent / "shared" / "data" / "cwru" / "MANIFEST.csv"
PLACES = {"6205-2RS drive end": "drive end", "6203-2RS fan end": "fan end"}
LINES = {
    "bpfo": ("outer race", "outer race strikes"),
    "bpfi": ("inner race", "inner race strikes"),
    "ball": ("rolling element", "ball strikes (twice the ball spin)"),
    "cage": ("rough bearing", "roughness once a cage turn"),
}


@pytest.fixture(scope="module")
def families() -> dict[str, ExpectedFamily]:
    """Families of the bench motor by mechanism."""
    drive = read_drive(ROOT / "samples" / "layouts" / "bearing_bench.toml")
    assert set(drive.parts) == {"motor"}  # nothing else on the bench may take the blame
    return {family.mechanism: family for family in expected_families(drive)}


def order_of(families: dict[str, ExpectedFamily], mechanism: str, label: str) -> float:
    """Order of one line of the envelope."""
    return next(x.order for x in families[mechanism].envelope_lines if x.label == label)


def test_the_bench_has_the_printed_multiples(families, published) -> None:
    """Race, ball and cage lines of both bearings, to the printed digits."""
    for row in published("cwru_bearings.csv"):
        for key, (mechanism, label) in LINES.items():
            got = order_of(families, f"{mechanism}/{PLACES[row['bearing']]}", label)
            assert got == pytest.approx(float(row[key]), rel=3e-4), (row["bearing"], key)


def test_bearings_weigh_more_than_anything_else_on_the_bench(families) -> None:
    """Beforehand the bearings carry more than three quarters of the blame."""
    others = [f for f in families.values() if "/" not in f.mechanism]
    assert {f.row_id for f in others} == {"run-out", "loose on its shaft"}
    assert sum(f.prior_weight for f in others) < 0.25


@pytest.mark.skipif(not RECORDS.exists(), reason="records of the bearing test rig not there")
@pytest.mark.parametrize(("label", "mechanism"), [("OR", "outer race"), ("IR", "inner race")])
def test_measured_race_lines_lie_within_the_tolerance(families, label, mechanism) -> None:
    """Nine of ten measured race lines lie within two of its standard deviations.

    The load presses the balls up the race's flank: outer race lines sit a little high,
    inner race lines a little low.
    """
    with RECORDS.open(encoding="utf-8") as file:
        rows = [row for row in csv.DictReader(file) if row["label_fault"] == label]
    ends = {"DE": "drive end", "FE": "fan end"}
    apart = []
    for row in rows:
        if not row["measured_env_line_order"]:
            continue
        family = families[f"{mechanism}/{ends[row['fault_end']]}"]
        expected = order_of(families, family.mechanism, f"{mechanism} strikes")
        off = float(row["measured_env_line_order"]) / expected - 1
        apart.append(off / family.own_tolerance)
    assert len(apart) > 10
    assert sum(abs(off) < 2 for off in apart) >= 0.9 * len(apart)
    side = 1 if label == "OR" else -1
    assert sum(side * off > 0 for off in apart) >= 0.9 * len(apart)
