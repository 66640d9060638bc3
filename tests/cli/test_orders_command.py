"""``acoustic orders`` from a layout to list, JSON and drawing."""

import json

import pytest

from acoustic.cli.app import EXIT_INPUT


def test_the_list_is_printed(acoustic, case):
    """Shafts, belt and lines of the sample layout, at the speed asked for."""
    code, out, err = acoustic("orders", case / "library_bus.toml", "--rpm", "850")
    assert (code, err) == (0, "")
    assert "850 rpm" in out
    assert "SHAFTS" in out
    assert "alternator" in out


def test_json_and_drawing_are_written(acoustic, case, tmp_path):
    """Both whole, both told."""
    listing, drawing = tmp_path / "orders.json", tmp_path / "drive.pdf"
    code, out, _ = acoustic(
        "orders", case / "library_bus.toml", "--json", listing, "--picture", drawing
    )
    assert code == 0
    assert json.loads(listing.read_text("utf-8"))["schema"] == "acoustic-orders/1"
    assert drawing.read_bytes().startswith(b"%PDF")
    assert f"Written: {listing}, {drawing}" in out


def test_json_to_the_pipe_is_json_alone(acoustic, case):
    """2000 rpm: the crankshaft turns 33.33 times a second."""
    code, out, _ = acoustic("orders", case / "library_bus.toml", "--rpm", "2000", "--json", "-")
    assert code == 0
    crank = next(s for s in json.loads(out)["shafts"] if s["name"] == "crankshaft")
    assert crank["frequencies_hz"] == [pytest.approx(2000 / 60)]


@pytest.mark.parametrize("rpm", ["0", "-5", "fast", "1e9"])
def test_a_speed_that_makes_no_sense(acoustic, case, rpm):
    """The same words as for screening."""
    code, out, err = acoustic("orders", case / "library_bus.toml", "--rpm", rpm)
    assert (code, out) == (EXIT_INPUT, "")
    assert f"--rpm {rpm}" in err
