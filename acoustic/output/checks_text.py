"""Hand checks by rank and the decision as plain text, for a terminal or the job card."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from acoustic.casework.choice_words import access_words, customer_sentences, work_order_line
from acoustic.casework.next_checks import RankedCheck
from acoustic.casework.openings import Search
from acoustic.casework.repair_choice import CheckFirst, RepairChoice, SuspectWork
from acoustic.casework.service_due import ServiceDue
from acoustic.output.wording import (
    RUNNING_ENGINE_CAUTION,
    probability_text,
    share_text,
    wrapped,
)
from acoustic.tables.words import repair_words

INDENT = "  "
LISTED_CHECKS = 6


def render_checks(
    ranked: Sequence[RankedCheck],
    choice: RepairChoice,
    width: int = 80,
    most: int = LISTED_CHECKS,
    case_folder: str = "FOLDER",
) -> str:
    """Render the checks that settle most per minute, and whether one more pays.

    Parameters
    ----------
    ranked : sequence of RankedCheck
        From `rank_checks`; the first `most` are shown.
    width : int
        Longest line, in characters; at least 40.

    Returns
    -------
    str
        Lines without trailing blanks, ending in a newline.
    """
    width = max(40, width)
    lines = ["ONE MORE CHECK?", *wrapped(choice.stop.sentence, width, INDENT, INDENT), ""]
    lines.append("HAND CHECKS, most settled per minute")
    for number, one in enumerate(ranked[:most], start=1):
        lines += ["", *_check_lines(number, one, width, case_folder)]
    left = len(ranked) - most
    if left > 0:
        lines += ["", f"{INDENT}{left} more settle less per minute."]
    if not ranked:
        lines.append(f"{INDENT}None left.")
    lines += ["", *wrapped(f"Caution: {RUNNING_ENGINE_CAUTION}", width, INDENT, INDENT)]
    return "\n".join(lines) + "\n"


def render_choice(choice: RepairChoice, width: int = 80) -> str:
    """Render the decision: work order, suspects, service by distance, words for the customer.

    Parameters
    ----------
    width : int
        Longest line, in characters; at least 40.
    case_folder : str
        Of the case the results are entered in.
    """
    width = max(40, width)
    blocks = [
        ("WORK ORDER", wrapped(work_order_line(choice), width, INDENT, INDENT)),
        ("OPEN NOW OR CHECK FIRST", list(_comparison(choice, width))),
        ("SUSPECTS", [line for one in choice.suspects for line in _suspect_lines(one, width)]),
        ("SERVICE BY DISTANCE", [line for s in choice.service for line in _due_lines(s, width)]),
        (
            "FOR THE CUSTOMER",
            wrapped(" ".join(customer_sentences(choice)), width, INDENT, INDENT),
        ),
    ]
    return "\n\n".join("\n".join((head, *lines)) for head, lines in blocks if lines) + "\n"


def _check_lines(number: int, one: RankedCheck, width: int, folder: str) -> Iterator[str]:
    check = one.check
    yield from wrapped(f"{check.title}: {one.part}", width, f"{INDENT}{number}. ", INDENT + "   ")
    inner = INDENT + "   "
    tools = "; ".join(filter(None, (*check.tools, check.special_tool))) or "no tools"
    yield from wrapped(
        f"{one.minutes:.0f} min, engine {check.engine}{', belt off' if check.belt_off else ''}; "
        f"{tools}; settles {share_text(one.doubt_share)} of the doubt",
        width,
        inner,
        inner,
    )
    for step in check.how:
        yield from wrapped(step, width, inner + "- ", inner + "  ")
    for result in one.results:
        said = f"{result.result}: {result.sentence}"
        yield from wrapped(said, width, inner + "> ", inner + "  ")
    for remark in one.remarks:
        yield from wrapped(remark, width, inner, inner)
    yield from wrapped(f"Caution: {check.caution}", width, inner, inner)
    entered = f'acoustic case check {folder} "{check.id}" --part "{one.part}" --result RESULT'
    yield from wrapped(f"To enter it: {entered}", width, inner, inner + INDENT)


def _comparison(choice: RepairChoice, width: int) -> Iterator[str]:
    now = choice.open_now
    order = ", ".join(
        f"{one.part} ({one.hours:.1f} h{'' if one.hours_known else ', access time not known'})"
        for one in now.openings
    )
    way = f"in this order: {order}" if order else "no opening pays yet"
    yield from wrapped(f"Open now: {_hours(choice, now)}, {way}.", width, INDENT, INDENT * 2)
    first = choice.check_first
    if first is not None:
        yield from wrapped(
            f"One check first ({first.ranked.check.title}, {first.ranked.part}): "
            f"{_hours(choice, first)}, its {first.ranked.minutes:.0f} min included.",
            width,
            INDENT,
            INDENT * 2,
        )
    unfound = choice.settings.opening.unfound_hours
    yield from wrapped(
        f"A fault left unfound counts {unfound:.0f} h in the comparison.", width, INDENT, INDENT
    )
    yield from wrapped(choice.stop.sentence, width, INDENT, INDENT)


def _hours(choice: RepairChoice, way: Search | CheckFirst) -> str:
    return (
        f"{way.working_hours:.2f} h of work expected{_amount(choice, way.working_hours)} "
        f"({way.expected_hours:.2f} h in the comparison)"
    )


def _amount(choice: RepairChoice, hours: float) -> str:
    amount = choice.money(hours)
    return "" if amount is None else f" = {amount:.0f} {choice.settings.currency}".rstrip()


def _due_lines(one: ServiceDue, width: int) -> list[str]:
    said = f"{one.part}: {one.sentence} ({one.source.rstrip('.')})."
    return wrapped(said, width, INDENT, INDENT * 2)


def _suspect_lines(one: SuspectWork, width: int) -> Iterator[str]:
    yield from wrapped(
        f"{one.part}: {one.mechanism} (faulty {probability_text(one.probability)}); "
        f"{access_words(one)}; {repair_words('who', one.who)}",
        width,
        INDENT,
        INDENT * 2,
    )
    told = (
        ("Repair", one.repair),
        ("Special tool", "; ".join(one.special_tools)),
        ("Change together", one.change_together),
        ("May have harmed", one.harms),
        ("Caution", one.caution),
    )
    for name, text in told:
        if text:
            yield from wrapped(f"{name}: {text}", width, INDENT * 2, INDENT * 3)
