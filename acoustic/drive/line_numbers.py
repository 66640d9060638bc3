"""Line numbers of a TOML text: from the keys that lead to a value to where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from acoustic.drive.faults import KeyPath

_VALUES_SKIPPED = {"[", "]", "{", "}", ",", "=", "comment"}


@dataclass(frozen=True, slots=True)
class LineNumbers:
    """First line of every key, table and list entry of one text."""

    by_path: dict[KeyPath, int]

    def line_of(self, path: KeyPath) -> int | None:
        """Line of a value, or of the nearest thing around it that is written down."""
        while path:
            if path in self.by_path:
                return self.by_path[path]
            path = path[:-1]
        return self.by_path.get(())


def find_line_numbers(text: str) -> LineNumbers:
    """Walk the syntax tree of a TOML text that is known to be right."""
    tree = Parser(Language(tree_sitter_toml.language())).parse(text.encode(errors="replace"))
    lines: dict[KeyPath, int] = {(): 1}
    counts: dict[KeyPath, int] = {}
    for node in tree.root_node.children:
        if node.type == "pair":
            _note_pair(node, (), lines)
        elif node.type in {"table", "table_array_element"}:
            _note_table(node, lines, counts)
    return LineNumbers(lines)


def _note_table(node: Node, lines: dict[KeyPath, int], counts: dict[KeyPath, int]) -> None:
    head = next(child for child in node.children if child.type in _KEYS)
    path = _indexed(_keys(head), counts)
    if node.type == "table_array_element":
        index = counts.get(path, -1) + 1
        counts[path] = index
        lines.setdefault(path, head.start_point[0] + 1)
        path = (*path, index)
    lines.setdefault(path, head.start_point[0] + 1)
    for child in node.children:
        if child.type == "pair":
            _note_pair(child, path, lines)


def _indexed(keys: tuple[str, ...], counts: dict[KeyPath, int]) -> KeyPath:
    """Put in the number of the table a header stands under: [[shaft]] [shaft.driven_by]."""
    path: KeyPath = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if path in counts and position < len(keys) - 1:
            path = (*path, counts[path])
    return path


_KEYS = {"bare_key", "quoted_key", "dotted_key"}


def _keys(node: Node) -> tuple[str, ...]:
    return tuple(_flat_keys(node))


def _flat_keys(node: Node) -> Iterator[str]:
    if node.type == "dotted_key":
        for child in node.children:
            if child.type in _KEYS:
                yield from _flat_keys(child)
        return
    text = (node.text or b"").decode()
    yield text[1:-1] if node.type == "quoted_key" else text


def _note_pair(node: Node, path: KeyPath, lines: dict[KeyPath, int]) -> None:
    head = next(child for child in node.children if child.type in _KEYS)
    own = (*path, *_keys(head))
    lines.setdefault(own, head.start_point[0] + 1)
    _note_value(node.children[-1], own, lines)


def _note_value(node: Node, path: KeyPath, lines: dict[KeyPath, int]) -> None:
    lines.setdefault(path, node.start_point[0] + 1)
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                _note_pair(child, path, lines)
    elif node.type == "array":
        entries = (child for child in node.children if child.type not in _VALUES_SKIPPED)
        for index, child in enumerate(entries):
            _note_value(child, (*path, index), lines)
