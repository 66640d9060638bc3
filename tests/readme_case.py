"""The whole case that README.md goes through: its commands, and what it shows of each step.

A step is a block of commands and the block of text after it: what the commands say, with
lines of dots where something is left out.
"""

from __future__ import annotations

import difflib
import os
import re
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
HEADING = "## A whole case"
GAP = "…"

_STEP = re.compile(r"^```sh\n(.*?)^```$(?:\n+```text\n(.*?)^```$)?", re.MULTILINE | re.DOTALL)


@dataclass(frozen=True)
class Step:
    """Commands as they stand, and what is shown of what they say."""

    commands: str
    shown: str


def section(readme: str) -> str:
    """Give the part of README.md that goes through the case."""
    start = readme.index(HEADING)
    end = readme.find("\n## ", start + 1)
    return readme[start : None if end < 0 else end]


def steps(readme: str) -> list[Step]:
    """Give the steps in their order, but for the first block, which finds the programs."""
    found = [Step(*(part or "" for part in match)) for match in _STEP.findall(section(readme))]
    return [step for step in found if not step.commands.startswith(". ")]


def prepare(folder: Path) -> None:
    """Make a folder look like a copy of this one: samples, and the program on the path."""
    (folder / "samples").symlink_to(ROOT / "samples", target_is_directory=True)
    programs = folder / "programs"
    programs.mkdir()
    program = programs / "acoustic"
    call = "import sys; from acoustic.cli import main; sys.exit(main())"
    program.write_text(f'#!/bin/sh\nexec "{sys.executable}" -c "{call}" "$@"\n')
    program.chmod(0o755)


def run(commands: str, folder: Path) -> str:
    """Run commands in a prepared folder as a shell does; give what they say.

    Raises
    ------
    RuntimeError
        If one of them fails.
    """
    path = f"{folder / 'programs'}{os.pathsep}{os.environ['PATH']}"
    done = subprocess.run(
        ["bash", "-euc", commands], cwd=folder, capture_output=True, text=True, check=False,
        env={**os.environ, "PATH": path, "PYTHONPATH": str(ROOT)}, timeout=300,
    )  # fmt: skip
    if done.returncode:
        raise RuntimeError(f"{commands}: {done.returncode}\n{done.stdout}{done.stderr}")
    return done.stdout


def renewed(shown: str, said: str) -> str:
    """What is to be shown now: of each piece as many lines as before, from its first line on."""
    lines = said.splitlines()
    pieces = re.split(rf"^{GAP}\n", shown, flags=re.MULTILINE)
    return f"{GAP}\n".join(_renewed_piece(piece.splitlines(), lines) for piece in pieces)


def _renewed_piece(piece: list[str], lines: list[str]) -> str:
    if not piece:
        return ""
    start = difflib.get_close_matches(piece[0], lines, n=1, cutoff=0.5)
    if not start:
        raise RuntimeError(f"Nothing like it is said any more: {piece[0]}")
    first = lines.index(start[0])
    return "\n".join(lines[first : first + len(piece)]) + "\n"
