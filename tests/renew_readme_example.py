"""Put what demo and whole case say today into README.md, after a change of words or figures.

    python tests/renew_readme_example.py

The standing caution and the detailed tables are left out: lines of dots mark the gaps.
"""

from __future__ import annotations

import re
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent))

import readme_case

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
    README.write_text(with_case(text), "utf-8")


def with_case(text: str) -> str:
    """Run the commands of the whole case and replace what is shown of them."""
    with tempfile.TemporaryDirectory() as folder:
        readme_case.prepare(Path(folder))
        for step in readme_case.steps(text):
            said = readme_case.run(step.commands, Path(folder))
            if step.shown:
                text = text.replace(step.shown, readme_case.renewed(step.shown, said), 1)
    return text


if __name__ == "__main__":
    renew()
