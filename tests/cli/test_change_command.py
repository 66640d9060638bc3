"""``acoustic change`` from clips to text, JSON and picture, and what it refuses."""

import json

import pytest

from acoustic.cli.app import EXIT_INPUT


def test_the_same_clip_is_no_cure(acoustic, case, tmp_path):
    """A clip against itself: nothing changed, and one take each cannot prove more."""
    listing, picture = tmp_path / "change.json", tmp_path / "change.png"
    idle = case / "idle.m4a"
    code, out, err = acoustic(
        "change", case / "library_bus.toml", "--before", idle, "--after", idle,
        "--part", "idler", "--rpm-before", "810", "--rpm-after", "810", "--json", listing,
        "--picture", picture,
    )  # fmt: skip
    assert (code, err) == (0, "")
    assert out.startswith(("Cannot tell", "Unchanged"))
    report = json.loads(listing.read_text("utf-8"))
    assert report["verdict"] in {"cannot_tell", "unchanged"}
    changes = [row["change_db"] for row in report["families"] if row["change_db"] is not None]
    assert changes == pytest.approx([0.0] * len(changes), abs=1e-6)
    assert changes
    assert picture.read_bytes().startswith(b"\x89PNG")
    assert f"Written: {listing}, {picture}" in out


def test_another_speed_is_refused(acoustic, case):
    """810 against 2000 rpm: named, with what to record again; nothing on the output."""
    code, out, err = acoustic(
        "change", case / "library_bus.toml", "--before", case / "idle.m4a", "--after",
        case / "held_2000_rpm.m4a", "--part", "idler",
    )  # fmt: skip
    assert (code, out) == (EXIT_INPUT, "")
    assert "speed differs" in err
    assert "within 3 %" in err


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [("--part", "windmill", "no such part"), ("--point", "moon", "no such part"),
     ("--load", "anchor", "no such load")],
)  # fmt: skip
def test_unknown_names_are_refused_before_any_work(acoustic, case, option, value, said):
    """The message lists what there is."""
    idle = case / "idle.m4a"
    code, out, err = acoustic(
        "change", case / "library_bus.toml", "--before", idle, "--after", idle, option, value
    )
    assert (code, out) == (EXIT_INPUT, "")
    assert said in err
