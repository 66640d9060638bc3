"""Files that outlive a cut: whole or not at all."""

import pytest

from acoustic.casework.lasting_files import INCOMING, write_lasting, write_locked
from acoustic.errors import CaseError


def test_a_file_is_replaced_whole(tmp_path):
    """And nothing temporary stays."""
    write_lasting(tmp_path / "a", b"old")
    write_lasting(tmp_path / "a", b"new" * 1000)
    assert (tmp_path / "a").read_bytes() == b"new" * 1000
    assert not list(tmp_path.glob(f"{INCOMING}*"))


def test_a_place_that_cannot_be_written_is_told(tmp_path):
    """A folder that is not there, and a folder in place of the file."""
    (tmp_path / "folder").mkdir()
    for path in (tmp_path / "none" / "a", tmp_path / "folder"):
        with pytest.raises(CaseError, match="cannot be written"):
            write_lasting(path, b"x")
    assert not list(tmp_path.glob(f"{INCOMING}*"))
    with pytest.raises(CaseError, match="cannot be written"), write_locked(tmp_path / "folder"):
        pass
