"""What `acoustic serve` was asked for, and the limits every visitor is held to."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

MEGABYTE = 1_000_000
STATE_FOLDER = ".acoustic-page"
"""Folder beside the cases for what the page itself keeps; out of sight of the list of cases."""


@dataclass(frozen=True, slots=True)
class Limits:
    """Sizes, times and rates a visitor is held to.

    Attributes
    ----------
    clip_bytes : int
        Largest recording taken; ten minutes of video from a phone.
    form_bytes : int
        Largest form without a recording.
    form_fields : int
    session_s : float
        After this an access code is asked for again: a long working day.
    requests_per_minute, uploads_per_minute, codes_per_minute : int
        Of one address; what comes above is answered 429.
    """

    clip_bytes: int = 200 * MEGABYTE
    form_bytes: int = MEGABYTE
    form_fields: int = 200
    session_s: float = 12 * 3600.0
    requests_per_minute: int = 1200
    uploads_per_minute: int = 120
    codes_per_minute: int = 6


def _now() -> datetime:
    return datetime.now(UTC)


@dataclass(frozen=True, slots=True)
class PageSettings:
    """How the page is served.

    Attributes
    ----------
    root : Path
        Folder that holds the cases.
    hosts : frozenset of str
        Names and addresses it answers to, without port; others are refused, so that a
        stranger's page cannot reach it under a name of its own.
    access_code : str
        Asked of everybody; empty for this machine alone.
    secure : bool
        True if it is served encrypted, so that cookies travel so only.
    limits : Limits
    address : str
        At which others on the network reach it; empty for this machine alone.
    port : int
    clock : callable
        Gives the time by which customers' links end.
    """

    root: Path
    hosts: frozenset[str] = frozenset({"localhost", "127.0.0.1", "[::1]"})
    access_code: str = ""
    secure: bool = False
    limits: Limits = field(default_factory=Limits)
    address: str = ""
    port: int = 0
    clock: Callable[[], datetime] = _now

    @property
    def state(self) -> Path:
        """Folder of what the page itself keeps."""
        return self.root / STATE_FOLDER

    @property
    def scheme(self) -> str:
        """``https`` where it is served encrypted."""
        return "https" if self.secure else "http"

    @property
    def own_address(self) -> str:
        """Where a phone on the network goes."""
        return f"{self.scheme}://{self.address}:{self.port}"

    @property
    def address_with_code(self) -> str:
        """The same with the access code behind a #, which browsers never send."""
        return f"{self.own_address}/enter#{self.access_code}"
