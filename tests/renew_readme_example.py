"""Put what the demo says today into README.md, after a change of wording or figures.

    python tests/renew_readme_example.py

The standing caution and the detailed tables are left out: lines of dots mark the gaps.
"""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

from acoustic.cli import main
from acoustic.output.wording import SOURCE_IS_NOT_FAULT

README = Path(__file__).resolve().parents[1] / "README.md"


def example_of(answer: str) -> str:
    """Shorten the demo's answer to what README.md shows of it."""
    lines = answer.splitlines()
    caution = next(n for n, line in enumerate(lines) if "At the running engine" in line)
    table = next(n for n, line in enumerate(lines) if line.split()[:2] == ["part", "mechanism"])
    first_words = " ".join(SOURCE_IS_NOT_FAULT.split()[:4])
    closing = next(n for n, line in enumerate(lines) if line.strip().startswith(first_words))
    end = next(n for n in range(closing, len(lines)) if not lines[n].strip())
    shown = [*lines[:caution], "…", *lines[table : table + 2], "…", *lines[closing:end]]
    return "\n".join(shown) + "\n"


def renew() -> None:
    """Run the demo and replace the example."""
    with tempfile.TemporaryDirectory() as folder:
        case = Path(folder) / "case"
        if main(["demo", str(case)]):
            raise SystemExit("The demo failed.")
        example = example_of((case / "answer.txt").read_text("utf-8"))
    text = README.read_text("utf-8")
    text, count = re.subn(
        r"^```text\nANSWER\n.*?^```$",
        lambda _: f"```text\n{example}```",
        text,
        flags=re.MULTILINE | re.DOTALL,
    )
    if count != 1:
        raise SystemExit("README.md has no example, or more than one.")
    README.write_text(text, "utf-8")


if __name__ == "__main__":
    renew()
