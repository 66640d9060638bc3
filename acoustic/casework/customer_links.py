"""Links by which a customer sends recordings to one case, and is shown an answer.

A link is a long random secret. The case keeps only its SHA-256, as the name of a file that
says what the link is called; the history says when it was made, until when it holds, and
whether it was taken back::

    links/DIGEST.json     the name of the link whose secret has this digest
    links/NAME.jsonl      what came by it
    links/NAME-0123456789abcdef.html   a report as it was shown

A link opens only if the file is here *and* its event stands in the history. The file is
written first, so a cut leaves at worst a file that opens nothing; taking the event back ends
the link at once. Files of ``links`` are never packed, so a case that was mailed opens to
nobody who could send to the one it came from.
"""

from __future__ import annotations

import hashlib
import re
import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path
from typing import Annotated, Literal, TypeAlias

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from acoustic.casework.case_folder import LINKS, read_case_file, read_history
from acoustic.casework.case_index import read_case_folders
from acoustic.casework.case_writes import write_event, write_event_with
from acoustic.casework.history import AnswerShown, Event, History, LinkMade, Opinion, TakenBack
from acoustic.casework.lasting_files import read_whole
from acoustic.casework.link_receipts import is_link_name
from acoustic.errors import CaseError

LONGEST_DAYS = 90
LONGEST_LABEL = 120

LinkState: TypeAlias = Literal["open", "expired", "withdrawn", "elsewhere"]

_SECRET_BYTES = 32  # 256 bit
_SECRET = re.compile(r"[A-Za-z0-9_-]{43}")
_NAME_BYTES = 8
_MOST_REPORT_BYTES = 20_000_000
_REPORT = re.compile(rf"{LINKS}/[0-9a-f]{{16}}-[0-9a-f]{{16}}\.html")


class _LinkFile(BaseModel):
    """What stands in the file named by the digest of a secret."""

    model_config = ConfigDict(extra="forbid", frozen=True, strict=True, populate_by_name=True)

    schema_: Literal["case-link/1"] = Field(default="case-link/1", alias="schema")
    link: Annotated[str, Field(pattern="^[0-9a-f]{16}$")]


@dataclass(frozen=True, slots=True)
class CustomerLink:
    """A link of a case as it stands.

    Attributes
    ----------
    number : int
        Of the event that made it, by which people name it.
    made : datetime
    asked : LinkMade
        What it is for, and until when it holds.
    withdrawn : bool
        Whether its event was taken back.
    here : bool
        Whether its digest is kept here. It is not where the case came packed.
    """

    number: int
    made: datetime
    asked: LinkMade
    withdrawn: bool
    here: bool

    def state(self, now: datetime) -> LinkState:
        """Whether it opens, or why not."""
        if self.withdrawn:
            return "withdrawn"
        if not self.here:
            return "elsewhere"
        return "open" if now < self.asked.until else "expired"


@dataclass(frozen=True, slots=True)
class FoundLink:
    """The link that a secret belongs to: folder of its case, and the link."""

    folder: Path
    link: CustomerLink


@dataclass(frozen=True, slots=True)
class LinkWish:
    """What a link is to be: until when, for whom, also at the parts, made by whom."""

    until: datetime
    label: str = ""
    at_parts: bool = False
    by: str = ""


@dataclass(frozen=True, slots=True)
class AnswerForCustomer:
    """What was released to whoever has a link: an opinion, and where a report is, if one is."""

    opinion: Opinion
    given: datetime
    report: Path | None


def days_from(now: datetime, days: float) -> datetime:
    """The end of a link that holds so many days.

    Raises
    ------
    CaseError
        If that is no time at all, or longer than any link may hold.
    """
    if not 0 < days <= LONGEST_DAYS:
        raise CaseError(
            f"A link cannot hold {days:g} days: give more than 0 and at most {LONGEST_DAYS}."
        )
    return now + timedelta(days=days)


def write_link(folder: Path, wish: LinkWish, now: datetime) -> tuple[str, Event]:
    """Make a link to a case; on the disk when this returns.

    Returns
    -------
    secret : str
        The last part of its address. It is kept nowhere and cannot be shown again.
    event : Event
        Its number is the link's.

    Raises
    ------
    CaseError
        If the folder is no case, or the link is to hold too long or is labelled too long.
    """
    read_case_file(folder)
    days_from(now, (wish.until - now) / timedelta(days=1))
    if len(wish.label) > LONGEST_LABEL or len(wish.by) > LONGEST_LABEL:
        raise CaseError(f"Whom a link is for: say it in at most {LONGEST_LABEL} signs.")
    secret, name = secrets.token_urlsafe(_SECRET_BYTES), secrets.token_hex(_NAME_BYTES)
    content = _LinkFile(link=name).model_dump_json(by_alias=True).encode("ascii")
    made = LinkMade(name, wish.until, wish.label.strip(), wish.at_parts, wish.by.strip())
    event = write_event_with(folder, made, (_file_of(secret), content), now)
    return secret, event


def read_links(folder: Path) -> tuple[CustomerLink, ...]:
    """All links ever made to a case, oldest first."""
    here = {name for name in map(_read_name, (folder / LINKS).glob("*.json")) if name}
    return _links_of(read_history(folder), here)


def read_link(root: Path, secret: str) -> FoundLink | None:
    """Find the link that a secret belongs to, whatever its state, among the cases of a folder.

    None if there is none, or if two folders hold it: then one is a copy, and which one the
    customer was meant to send to cannot be told.
    """
    if not _SECRET.fullmatch(secret):
        return None
    file = _file_of(secret)
    folders = [root / name for name in read_case_folders(root) if (root / name / file).is_file()]
    if len(folders) != 1:
        return None
    name = _read_name(folders[0] / file)
    found = [one for one in _links_of(read_history(folders[0]), {name}) if one.asked.link == name]
    return FoundLink(folders[0], found[0]) if found else None


def write_withdrawn(folder: Path, number: int, why: str, now: datetime) -> Event:
    """End a link for good; whoever has it is turned away from now on.

    Raises
    ------
    CaseError
        If there is no such link, or it was withdrawn before.
    """
    link = _numbered(folder, number)
    if link.withdrawn:
        raise CaseError(f"{folder}: link {number} was withdrawn before. Nothing was changed.")
    return write_event(folder, TakenBack(number, why.strip() or "link withdrawn"), now)


def write_shown_answer(
    folder: Path, number: int, shown: tuple[int, Path | None], by: str, now: datetime
) -> Event:
    """Show an opinion, and a report with it, to whoever has a link.

    Parameters
    ----------
    folder : Path
        Of the case.
    number : int
        Of the link.
    shown : (int, Path or None)
        Number of the opinion, and the report's page; it is kept as it is now.
    by : str
    now : datetime

    Raises
    ------
    CaseError
        If there is no such link or opinion, or the report cannot be read.
    """
    link, (opinion, report) = _numbered(folder, number), shown
    if link.state(now) != "open":
        raise CaseError(f"{folder}: link {number} is {link.state(now)}, so nobody would see it.")
    standing = read_history(folder).standing
    if not any(event.id == opinion and isinstance(event.data, Opinion) for event in standing):
        raise CaseError(
            f"{folder}: {opinion} is no opinion that stands. Write one first: acoustic case "
            f"opinion {folder} TEXT --by NAME."
        )
    if report is None:
        return write_event(folder, AnswerShown(link.asked.link, opinion, "", by.strip()), now)
    content = _read_report(report)
    name = f"{LINKS}/{link.asked.link}-{hashlib.sha256(content).hexdigest()[:16]}.html"
    data = AnswerShown(link.asked.link, opinion, name, by.strip())
    return write_event_with(folder, data, (name, content), now)


def answer_for(folder: Path, history: History, link: str) -> AnswerForCustomer | None:
    """What is released by a link now: the newest answer that stands, its opinion standing too."""
    events = {event.id: event for event in history.standing}
    for event in sorted(events.values(), key=lambda one: one.id, reverse=True):
        data = event.data
        if not isinstance(data, AnswerShown) or data.link != link:
            continue
        opinion = events.get(data.opinion)
        if opinion is None or not isinstance(opinion.data, Opinion):
            return None
        place = folder / data.report
        kept = _REPORT.fullmatch(data.report) is not None and place.is_file()
        return AnswerForCustomer(opinion.data, opinion.time, place if kept else None)
    return None


def _links_of(history: History, here: set[str]) -> tuple[CustomerLink, ...]:
    stands = {event.id for event in history.standing}
    return tuple(
        CustomerLink(
            event.id, event.time, event.data, event.id not in stands, event.data.link in here
        )
        for event in history.events
        if isinstance(event.data, LinkMade) and is_link_name(event.data.link)
    )


def _numbered(folder: Path, number: int) -> CustomerLink:
    links = read_links(folder)
    for link in links:
        if link.number == number:
            return link
    known = _listed(links)
    raise CaseError(f"{folder}: there is no link with the number {number}. {known}")


def _listed(links: Sequence[CustomerLink]) -> str:
    numbers = ", ".join(str(link.number) for link in links)
    return f"Its links are {numbers}." if links else "No link was made to this case yet."


def _file_of(secret: str) -> str:
    return f"{LINKS}/{hashlib.sha256(secret.encode('ascii')).hexdigest()}.json"


def _read_name(file: Path) -> str:
    """Name of the link in a file; empty if it is damaged."""
    try:
        return _LinkFile.model_validate_json(read_whole(file)).link
    except ValidationError:
        return ""


def _read_report(report: Path) -> bytes:
    content = read_whole(report)
    if not content.lstrip().lower().startswith(b"<!doctype html>"):
        raise CaseError(
            f"{report.name}: is no report. Make it with acoustic case report FOLDER --file "
            "FILE.html."
        )
    if len(content) > _MOST_REPORT_BYTES:
        raise CaseError(
            f"{report.name}: has more than {_MOST_REPORT_BYTES / 1e6:.0f} MB. Make it without "
            "sounds."
        )
    return content
