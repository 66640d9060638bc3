"""Order formulas of the tables: arithmetic over named quantities, nothing else.

A formula is read into a syntax tree and walked by us, so that a table can never run
code: numbers, names, ``+ - * / %``, brackets and ``abs min max`` are all there is.
"""

from __future__ import annotations

import ast
import math
import operator
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field

_OPERATIONS: dict[type[ast.operator], Callable[[float, float], float]] = {
    ast.Add: operator.add,
    ast.Sub: operator.sub,
    ast.Mult: operator.mul,
    ast.Div: operator.truediv,
    ast.Mod: operator.mod,
}
_SIGNS: dict[type[ast.unaryop], Callable[[float], float]] = {
    ast.UAdd: operator.pos,
    ast.USub: operator.neg,
}
_FUNCTIONS: dict[str, Callable[..., float]] = {"abs": abs, "min": min, "max": max}
_LONGEST = 200


@dataclass(frozen=True, slots=True)
class Formula:
    """A checked formula; `names` are the quantities it needs."""

    text: str
    names: frozenset[str]
    tree: ast.expr = field(repr=False, compare=False)

    def value(self, quantities: Mapping[str, float]) -> float:
        """Work the formula out.

        Parameters
        ----------
        quantities : mapping of str to float
            Must hold every one of `names`.

        Raises
        ------
        ValueError
            If the result is not a finite number (a division by zero, say).
        """
        try:
            result = _evaluate(self.tree, quantities)
        except ZeroDivisionError:
            result = math.nan
        if not math.isfinite(result):
            values = ", ".join(f"{name} = {quantities[name]:g}" for name in sorted(self.names))
            raise ValueError(f"the formula {self.text!r} has no value for {values}")
        return result


def parse_formula(text: object) -> Formula:
    """Read a formula such as ``"2 * phases * pole_pairs"``.

    A bare number is taken as a constant formula.

    Raises
    ------
    ValueError
        If `text` is not plain arithmetic; the message says which piece is not.

    Examples
    --------
    >>> parse_formula("vanes * (1 + vanes % 2)").value({"vanes": 9})
    18.0
    """
    text = str(text).strip()
    if not text or len(text) > _LONGEST:
        raise ValueError(f"a formula has 1 to {_LONGEST} characters, this one {len(text)}")
    try:
        tree = ast.parse(text, mode="eval").body
    except (SyntaxError, ValueError, RecursionError, MemoryError):
        raise ValueError(f"{text!r} is not arithmetic; write for example '2 * vanes'") from None
    return Formula(text=text, names=frozenset(_check(tree, text)), tree=tree)


def _check(node: ast.expr, text: str) -> Iterator[str]:
    """Yield the names in `node`, refusing whatever is not arithmetic."""
    match node:
        case ast.Constant(value=bool()):
            raise ValueError(f"{text!r} holds a truth value; only numbers and names are allowed")
        case ast.Constant(value=int() | float()):
            return
        case ast.Name(id=name):
            yield name
        case ast.BinOp(left=left, op=op, right=right) if type(op) in _OPERATIONS:
            yield from _check(left, text)
            yield from _check(right, text)
        case ast.UnaryOp(op=sign, operand=operand) if type(sign) in _SIGNS:
            yield from _check(operand, text)
        case ast.Call(func=ast.Name(id=name), args=args, keywords=[]) if name in _FUNCTIONS:
            if not args or (name == "abs" and len(args) != 1) or (name != "abs" and len(args) < 2):
                raise ValueError(f"{name}() in {text!r} has the wrong number of values")
            for arg in args:
                yield from _check(arg, text)
        case _:
            raise ValueError(
                f"{ast.unparse(node)!r} in {text!r} is not allowed; use numbers, names, "
                "+ - * / %, brackets, abs, min and max"
            )


def _evaluate(node: ast.expr, quantities: Mapping[str, float]) -> float:
    match node:
        case ast.Constant(value=int() | float() as number):
            return float(number)
        case ast.Name(id=name):
            return float(quantities[name])
        case ast.BinOp(left=left, op=op, right=right):
            return _OPERATIONS[type(op)](_evaluate(left, quantities), _evaluate(right, quantities))
        case ast.UnaryOp(op=sign, operand=operand):
            return _SIGNS[type(sign)](_evaluate(operand, quantities))
        case ast.Call(func=ast.Name(id=name), args=args):
            return float(_FUNCTIONS[name](*(_evaluate(arg, quantities) for arg in args)))
        case _:
            raise ValueError(f"not arithmetic: {ast.dump(node)}")
