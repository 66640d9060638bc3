"""Files written whole or not at all."""

import os
import stat
from pathlib import Path

import pytest

from acoustic.errors import OutputError
from acoustic.output.whole_file import (
    require_picture_place,
    require_writable,
    write_bytes_whole,
    write_text_whole,
)


def test_text_is_written_as_utf8_and_leaves_nothing_beside_it(tmp_path):
    """The folder holds the one file asked for, nothing temporary."""
    write_text_whole(tmp_path / "answer.txt", "3 kHz ± 1 %\n")
    assert [p.name for p in tmp_path.iterdir()] == ["answer.txt"]
    assert (tmp_path / "answer.txt").read_bytes() == "3 kHz ± 1 %\n".encode()


def test_a_written_file_has_the_usual_permissions(tmp_path):
    """Others may read it as far as the user's mask allows: 0o666 less 0o022."""
    old = os.umask(0o022)
    try:
        write_bytes_whole(tmp_path / "a.json", b"{}")
    finally:
        os.umask(old)
    assert stat.S_IMODE((tmp_path / "a.json").stat().st_mode) == 0o644


def test_a_failed_write_keeps_the_old_file(tmp_path, monkeypatch):
    """Where the renaming fails, what was there stays and nothing temporary is left."""
    target = tmp_path / "answer.json"
    target.write_text("old")

    def full(self, other):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "replace", full)
    with pytest.raises(OutputError, match="No space left on device"):
        write_text_whole(target, "new")
    assert [p.name for p in tmp_path.iterdir()] == ["answer.json"]
    assert target.read_text() == "old"


def test_a_missing_folder_is_told_before_the_work(tmp_path):
    """The message names the option, the file and the folder that is not there."""
    path = tmp_path / "nowhere" / "answer.json"
    with pytest.raises(OutputError, match=r"--json .*nowhere does not exist"):
        require_writable(path, "--json")


def test_a_folder_is_no_file(tmp_path):
    """Giving a folder asks for a file name."""
    with pytest.raises(OutputError, match="this is a folder"):
        require_writable(tmp_path, "--json")


@pytest.mark.skipif(os.geteuid() == 0, reason="root may write anywhere")
def test_no_permission_is_told_before_the_work(tmp_path):
    """A read-only folder is refused in one sentence."""
    tmp_path.chmod(0o555)
    with pytest.raises(OutputError, match="no permission"):
        require_writable(tmp_path / "answer.json", "--json")


def test_a_picture_needs_a_known_ending(tmp_path):
    """The message lists the endings and makes a proposal."""
    with pytest.raises(OutputError, match=r"\.png, \.svg, \.pdf.*drive\.png"):
        require_picture_place(tmp_path / "drive.bmp", "--picture")
