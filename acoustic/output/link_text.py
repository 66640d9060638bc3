"""A customer's link and a list of them as plain text."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime

from acoustic.casework.customer_links import CustomerLink, LinkState
from acoustic.casework.link_receipts import Receipt
from acoustic.output.wording import wrapped

SEND_PATH = "/send/"
"""Where the page takes what comes by links."""

STATE_WORDS: Mapping[LinkState, str] = {
    "open": "open",
    "expired": "expired",
    "withdrawn": "withdrawn",
    "elsewhere": "made where this case was packed; does not open here",
}


def link_address(page: str, secret: str) -> str:
    """The whole address of a link, behind the address of the page.

    >>> link_address("http://192.0.2.7:8470/", "abc")
    'http://192.0.2.7:8470/send/abc'
    """
    return f"{page.strip().rstrip('/')}{SEND_PATH}{secret}"


def short_digest(clip: str) -> str:
    """First digits of a digest in fours, as people compare them by eye.

    >>> short_digest("0123456789abcdef")
    '0123 4567 89ab cdef'
    """
    return " ".join(clip[start : start + 4] for start in range(0, len(clip), 4))


def render_links(
    links: Sequence[CustomerLink],
    came: Mapping[int, Sequence[Receipt]],
    now: datetime,
    width: int = 80,
) -> str:
    """Render the links of a case, one block each, with what came by them.

    Parameters
    ----------
    links : sequence of CustomerLink
    came : mapping of int to sequence of Receipt
        By number of the link.
    now : datetime
    width : int
    """
    if not links:
        return "No link was made to this case yet.\n"
    lines: list[str] = []
    for link in links:
        asked, receipts = link.asked, came[link.number]
        head = (
            asked.label or "for a customer",
            STATE_WORDS[link.state(now)],
            f"until {asked.until:%Y-%m-%d %H:%M} UTC",
            "also at the parts" if asked.at_parts else "in front of the drive",
            f"made by {asked.by}" if asked.by else "",
        )
        lines += wrapped("; ".join(filter(None, head)), width, f"{link.number:>5}  ", " " * 7)
        for one in receipts:
            size = f"{one.size_bytes / 1e6:.1f} MB"
            text = (
                f"{one.time:%Y-%m-%d %H:%M} UTC  {one.original}, {size}, {short_digest(one.clip)}"
            )
            lines += wrapped(text, width, " " * 7, " " * 9)
        if not receipts:
            lines.append(f"{'':7}Nothing came by it yet.")
    return "\n".join(lines) + "\n"
