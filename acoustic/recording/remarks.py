"""Remarks on a recording, worded from the table of sentences."""

from __future__ import annotations

from typing import Literal

from acoustic.recording.recording import QualityRemark
from acoustic.tables.words import quality_words

Severity = Literal["note", "weak", "unfit"]


def make_remark(
    code: str,
    severity: Severity,
    amount: float | None = None,
    **figures: float | str,
) -> QualityRemark:
    """Word one remark.

    Parameters
    ----------
    code : str
        Entry of ``tables/words.toml``.
    severity : str
        ``"note"``, ``"weak"`` or ``"unfit"``.
    amount : float, optional
        The measured statistic, kept as a number.
    **figures
        Filled into the sentences by name.
    """
    words = quality_words(code)
    return QualityRemark(
        code=code,
        severity=severity,
        message=words.message.format(**figures),
        advice=words.advice.format(**figures),
        amount=amount,
    )
