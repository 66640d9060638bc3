"""The first screen of a report: what it is, how sure, what next, what it may cost."""

from __future__ import annotations

from acoustic.casework.choice_words import customer_words
from acoustic.casework.history import CheckDone
from acoustic.output.page_pieces import Element, Piece, element, listed, paragraphs
from acoustic.output.report_matter import ReportMatter, events_of
from acoustic.output.text import shown_suspects
from acoustic.output.wording import RUNNING_ENGINE_CAUTION, SOURCE_IS_NOT_FAULT, probability_text
from acoustic.tables.words import repair_words

_TOLD_RECORDINGS = 3
_PROVE_IT = (
    "Record again as before, same place, speed and phone: the comparison shows whether the noise "
    "is gone. It takes a few minutes."
)


def customer_section(matter: ReportMatter) -> Element:
    """Everything the customer has to read, in plain words."""
    told: list[Piece] = [*_found(matter), *_proven(matter)]
    if matter.outcome is not None:
        told += _after_finding(matter)
    told += _asked(matter) if matter.choice is not None else _not_screened(matter)
    return element("section", *told, aria_label="For the customer", class_="customer")


def caution_section(matter: ReportMatter) -> Element:
    """What can hurt: always there, whoever reads."""
    cautions = [one.caution for one in shown_suspects(matter.screening)[:3] if one.caution]
    if matter.choice is not None:
        cautions += [one.caution for one in matter.choice.suspects if one.caution]
    cautions += [RUNNING_ENGINE_CAUTION, SOURCE_IS_NOT_FAULT]
    return element(
        "section",
        element("h2", "Caution"),
        *listed(list(dict.fromkeys(cautions))),
        class_="caution",
    )


def _found(matter: ReportMatter) -> list[Piece]:
    """What was found when it was opened; it stands before all that was thought."""
    outcome = matter.outcome
    if outcome is None:
        return []
    what = outcome.part or "none of the parts looked at was to blame"
    more = f": {outcome.text}" if outcome.text else ""
    said = f"{what[:1].upper()}{what[1:]}{more}"
    return [element("h2", "What was found"), element("p", said, class_="lead")]


def _proven(matter: ReportMatter) -> list[Piece]:
    if not matter.changes:
        return []
    return [
        element("h2", "After the repair"),
        element("p", matter.changes[0].change.headline, class_="lead"),
    ]


def _after_finding(matter: ReportMatter) -> list[Piece]:
    """What to do once it was opened: what the comparison asks for, or to make one."""
    if matter.changes:
        steps = list(matter.changes[0].change.next_steps)
    else:
        steps = [_PROVE_IT] if not matter.change_missing else [matter.change_missing]
    return [element("h2", "What next?"), *listed(steps, "ol")] if steps else []


def _asked(matter: ReportMatter) -> list[Piece]:
    choice = matter.choice
    if choice is None:
        return []
    words = customer_words(choice)
    if matter.outcome is not None:
        thought = [*words.source, repair_words("customer", "uncertain")]
        return [element("h2", "What was thought before"), *paragraphs(thought)]
    first, *rest = words.source
    return [
        element("h2", "What is it?"),
        element("p", first, class_="lead"),
        *paragraphs([*rest, _how_sure(matter)]),
        element("h2", "What next, and what may it cost?"),
        *paragraphs([*words.proposal, _named_check(matter), _rate_words(matter)]),
        *_record_again(matter),
        element("h2", "What else to know"),
        *paragraphs(words.besides),
    ]


def _how_sure(matter: ReportMatter) -> str:
    """The figure behind the words, and on how much it rests."""
    usable = sum(one.spectrum is not None for one in matter.screening.heard)
    rests = f"{usable} recording{'' if usable == 1 else 's'}"
    checks = len(events_of(matter.case.events, CheckDone))
    if checks:
        rests += f" and {checks} hand check{'' if checks == 1 else 's'}"
    if not matter.suspects:
        return f"It rests on {rests}."
    part = matter.suspects[0]
    return f"As a figure, for {part}: {probability_text(matter.faulty(part) or 0.0)}, by {rests}."


def _named_check(matter: ReportMatter) -> str:
    choice = matter.choice
    if choice is None or choice.stop.stop or choice.check_first is None:
        return ""
    ranked = choice.check_first.ranked
    return f"The check: {ranked.check.title} ({ranked.part})."


def _rate_words(matter: ReportMatter) -> str:
    file = matter.case.file
    if file.labour_rate_per_hour is None:
        return "No hourly rate is written down in the case, so no sum can be named."
    currency = f" {file.currency}" if file.currency else ""
    return f"Reckoned with {file.labour_rate_per_hour:g}{currency} an hour of labour."


def _record_again(matter: ReportMatter) -> list[Piece]:
    missing = matter.still_to_record[:_TOLD_RECORDINGS]
    settled = matter.choice is not None and matter.choice.stop.stop
    if settled or not missing:
        return []
    return [element("p", "More recordings would help:"), *listed(missing)]


def _not_screened(matter: ReportMatter) -> list[Piece]:
    first, *rest = (matter.screening.headline, *matter.screening.reasons)
    return [
        element("h2", "What is it?"),
        element("p", first, class_="lead"),
        *paragraphs(rest),
        element("h2", "What next?"),
        *listed(matter.screening.next_steps, "ol"),
        *_record_again(matter),
    ]
