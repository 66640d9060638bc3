"""``acoustic bundle``, as sender and adviser type them."""

import pytest

from acoustic.casework.case_folder import read_case


@pytest.fixture
def bus(acoustic, case, tmp_path):
    """Give the folder of a case with one recording."""
    folder, clip = tmp_path / "bus", tmp_path / "idler_air_idle.m4a"
    clip.write_bytes((case / "idle.m4a").read_bytes())
    assert acoustic("case", "new", folder, "--layout", case / "library_bus.toml")[0] == 0
    assert acoustic("case", "add", folder, clip, "--load", "none")[0] == 0
    return folder


def test_a_second_opinion_by_mail(acoustic, bus, tmp_path):
    """There and back: what is made, found, said, and what to type next at each step."""
    pack, desk, answer = tmp_path / "bus.zip", tmp_path / "desk", tmp_path / "answer.zip"
    code, out, _ = acoustic("bundle", "pack", bus, "--file", pack)
    assert code == 0
    assert out.startswith(f"{pack}: holds the case 'bus', 4 files, ")
    code, out, _ = acoustic("bundle", "open", pack, desk)
    assert code == 0
    assert "It holds 1 recording (1 before the repair), 0 screenings, 1 event" in out
    assert f"Next: acoustic case screen {desk}" in out
    code, out, _ = acoustic(
        "bundle", "answer", desk, "--by", "Ada", "--text", "Idler\x1b[31m!", "--file", answer
    )
    assert code == 0
    assert "No screening was made here since it came" in out
    code, out, _ = acoustic("bundle", "merge", answer, bus)
    assert code == 0
    assert "opinion: Idler\ufffd[31m! (Ada)" in out  # what a stranger wrote steers no terminal
    assert read_case(bus).events[1].data.by == "Ada"
    code, out, _ = acoustic("bundle", "merge", answer, bus)
    assert (code, out) == (0, "answer.zip: this answer of Ada is in the case already.\n")


def test_a_case_that_is_here_is_left_and_said_so(acoustic, bus, tmp_path):
    """What changed goes out, what was not done is an error."""
    pack = tmp_path / "bus.zip"
    acoustic("bundle", "pack", bus, "--file", pack)
    code, out, err = acoustic("bundle", "open", pack, bus)
    assert code == 2
    assert "Against the case that is here:\n  - Nothing differs." in out
    assert "left as it is" in err


def test_trouble_is_one_sentence(acoustic, bus, tmp_path):
    """No such file, no case, no pack."""
    for arguments, said in (
        (("pack", tmp_path, "--file", tmp_path / "x.zip"), "this is no case"),
        (("open", tmp_path / "none.zip", tmp_path / "x"), "cannot be read"),
        (("open", bus / "case.toml", tmp_path / "x"), "is no packed case"),
        (("merge", bus, bus), "cannot be read"),
    ):
        code, out, err = acoustic("bundle", *arguments)
        assert (code, out) == (2, "")
        assert said in err
