"""The decision in words: sentences for the customer, one line for the work order."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from acoustic.casework.repair_choice import RepairChoice, SuspectWork
from acoustic.tables.words import read_repair_words, repair_words
from acoustic.verdict.wording import POSSIBLE, UNSURE, probability_number

_TOLD_OTHERS = 3
_TOLD_NONE_FROM = 0.1


@dataclass(frozen=True, slots=True)
class CustomerWords:
    """The decision for the customer: where the noise comes from, what to do, what else."""

    source: tuple[str, ...]
    proposal: tuple[str, ...]
    besides: tuple[str, ...]


def customer_words(choice: RepairChoice) -> CustomerWords:
    """Say the decision to the customer: plain words, what is not certain, hours and money."""
    return CustomerWords(
        tuple(_where_from(choice)),
        tuple(_what_we_propose(choice)),
        (*_what_else(choice), repair_words("customer", "uncertain")),
    )


def customer_sentences(choice: RepairChoice) -> tuple[str, ...]:
    """Sentences of `customer_words`, one after the other."""
    words = customer_words(choice)
    return (*words.source, *words.proposal, *words.besides)


def work_order_line(choice: RepairChoice) -> str:
    """Say in one line what the workshop is to do."""
    said = []
    if not choice.stop.stop and choice.check_first is not None:
        ranked = choice.check_first.ranked
        said.append(_order("check_first", title=ranked.check.title, part=ranked.part,
                           minutes=ranked.minutes))  # fmt: skip
    work = choice.opened_first
    if work is None:
        said.append(_order("nothing"))
    else:
        said += _opening_words(choice, work)
    due = [one.part for one in choice.service if one.is_due]
    if due:
        said.append(_order("service", parts=", ".join(due)))
    return " ".join(said)


def tenths_words(probability: float) -> str:
    """How many of ten, in words.

    >>> tenths_words(0.02), tenths_words(0.72), tenths_words(0.98)
    ('fewer than one', 'about seven', 'nearly all')
    """
    words: list[str] = read_repair_words()["customer"]["tenths"]
    return words[round(10 * probability)]


def access_words(work: SuspectWork) -> str:
    """Hours to get at a part, and where they are only reckoned with."""
    code = "access" if work.access_known else "access_unknown"
    return _order(code, hours=work.access_hours)


def _order(code: str, **figures: object) -> str:
    return repair_words("order", code, **figures)


def _said(code: str, **figures: object) -> str:
    return repair_words("customer", code, **figures)


def _opening_words(choice: RepairChoice, work: SuspectWork) -> Iterator[str]:
    yield _order(
        "open",
        part=work.part,
        mechanism=work.mechanism,
        probability=probability_number(work.probability),
        access=access_words(work),
        who=repair_words("who", work.who),
    )
    following = choice.open_now.openings[1:]
    if following:
        parts = ", then ".join(
            f"{one.part} (then {probability_number(one.probability)})" for one in following
        )
        yield _order("next", parts=parts)
    if work.special_tools:
        yield _order("tool", tools="; ".join(work.special_tools))
    if work.change_together:
        yield _order("together", together=work.change_together)


def _where_from(choice: RepairChoice) -> Iterator[str]:
    top = choice.suspects[0] if choice.suspects else None
    clear = top is not None and top.probability >= UNSURE
    if top is not None and clear:
        code = "likely" if top.probability >= POSSIBLE else "possible"
        yield _said(code, title=_named(choice, top), tenths=tenths_words(top.probability))
    else:
        yield _said("unclear")
    others = [_named(choice, one) for one in choice.suspects[1 if clear else 0 :]][:_TOLD_OTHERS]
    if others:
        code = "others" if clear else "in_question"
        yield _said(code, titles=", ".join(dict.fromkeys(others)))
    if choice.none_of_them >= _TOLD_NONE_FROM:
        yield _said("none", tenths=tenths_words(choice.none_of_them))


def _named(choice: RepairChoice, work: SuspectWork) -> str:
    """What a part is; with its own name where another suspect is the same kind of thing."""
    same = sum(one.title == work.title for one in choice.suspects)
    return work.title if same <= 1 else f"{work.title} ({work.part})"


def _what_we_propose(choice: RepairChoice) -> Iterator[str]:
    work = choice.opened_first
    if not choice.stop.stop and choice.check_first is not None:
        yield _said("check_first", minutes=choice.check_first.ranked.minutes)
    elif work is None:
        yield _said("open_nothing")
        return
    else:
        hours = work.access_hours
        code = "open_now" if work.access_known else "open_now_unknown"
        yield _said(
            code, title=_named(choice, work), hours=hours, money=_money_words(choice, hours)
        )
        if choice.suspects and choice.suspects[0].part != work.part:
            yield _said("quick_first")
    hours = choice.working_hours
    yield _said("expected", hours=hours, money=_money_words(choice, hours))


def _what_else(choice: RepairChoice) -> Iterator[str]:
    work = choice.suspects[0] if choice.suspects else None
    if work is not None and work.probability >= UNSURE:
        if work.who == "specialist":
            yield _said("specialist")
        if work.change_together:
            yield _said("together", text=work.change_together)
        if work.harms:
            yield _said("harms", text=work.harms)
    due = [one.part for one in choice.service if one.is_due]
    if due:
        yield _said("service", titles=", ".join(due))


def _money_words(choice: RepairChoice, hours: float) -> str:
    amount = choice.money(hours)
    if amount is None:
        return ""
    currency = f" {choice.settings.currency}" if choice.settings.currency else ""
    return _said("money", amount=amount, currency=currency)
