"""Reading the published figures kept beside the tests."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest


@pytest.fixture
def published() -> Callable[[str], list[dict[str, str]]]:
    """Rows of a CSV beside the tests, its source lines (#) left out."""

    def read(name: str) -> list[dict[str, str]]:
        text = (Path(__file__).parent / name).read_text(encoding="utf-8")
        return list(csv.DictReader(line for line in text.splitlines() if line[:1] != "#"))

    return read
