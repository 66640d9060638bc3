"""Parts that cannot be told apart, and why."""

from dataclasses import replace

import numpy as np
import pytest

from acoustic.verdict.groups import leading_group, unseen_parts
from acoustic.verdict.joint_match import match_drive

PUMP = (11.23, 17.62, 26.43)


@pytest.fixture(scope="module")
def answer_to(heard_of, drive_with, settings):
    """Match families to lines at a slip of 1.2 %; gives drive and answer."""

    def answer(families, lines):
        drive = drive_with(**dict.fromkeys((f.part for f in families), 0.003))
        shifted = {order * np.exp(-0.012): db for order, db in lines.items()}
        return drive, match_drive(drive, families, [heard_of(shifted)], settings)

    return answer


def _names(group, answer):
    return {answer.parts[k] for k in group.parts}


def test_a_clear_leader_stands_alone(family, answer_to) -> None:
    """One member and no reason."""
    families = [family("pump", PUMP), family("fan", (8.81, 20.56))]
    drive, answer = answer_to(families, dict(zip(PUMP, (-6, -9, -12), strict=True)))
    group = leading_group(drive, families, answer)
    assert _names(group, answer) == {"pump"}
    assert group.reason == ""


def test_a_second_fault_is_no_alternative(family, answer_to) -> None:
    """A sure leader beside a part likely faulty as well: they are not taken for each other."""
    families = [family("pump", PUMP), family("fan", (8.81, 20.56))]
    drive, answer = answer_to(families, dict(zip(PUMP, (-6, -9, -12), strict=True)))
    both = replace(answer, result=replace(answer.result, faulty=np.array([0.98, 0.5])))
    assert _names(leading_group(drive, families, both), answer) == {"pump"}
    either = replace(answer, result=replace(answer.result, faulty=np.array([0.52, 0.46])))
    assert _names(leading_group(drive, families, either), answer) == {"pump", "fan"}


def test_parts_with_the_same_lines_are_one_group(family, answer_to) -> None:
    """Both named, best first, with the reason that their orders agree."""
    families = [family("pump", PUMP), family("clutch", PUMP), family("fan", (8.81, 20.56))]
    drive, answer = answer_to(families, dict(zip(PUMP, (-6, -9, -12), strict=True)))
    group = leading_group(drive, families, answer)
    assert _names(group, answer) == {"pump", "clutch"}
    assert "orders agree" in group.reason


def test_one_tone_that_fits_two_parts_is_the_reason(family, answer_to) -> None:
    """Pump at 11.23 and wheel at 11.25, each with further lines of its own that are hidden."""
    families = [
        family("pump", (11.23, 2.61, 3.11)),
        family("wheel", (11.25, 1.37, 3.67)),
        family("fan", (8.81, 20.56)),
    ]
    drive, answer = answer_to(families, {11.23: -4.0})
    group = leading_group(drive, families, answer)
    assert _names(group, answer) == {"pump", "wheel"}
    assert "same tone" in group.reason


def test_members_are_named_best_first(family, answer_to) -> None:
    """By falling probability."""
    families = [family("pump", PUMP), family("clutch", PUMP), family("fan", (8.81, 20.56))]
    drive, answer = answer_to(families, {PUMP[0]: -6.0})
    group = leading_group(drive, families, answer)
    chances = [float(answer.result.faulty[k]) for k in group.parts]
    assert chances == sorted(chances, reverse=True)


def test_unseen_parts_are_those_without_a_visible_line(family, answer_to) -> None:
    """An idler at 29 Hz and its double, both under 60 Hz; the pump is seen."""
    families = [family("pump", PUMP), family("idler", (2.13, 4.27))]
    _, answer = answer_to(families, {})
    assert unseen_parts(answer) == ("idler",)
