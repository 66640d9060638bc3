"""``acoustic case link, links, unlink, reply`` as an adviser types them."""

import re

import pytest

from acoustic.casework.customer_links import read_link, read_links


@pytest.fixture
def bus(acoustic, case, tmp_path):
    """Give the folder of a case."""
    folder = tmp_path / "cases" / "bus"
    assert acoustic("case", "new", folder, "--layout", case / "library_bus.toml")[0] == 0
    return folder


def test_a_link_is_made_listed_answered_and_ended(acoustic, bus, tmp_path):
    """What is printed is the link itself, once; the list has none of its secret."""
    code, out, _ = acoustic(
        "case", "link", bus, "--for", "Ms Reader", "--days", "2", "--page", "http://192.0.2.7:8470/"
    )
    assert code == 0
    secret = re.search(r"^  http://192.0.2.7:8470/send/([\w-]{43})$", out, re.MULTILINE)[1]
    assert f"acoustic case unlink {bus} 1" in out
    assert read_link(bus.parent, secret).folder == bus
    code, out, _ = acoustic("case", "links", bus)
    assert code == 0
    assert out.startswith("    1  Ms Reader; open; until ")
    assert "Nothing came by it yet." in out
    assert secret not in out
    assert acoustic("case", "opinion", bus, "The idler.", "--by", "Ada")[0] == 0
    code, out, _ = acoustic("case", "reply", bus, "1")
    assert (code, out.splitlines()[0]) == (0, "Link 1 now shows opinion 2 (number 3).")
    code, out, _ = acoustic("case", "unlink", bus, "1", "--why", "sent to the wrong one")
    assert (code, out) == (0, "Link 1 is withdrawn (number 4).\n")
    assert "withdrawn" in acoustic("case", "links", bus)[1]
    shown = acoustic("case", "show", bus)[1]
    assert "link made (taken back): Ms Reader" in shown
    assert "number 1. sent to the wrong one" in shown


def test_without_an_address_the_path_is_said(acoustic, bus):
    """And that it stands behind the page's address; a technician is asked for more."""
    code, out, _ = acoustic("case", "link", bus, "--at-parts")
    assert code == 0
    assert re.search(r"^  /send/[\w-]{43}$", out, re.MULTILINE)
    assert "behind the address" in out
    assert read_links(bus)[0].asked.at_parts


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("link", "{bus}", "--days", "91"), "at most 90"),
        (("link", "{bus}", "--for", "x" * 121), "at most 120"),
        (("link", "{bus}/none"), "no such folder"),
        (("link", "{bus}", "--page", "192.0.2.7"), "give the whole address"),
        (("unlink", "{bus}", "7"), "No link was made"),
        (("reply", "{bus}", "7"), "No link was made"),
    ],
)
def test_trouble_is_one_sentence(acoustic, bus, arguments, said):
    """Too long, no case, no such link."""
    code, out, err = acoustic("case", *(one.replace("{bus}", str(bus)) for one in arguments))
    assert (code, out) == (2, "")
    assert said in err


def test_a_case_without_links_says_so(acoustic, bus):
    """Not an empty answer."""
    assert acoustic("case", "links", bus)[1] == "No link was made to this case yet.\n"
