"""``acoustic demo``: a case anyone can make, screen and look at."""

import json

from acoustic.cli.demo_command import PLANTED_PART


def test_the_case_is_complete(case):
    """Note, layout, two clips, the answer three ways and the drawing; nothing else."""
    assert sorted(p.name for p in case.iterdir()) == [
        "READ_ME_FIRST.txt", "answer.json", "answer.png", "answer.txt", "drive.png",
        "held_2000_rpm.m4a", "idle.m4a", "library_bus.toml",
    ]  # fmt: skip


def test_the_planted_part_comes_out_first(case):
    """The screening, which knows nothing of the planting, names the same part."""
    report = json.loads((case / "answer.json").read_text("utf-8"))
    assert report["verdict"] == "suspects"
    first = report["suspects"][0]
    assert PLANTED_PART in (first["part"], *first["not_separable_from"])


def test_the_case_is_small(case):
    """A megabyte or so, to be sent by mail."""
    assert sum(p.stat().st_size for p in case.iterdir()) < 1_500_000


def test_the_note_names_every_file(case):
    """Whoever opens the folder learns what each file is."""
    note = (case / "READ_ME_FIRST.txt").read_text("utf-8")
    for path in case.iterdir():
        assert path.name in note or path.name == "READ_ME_FIRST.txt"


def test_the_demo_can_be_made_again_over_itself(acoustic, case):
    """A second run writes the same case and says where to look."""
    before = (case / "answer.json").read_bytes()
    code, out, _ = acoustic("demo", case)
    assert code == 0
    assert "READ_ME_FIRST.txt" in out
    assert (case / "answer.json").read_bytes() == before
