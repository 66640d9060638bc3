"""Where things stand in a TOML text: from the keys that lead to a value to its place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

import tree_sitter_toml
from tree_sitter import Language, Node, Parser

from acoustic.drive.faults import KeyPath

_VALUES_SKIPPED = {"[", "]", "{", "}", ",", "=", "comment"}
_KEYS = {"bare_key", "quoted_key", "dotted_key"}


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


@dataclass(frozen=True, slots=True)
class TomlPlaces:
    """Places of everything in one text, in bytes of UTF-8.

    Attributes
    ----------
    lines : dict of path to int
        First line, from 1.
    pairs, values : dict of path to Node
        ``key = value`` whole, and the value alone; list entries have values only.
    starts, ends : dict of path to int
        Where the heading of a table begins, and where its last own value ends, for tables
        under a heading; ``()`` is what stands before the first heading, its end -1 if
        nothing does.
    lists : set of path
        Lists whose tables stand under headings of their own.
    """

    lines: dict[KeyPath, int] = field(default_factory=lambda: {(): 1})
    pairs: dict[KeyPath, Node] = field(default_factory=dict)
    values: dict[KeyPath, Node] = field(default_factory=dict)
    starts: dict[KeyPath, int] = field(default_factory=dict)
    ends: dict[KeyPath, int] = field(default_factory=lambda: {(): -1})
    lists: set[KeyPath] = field(default_factory=set)


def find_line_numbers(text: str) -> LineNumbers:
    """Walk the syntax tree of a TOML text that is known to be right."""
    return LineNumbers(find_places(text).lines)


def find_places(text: str) -> TomlPlaces:
    """Walk the syntax tree of a TOML text that is known to be right."""
    tree = Parser(Language(tree_sitter_toml.language())).parse(text.encode(errors="replace"))
    places = TomlPlaces()
    counts: dict[KeyPath, int] = {}
    for node in tree.root_node.children:
        if node.type == "pair":
            _note_pair(node, (), places)
            places.ends[()] = node.end_byte
        elif node.type in {"table", "table_array_element"}:
            _note_table(node, places, counts)
    return places


def _note_table(node: Node, places: TomlPlaces, counts: dict[KeyPath, int]) -> None:
    head = next(child for child in node.children if child.type in _KEYS)
    path = _indexed(_keys(head), counts)
    line = head.start_point[0] + 1
    if node.type == "table_array_element":
        index = counts.get(path, -1) + 1
        counts[path] = index
        places.lines.setdefault(path, line)
        places.lists.add(path)
        path = (*path, index)
    places.lines.setdefault(path, line)
    places.starts[path] = node.start_byte
    places.ends[path] = head.end_byte
    for child in node.children:
        if child.type == "pair":
            _note_pair(child, path, places)
            places.ends[path] = child.end_byte


def _indexed(keys: tuple[str, ...], counts: dict[KeyPath, int]) -> KeyPath:
    """Put in the number of the table a header stands under: [[shaft]] [shaft.driven_by]."""
    path: KeyPath = ()
    for position, key in enumerate(keys):
        path = (*path, key)
        if path in counts and position < len(keys) - 1:
            path = (*path, counts[path])
    return path


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


def _note_pair(node: Node, path: KeyPath, places: TomlPlaces) -> None:
    head = next(child for child in node.children if child.type in _KEYS)
    value = next(child for child in reversed(node.children) if child.type != "comment")
    own = (*path, *_keys(head))
    places.lines.setdefault(own, head.start_point[0] + 1)
    places.pairs[own] = node
    _note_value(value, own, places)


def _note_value(node: Node, path: KeyPath, places: TomlPlaces) -> None:
    places.lines.setdefault(path, node.start_point[0] + 1)
    places.values[path] = node
    if node.type == "inline_table":
        for child in node.children:
            if child.type == "pair":
                _note_pair(child, path, places)
    elif node.type == "array":
        entries = (child for child in node.children if child.type not in _VALUES_SKIPPED)
        for index, child in enumerate(entries):
            _note_value(child, (*path, index), places)
