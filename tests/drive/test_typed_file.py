"""Files that people type: whatever they are for, refused in the same words."""

import pytest

from acoustic.drive.typed_file import LARGEST_BYTES, text_of, toml_of


def test_a_text_is_what_an_editor_saved():
    """With or without a byte order mark, with the line ends of any machine."""
    assert text_of(b"\xef\xbb\xbftitle = 1\r\nb = 2\n", "case.toml", "case") == "title = 1\nb = 2\n"


@pytest.mark.parametrize(
    ("raw", "said"),
    [
        (b"a = 1\nb = \xff", "case.toml:2: is not UTF-8 text. Save the case as plain text"),
        (b" " * (LARGEST_BYTES + 1), "case.toml: is larger than 1 MB, which no case is."),
    ],
)
def test_what_is_no_text_is_refused(raw, said):
    """With the line where it stops to be one."""
    with pytest.raises(ValueError, match=said):
        text_of(raw, "case.toml", "case")


def test_what_is_no_toml_is_shown():
    """With line and column, and the line itself."""
    with pytest.raises(ValueError, match=r"case.toml:2: not TOML, column \d+: .* reads: b = = 2"):
        toml_of("a = 1\nb = = 2\n", "case.toml", "a case")
