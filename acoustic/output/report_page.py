"""The report of a case as one page: the customer reads the first screen, the adviser all.

One file without script and without anything fetched; it reads on a phone, prints in grey on
A4, and can be mailed.
"""

from __future__ import annotations

from dataclasses import dataclass

from acoustic.output.page_pieces import Element, Piece, element, render
from acoustic.output.report_customer import caution_section, customer_section
from acoustic.output.report_evidence import (
    answer_section,
    heard_section,
    points_section,
    suspects_section,
)
from acoustic.output.report_limits import drive_section, limits_section, sources_section
from acoustic.output.report_matter import ReportMatter
from acoustic.output.report_sounds import sounds_section
from acoustic.output.report_steps import (
    change_section,
    checks_section,
    decision_section,
    said_section,
)

MOST_PAGE_BYTES = 1_500_000
"""A page that every mail box takes; without sounds it needs a quarter of it."""
_FRAME_BYTES = 1000  # the tags around the parts of a page, and more

# Nothing is fetched and no script runs, even if a name should ever find a way to ask for it.
_POLICY = "default-src 'none'; img-src data:; media-src data:; style-src 'unsafe-inline'"

_STYLE = """\
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem; max-width: 46rem; background: #fff; color: #1a1a1a;
  font: 1.0625rem/1.5 system-ui, sans-serif; overflow-wrap: break-word; }
h1 { font-size: 1.5rem; line-height: 1.2; margin: 0 0 .25rem; }
h2 { font-size: 1.2rem; line-height: 1.25; margin: 1.5rem 0 .25rem; }
h3 { font-size: 1.1rem; line-height: 1.25; margin: 2rem 0 .5rem; border-top: 1px solid #b3b3b3;
  padding-top: .75rem; }
h4 { font-size: 1rem; margin: 1.25rem 0 .25rem; }
p, ul, ol { margin: .5rem 0; }
ul, ol { padding-left: 1.3rem; }
li { margin: .25rem 0; }
.lead { font-size: 1.25rem; line-height: 1.35; font-weight: 600; }
.about { color: #444; margin: 0; }
.said { border-left: .2rem solid #b3b3b3; margin: .75rem 0; padding-left: .75rem; }
.caution { border: 2px solid #1a1a1a; background: #f2f2f2; margin: 1.5rem 0;
  padding: .25rem 1rem .5rem; font-size: .9375rem; }
.caution h2 { margin-top: .5rem; }
.adviser { border-top: 4px solid #1a1a1a; margin-top: 2.5rem; }
.note { border: 1px solid #1a1a1a; padding: .5rem .75rem; }
.side { margin-bottom: 0; }
.side + ul { margin-top: 0; }
figure { margin: 1rem 0; }
img { display: block; width: 100%; max-width: 30rem; height: auto; }
audio { width: 100%; max-width: 30rem; }
.made { border: 2px dashed #1a1a1a; padding: .25rem .75rem .5rem; max-width: 30rem; }
figcaption, caption { font-size: .875rem; color: #444; text-align: left; }
caption { padding-bottom: .25rem; }
.wide { overflow-x: auto; margin: 1rem 0; }
table { border-collapse: collapse; width: 100%; font-size: .875rem; line-height: 1.35; }
th, td { text-align: left; vertical-align: top; padding: .3rem .6rem .3rem 0;
  border-bottom: 1px solid #b3b3b3; }
thead th { border-bottom: 2px solid #1a1a1a; }
tbody th { font-weight: normal; overflow-wrap: break-word; min-width: 6rem; }
td.figure { white-space: nowrap; }
td.long { overflow-wrap: anywhere; min-width: 8rem; }
summary { min-height: 44px; padding: .6rem 0; cursor: pointer; }
:focus-visible { outline: 3px solid #1a1a1a; outline-offset: 2px; }
@media (max-width: 30rem) {
  table { font-size: .8125rem; }
  th, td { padding-right: .4rem; }
  tbody th { min-width: 4.75rem; }
}
@page { size: A4; margin: 15mm 15mm 18mm; }
@media print {
  html { font-size: 9.5pt; }
  body { max-width: none; padding: 0; font-size: 1rem; line-height: 1.4; }
  h3 { margin-top: 1.5rem; }
  .caution { font-size: 8.5pt; line-height: 1.35; }
  .caution ul { columns: 2; column-gap: 2rem; }
  img { width: 112mm; max-width: 100%; max-height: 220mm; object-fit: contain;
    object-position: left; }
  h2, h3, h4, caption, thead { break-after: avoid; }
  figure, tr, .caution, .note { break-inside: avoid; }
  .caution { background: none; }
  .adviser { break-before: page; border-top: 0; }
  .wide { overflow: visible; }
  .hear, details:not([open]) { display: none; }
}
.settings { font-size: .75rem; line-height: 1.35; overflow-wrap: anywhere; columns: 15rem;
  column-gap: 1.5rem; padding-left: 0; list-style: none; }
.settings li { margin: 0; }
"""


@dataclass(frozen=True, slots=True)
class ReportSettings:
    """What a report holds beside the usual, and what it is for.

    Attributes
    ----------
    sounds : bool
        With sounds to play, as many as leave the page within its size.
    paper : bool
        For paper: nothing to play, nothing folded away.
    """

    sounds: bool = False
    paper: bool = False


DEFAULT_REPORT_SETTINGS = ReportSettings()


def render_report(matter: ReportMatter, settings: ReportSettings = DEFAULT_REPORT_SETTINGS) -> str:
    """Render the report of a case as one HTML page that stands alone.

    Parameters
    ----------
    matter : ReportMatter
    settings : ReportSettings

    Returns
    -------
    str
        A whole page; every name in it is escaped.
    """
    file = matter.case.file
    title = f"Noise report: {file.title}"
    first = [
        element("h1", title),
        *_about(matter),
        customer_section(matter),
        caution_section(matter),
    ]
    head = [
        '<meta charset="utf-8">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        render(element("meta", http_equiv="Content-Security-Policy", content=_POLICY)),
        render(element("title", title)),
        f"<style>\n{_STYLE}</style>",
    ]
    used = len("".join((*head, *map(render, first))).encode()) + _FRAME_BYTES
    body = element("body", element("main", *first, _adviser(matter, settings, used)))
    return f'<!doctype html>\n<html lang="en"><head>{"".join(head)}</head>{render(body)}</html>\n'


def _about(matter: ReportMatter) -> list[Piece]:
    file = matter.case.file
    said = (
        file.vehicle,
        f"{file.odometer_km:.0f} km" if file.odometer_km is not None else "",
        f"opened {file.opened.isoformat()}",
        f"report of {matter.made:%Y-%m-%d}",
    )
    about: list[Piece] = [element("p", "; ".join(filter(None, said)), class_="about")]
    if file.complaint:
        about.append(element("blockquote", f"You said: {file.complaint}", class_="said"))
    return about


def _adviser(matter: ReportMatter, settings: ReportSettings, used_bytes: int) -> Element:
    """Everything for the adviser; `used_bytes` is what the page holds beside it."""
    heard = [
        answer_section(matter),
        change_section(matter),
        suspects_section(matter),
        heard_section(matter),
    ]
    rest = [
        points_section(matter),
        checks_section(matter),
        decision_section(matter),
        said_section(matter),
        drive_section(matter),
        limits_section(matter),
        sources_section(matter, folded=not settings.paper),
    ]
    sounds = None
    if settings.sounds and not settings.paper:
        written = sum(len(render(one).encode()) for one in (*heard, *rest) if one is not None)
        sounds = sounds_section(matter, MOST_PAGE_BYTES - used_bytes - written)
    return element(
        "section",
        element("h2", "For the adviser: the evidence"),
        *(one for one in (*heard, sounds, *rest) if one is not None),
        class_="adviser",
    )
