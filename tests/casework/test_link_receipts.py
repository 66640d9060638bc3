"""Receipts: told only when they are kept, counted, torn lines left out."""

from concurrent.futures import ThreadPoolExecutor

import pytest

from acoustic.casework import link_receipts
from acoustic.casework.link_receipts import Receipt, read_receipts, write_receipt
from acoustic.errors import CaseError

NAME = "0123456789abcdef"


@pytest.fixture
def place(folder):
    """Give the folder of a case in which links have a place."""
    (folder / "links").mkdir()
    return folder


def receipt(now, clip="a" * 16):
    """Give a receipt of a recording of a megabyte."""
    return Receipt(clip, "größe.m4a", 1_000_000, now, "Record in front")


def test_a_receipt_comes_back_and_counts_once(place, now):
    """The same recording again is told to be there."""
    assert write_receipt(place, NAME, 5, lambda: receipt(now)) == (receipt(now), False)
    assert write_receipt(place, NAME, 5, lambda: receipt(now)) == (receipt(now), True)
    assert read_receipts(place, NAME) == (receipt(now),)
    assert read_receipts(place, "f" * 16) == ()


def test_wherever_a_line_is_cut_the_others_stand(place, now):
    """Cut at every byte; the next one begins on a line of its own."""
    file = place / "links" / f"{NAME}.jsonl"
    write_receipt(place, NAME, 5, lambda: receipt(now))
    first = file.read_bytes()
    write_receipt(place, NAME, 5, lambda: receipt(now, "b" * 16))
    whole = file.read_bytes()
    for length in range(len(first), len(whole) - 1):
        file.write_bytes(whole[:length])
        assert read_receipts(place, NAME)[0] == receipt(now)
        write_receipt(place, NAME, 5, lambda: receipt(now, "c" * 16))
        assert read_receipts(place, NAME)[-1] == receipt(now, "c" * 16)


def test_many_at_once_are_all_received_and_none_above_the_limit(place, now, monkeypatch):
    """Twelve at a time where ten are taken: ten receipts, two refused."""
    monkeypatch.setattr(link_receipts, "MOST_CLIPS", 10)

    def one(number):
        try:
            write_receipt(place, NAME, 5, lambda: receipt(now, f"{number:016x}"))
        except CaseError:
            return False
        return True

    with ThreadPoolExecutor(12) as pool:
        taken = list(pool.map(one, range(12)))
    assert sum(taken) == 10
    kept = {one.clip for one in read_receipts(place, NAME)}
    assert kept == {f"{number:016x}" for number, was in enumerate(taken) if was}


def test_what_could_not_be_kept_has_no_receipt(place, now):
    """The recording comes first."""

    def full():
        raise CaseError("disk full")

    with pytest.raises(CaseError, match="disk full"):
        write_receipt(place, NAME, 5, full)
    assert read_receipts(place, NAME) == ()


@pytest.mark.parametrize(("limit", "said"), [("MOST_CLIPS", "no more are"), ("MOST_BYTES", "GB")])
def test_a_link_takes_only_so_much(place, now, monkeypatch, limit, said):
    """In number and in size; what is above is not even kept."""
    monkeypatch.setattr(link_receipts, limit, {"MOST_CLIPS": 1, "MOST_BYTES": 1_500_000}[limit])
    write_receipt(place, NAME, 1_000_000, lambda: receipt(now))
    kept = []
    with pytest.raises(CaseError, match=said):
        write_receipt(place, NAME, 1_000_000, lambda: kept.append(1) or receipt(now, "b" * 16))
    assert kept == []


@pytest.mark.parametrize("name", ["", "../../x", "A" * 16, "a" * 17])
def test_a_name_that_could_be_a_place_is_no_name(place, name):
    """Names come out of files that somebody may have edited."""
    with pytest.raises(ValueError, match="no name of a link"):
        read_receipts(place, name)
