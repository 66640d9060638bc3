"""Reading a case: what is no case is refused, what is damaged is told."""

import pytest

from acoustic.casework.case_folder import read_case
from acoustic.errors import CaseError, DriveError


def test_what_is_no_case_is_refused(tmp_path):
    """No folder, an empty one, a file."""
    (tmp_path / "file").touch()
    for name, said in (("none", "no such folder"), ("", "this is no case"), ("file", "is a file")):
        with pytest.raises(CaseError, match=said):
            read_case(tmp_path / name)


def test_a_missing_layout_or_history_is_told(folder):
    """The layout is needed; without the history what was written down still is."""
    (folder / "history.jsonl").unlink()
    assert "history.jsonl: is missing" in read_case(folder).remarks[0]
    (folder / "layout.toml").unlink()
    with pytest.raises(CaseError, match="is not in the folder"):
        read_case(folder)


def test_faults_of_the_two_files_name_their_line(folder):
    """As people edit both."""
    (folder / "layout.toml").write_text("name = 3\n")
    with pytest.raises(DriveError, match=r"layout\.toml:1"):
        read_case(folder)
    (folder / "case.toml").write_bytes(b"title = '\xff'")
    with pytest.raises(CaseError, match=r"case\.toml:1: is not UTF-8"):
        read_case(folder)
