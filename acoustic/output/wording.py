"""How figures are said: one way for each quantity, used by every output.

A probability is always shown as a number and a word, never as a word alone, and never as
a certainty: the sound of one clip does not carry one.
"""

from __future__ import annotations

import re
import textwrap

from acoustic.recording.speed_trace import SpeedTrace
from acoustic.verdict.suspects import CountedWords
from acoustic.verdict.wording import probability_number, probability_word

SOURCE_WORDS = {
    "heard": "heard from the sound",
    "given": "as given",
    "log": "from the speed log",
}

STATE_WORDS = {
    "heard": "heard",
    "missing": "missing",
    "hidden": "hidden",
}

VERDICT_WORDS = {
    "suspects": "likely or possible sources",
    "nothing_found": "nothing found",
    "cannot_tell": "cannot tell",
    "recording_unfit": "recording unfit",
}

# Common practice, no source: the usual care at a running engine, said with every answer
# because every hand check is done at one.
RUNNING_ENGINE_CAUTION = (
    "At the running engine: keep hands, hair, sleeves, cords and the phone clear of belts, "
    "pulleys and fans (an electric fan may start by itself, also with the engine off). "
    "Parking brake on, out of gear, wheels chocked. Exhaust gas kills: work outdoors or with "
    "extraction. Hot parts burn. Never touch or spray a moving belt; never work under a "
    "vehicle held by a jack alone. The maker's manual, local rules and the licence a job "
    "needs come before anything said here."
)

SOURCE_IS_NOT_FAULT = (
    "A source of sound is not yet a fault: a healthy pump or alternator sings too. "
    "Confirm by hand before a part is replaced."
)

LISTENING_CAUTION = (
    "Turn the volume down first, then up slowly: loud follows quiet here, and what is moved up "
    "or made is loud. Stop when your ears ring. Headphones play low sounds that a small speaker "
    "does not, but never wear them beside a running engine: you would not hear a warning."
)  # common practice, no source


def probability_text(probability: float) -> str:
    """Put number and word together, such as ``0.91 likely``."""
    return f"{probability_number(probability)} {probability_word(probability)}"


def share_text(share: float) -> str:
    """Write a share in percent, never as nothing while there is some.

    >>> share_text(0.183), share_text(0.002), share_text(0.0)
    ('18 %', 'less than 1 %', '0 %')
    """
    return "less than 1 %" if 0.0 < share < 0.01 else f"{100.0 * share:.0f} %"


def order_text(order: float) -> str:
    """Write an order with as many decimals as a clip can settle.

    >>> order_text(2.914), order_text(29.04), order_text(103.25)
    ('2.914', '29.04', '103.2')
    """
    decimals = 3 if order < 10 else 2 if order < 100 else 1
    return f"{order:.{decimals}f}"


def frequency_text(frequency_hz: float) -> str:
    """Write a frequency without unit, in four figures at most. [Hz]

    >>> frequency_text(8.333), frequency_text(87.02), frequency_text(2443.1)
    ('8.3', '87.0', '2443')
    """
    return f"{frequency_hz:.1f}" if frequency_hz < 1000 else f"{frequency_hz:.0f}"


def speed_text(speed: SpeedTrace) -> str:
    """Write engine speed with its range and where it comes from."""
    return (
        f"{speed.mean_rpm:.0f} rpm ({speed.low_rpm:.0f} to {speed.high_rpm:.0f}), "
        f"{SOURCE_WORDS[speed.source]}"
    )


def said_text(words: CountedWords) -> str:
    """What the user said of the sound, and how much it weighs at most."""
    said = [", ".join(words.sounds)] if words.sounds else []
    said += [f"comes when: {', '.join(words.when)}"] if words.when else []
    told = f"You said: {'; '.join(said) or 'nothing'}."
    if not words.counted:
        return f"{told} Not counted: no recording could be screened."
    return (
        f"{told} Counted as evidence: against a sound drive a mechanism becomes at most "
        f"{words.highest:.1f} times as likely by it, others down to {words.lowest:.2f} times. "
        "Words alone accuse no part."
    )


def shortened(name: str, width: int) -> str:
    """`name` cut to `width` characters, the cut shown by an ellipsis."""
    return name if len(name) <= width else name[: max(1, width - 1)].rstrip() + "…"


_STEERING = re.compile("[\x00-\x08\x0e-\x1f\x7f-\x9f\u202a-\u202e\u2066-\u2069]")


def wrapped(text: str, width: int, first: str, rest: str) -> list[str]:
    """Wrap text, with an indent for the first line and one for the rest.

    A figure is never parted from its unit, a path to be typed never cut in two. No sign that
    steers a terminal or turns the text around comes through: cases and their words may come
    from strangers.

    >>> wrapped("give the speed to 5 %", 20, "- ", "  ")
    ['- give the speed to', '  5 %']
    """
    harmless = _STEERING.sub("\ufffd", text)
    tied = re.sub(r"(?<=\d) (?=(?:%|Hz|kHz|dB|rpm|s|ms|mm|m/s)(?!\w))", "\u00a0", harmless)
    lines = textwrap.wrap(
        tied,
        width,
        initial_indent=first,
        subsequent_indent=rest,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return [line.replace("\u00a0", " ") for line in lines]
