"""Order formulas: arithmetic and nothing else."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from acoustic.tables.formula import parse_formula


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("2 * phases * pole_pairs", 36.0),
        ("vanes * (1 + vanes % 2)", 18.0),
        ("-pole_pairs + 7", 1.0),
        ("max(vanes, 2, pole_pairs)", 9.0),
        ("abs(phases - vanes)", 6.0),
        ("pole_pairs / 4", 1.5),
        (12, 12.0),
    ],
)
def test_values(text, value) -> None:
    """Arithmetic over names gives what a person would work out."""
    formula = parse_formula(text)
    assert formula.value({"phases": 3, "pole_pairs": 6, "vanes": 9}) == value


def test_names() -> None:
    """A formula knows which quantities it needs; functions are none."""
    assert parse_formula("max(a, b) * a - 2").names == {"a", "b"}


@pytest.mark.parametrize(
    "text",
    [
        "__import__('os').system('true')",
        "vanes.__class__",
        "[1, 2][0]",
        "(lambda: 1)()",
        "vanes ** 9 ** 9",
        "vanes if vanes else 2",
        "open(vanes)",
        "max(vanes)",
        "abs(1, 2)",
        "max(vanes, key=abs)",
        "'text'",
        "True",
        "1j",
        "2 *",
        "",
        "x" * 201,
        "(" * 190,
    ],
)
def test_whatever_is_not_arithmetic_is_refused(text) -> None:
    """Code, attributes, powers, strings and broken text never become a formula."""
    with pytest.raises(ValueError, match=r"\w"):
        parse_formula(text)


def test_division_by_zero_says_with_which_values() -> None:
    """A formula without a value names the formula and the figures."""
    with pytest.raises(ValueError, match=r"'1 / teeth' has no value for teeth = 0"):
        parse_formula("1 / teeth").value({"teeth": 0})


@given(st.text(max_size=30))
def test_any_text_is_a_formula_or_a_value_error(text) -> None:
    """No text makes the reader fail in another way."""
    try:
        formula = parse_formula(text)
    except ValueError:
        return
    assert formula.names is not None
