"""The steps of a report: hand checks, the decision, what the repair changed."""

from __future__ import annotations

from dataclasses import replace

from acoustic.casework.choice_words import access_words, work_order_line
from acoustic.casework.history import CheckDone, Note, Opinion, Outcome
from acoustic.casework.next_checks import RankedCheck
from acoustic.casework.repair_choice import RepairChoice, SuspectWork
from acoustic.output.case_text import event_text
from acoustic.output.change_text import OUTCOME_WORDS, change_words
from acoustic.output.page_pieces import Element, Piece, element, listed, paragraphs, table
from acoustic.output.points_text import taken_text
from acoustic.output.report_matter import CaseChange, ReportMatter, events_of
from acoustic.output.report_pictures import change_picture, picture_figure
from acoustic.output.wording import probability_text, share_text
from acoustic.tables.words import repair_words
from acoustic.verdict.change_values import FamilyChange

_LISTED_CHECKS, _LISTED_FAMILIES = 5, 15


def checks_section(matter: ReportMatter) -> Element:
    """Hand checks that were made, then those still open by what they settle per minute."""
    done = [
        (f"{event.time:%Y-%m-%d}: {one.check}", one.part, one.result, _by(one.note, one.by))
        for event, one in events_of(matter.case.events, CheckDone)
    ]
    still = matter.ranked[:_LISTED_CHECKS]
    left = len(matter.ranked) - len(still)
    missing = listed(matter.still_to_record)
    return element(
        "section",
        element("h3", "Hand checks and recordings"),
        *paragraphs(["" if done else "None was made yet."]),
        *table("Made", ("day and check", "part", "result", "remark"), done),
        element("h4", "Still open, most settled per minute first"),
        *listed([_open_check(one) for one in still], "ol"),
        *paragraphs(["" if still else "None.", f"{left} more settle less." if left else ""]),
        *([element("h4", "Recordings the plan still asks for"), *missing] if missing else []),
    )


def decision_section(matter: ReportMatter) -> Element:
    """What to open or order, against one more check; each suspect's work; service due."""
    choice = matter.choice
    if choice is None:
        nothing = "Nothing could be screened, so nothing is decided."
        return element("section", element("h3", "Decision"), element("p", nothing))
    service = [f"{one.part}: {one.sentence} ({one.source.rstrip('.')})." for one in choice.service]
    return element(
        "section",
        element("h3", "Decision"),
        element("p", element("strong", "Work order: "), work_order_line(choice)),
        element("p", choice.stop.sentence),
        *table(
            "Ways compared, in hours of work expected",
            ("way", "hours", "labour", "with a fault left unfound, h"), _ways(choice),
        ),
        *table(
            "What each suspect takes",
            ("part", "fault", "faulty", "getting at it", "by whom"),
            [_work_row(one) for one in choice.suspects],
        ),
        *(piece for one in choice.suspects for piece in _work_notes(one)),
        *([element("h4", "Service by distance"), *listed(service)] if service else []),
    )  # fmt: skip


def change_section(matter: ReportMatter) -> Element | None:
    """What the repair changed; None where nothing was recorded after it."""
    if not matter.changes:
        if not matter.change_missing:
            return None
        return element(
            "section", element("h3", "What the repair changed"),
            element("p", matter.change_missing),
        )  # fmt: skip
    first, *others = matter.changes
    also = [f"Also {_taken(one)}: {one.change.headline}" for one in others]
    return element(
        "section",
        element("h3", "What the repair changed"),
        *_change(first),
        *paragraphs([*also, matter.change_missing]),
    )


def said_section(matter: ReportMatter) -> Element | None:
    """Opinions, notes and what was found, as they were entered; None if there are none."""
    rows = [
        (f"{event.id}: {event.kind}", f"{event.time:%Y-%m-%d %H:%M} UTC", event_text(event.data))
        for event in matter.case.events
        if isinstance(event.data, (Opinion, Note, Outcome))
    ]
    if not rows:
        return None
    entries = table("Entries of the case", ("number", "time", "text"), rows)
    return element("section", element("h3", "What people said"), *entries)


def _by(note: str, by: str) -> str:
    return "; ".join(filter(None, (note, f"by {by}" if by else "")))


def _open_check(one: RankedCheck) -> Element:
    check = one.check
    tools = "; ".join(filter(None, (*check.tools, check.special_tool))) or "no tools"
    facts = (
        f" {one.minutes:.0f} min, engine {check.engine}{', belt off' if check.belt_off else ''}; "
        f"{tools}; settles {share_text(one.doubt_share)} of the doubt."
    )
    results = [f"{result.result}: {result.sentence}" for result in one.results]
    return element(
        "div",
        element("p", element("strong", f"{check.title} ({one.part})."), facts),
        *paragraphs([" ".join(check.how), *one.remarks]),
        *listed(results),
        element("p", element("strong", "Caution: "), check.caution),
    )


def _ways(choice: RepairChoice) -> list[tuple[str, ...]]:
    order = ", then ".join(f"{one.part} ({one.hours:.1f} h)" for one in choice.open_now.openings)
    rows: list[tuple[str, ...]] = [
        (
            f"open now: {order}" if order else "open now: no opening pays yet",
            *_hours(choice, choice.open_now.working_hours, choice.open_now.expected_hours),
        )
    ]
    first = choice.check_first
    if first is not None:
        name = f"first check: {first.ranked.check.title} ({first.ranked.part})"
        rows.append((name, *_hours(choice, first.working_hours, first.expected_hours)))
    return rows


def _hours(choice: RepairChoice, working: float, expected: float) -> tuple[str, str, str]:
    amount = choice.money(working)
    money = "no rate given" if amount is None else f"{amount:.0f} {choice.settings.currency}"
    return (f"{working:.2f}", money.rstrip(), f"{expected:.2f}")


def _work_row(one: SuspectWork) -> tuple[str, ...]:
    return (
        one.part, one.mechanism, probability_text(one.probability),
        access_words(one), repair_words("who", one.who),
    )  # fmt: skip


def _work_notes(one: SuspectWork) -> list[Piece]:
    told = (
        ("Repair", one.repair),
        ("Special tool", "; ".join(one.special_tools)),
        ("Change together", one.change_together),
        ("May have harmed", one.harms),
        ("Caution", one.caution),
    )
    notes = [element("span", element("strong", f"{n}: "), text) for n, text in told if text]
    return [element("h4", one.part), *listed(notes)] if notes else []


def _taken(one: CaseChange) -> str:
    """The way of recording that both sides share."""
    return taken_text(replace(one.taken, stage="before", take=1), one.taken.rpm)


def _change(one: CaseChange) -> list[Piece]:
    change = one.change
    sides = ("normal", "now") if change.against == "healthy" else ("before", "after")
    counts = f"{change.takes[0]} {sides[0]}, {change.takes[1]} {sides[1]}"
    percent = f"{100 * change.confidence:.0f} %"
    tones = [
        f"New tone at order {t.order:.2f}, {t.frequency_hz:.1f} Hz, that belongs to no part: "
        f"{t.after_db:.1f} dB over the firing orders; before below {t.below_before_db:.1f} dB."
        for t in change.new_tones
    ]
    return [
        element("p", element("strong", change.headline)),
        *listed(change.reasons),
        *([element("h4", "Next"), *listed(change.next_steps, "ol")] if change.next_steps else []),
        element("p", f"Compared: {_taken(one)}; {counts}."),
        picture_figure(change_picture(change)),
        *table(
            f"dB over the engine's firing orders; in brackets the {percent} interval; < not found, "
            "below that",
            ("part and fault", *sides, "change in dB", "says"),
            [_family_row(row) for row in change.families[:_LISTED_FAMILIES]],
        ),
        *listed([*tones, *change.notes, f"Scatter of takes: {change.scatter.basis}."]),
    ]  # fmt: skip


def _family_row(row: FamilyChange) -> tuple[str, ...]:
    mark = " (repaired)" if row.is_target else ""
    swing = ", swing" if row.shows_as == "swing" else ""
    return (
        f"{row.part}{mark}, {row.title}{swing}",
        _level(row.before_db, row.before_limit_db),
        _level(row.after_db, row.after_limit_db),
        change_words(row),
        OUTCOME_WORDS[row.outcome],
    )


def _level(level_db: float | None, limit_db: float) -> str:
    return f"{level_db:.1f}" if level_db is not None else f"<{limit_db:.1f}"
