"""The house rules, read off the source: which way imports run, what is pure, how long things are.

Each rule is a function that returns the breaches it finds in a piece of source, and is
shown here to find one planted in a made-up module.
"""

import ast
import re
import subprocess
import sys
from dataclasses import dataclass
from functools import cache
from pathlib import Path

import pytest

import acoustic.errors

ROOT = Path(__file__).resolve().parents[1]
PACKAGE = ROOT / "acoustic"
WAY = (
    "errors", "tables", "drive", "recording", "evidence", "verdict", "listening",
    "screening", "casework", "synthetic", "output", "web", "cli",
)  # fmt: skip
SYNTHETIC_MAY = {"errors", "tables", "drive", "recording"}
PURE = {"drive", "evidence", "verdict", "listening", "screening"}
IMPURE_MODULES = {
    "pathlib", "os", "io", "sys", "time", "datetime", "random", "secrets", "tempfile", "shutil",
    "subprocess", "socket", "urllib", "http", "logging", "glob", "sqlite3", "matplotlib",
}  # fmt: skip
MAY_TOUCH_DISK = {
    "tables/words", "tables/knowledge", "tables/plan_words", "drive/layout_file",
    "recording/audio_file", "recording/speed_log", "synthetic/clip_file", "output/whole_file",
    "cli/demo_command",
    "casework/lasting_files", "casework/case_writes", "casework/case_answer",
    "casework/pack_archive", "web/waiting",
}  # fmt: skip
TOUCHING = {"open", "fdopen", "mkstemp", "read_text", "read_bytes", "write_text", "write_bytes"}
BANNED_NAMES = {"utils", "helpers", "common", "misc", "base", "types"} | set(
    sys.stdlib_module_names
)
LONGEST_MODULE, LONGEST_BODY, MOST_ARGUMENTS = 400, 50, 7  # six and one settings object


@dataclass(frozen=True)
class Module:
    """One source file: where it stands and what it says."""

    folder: str
    name: str
    text: str

    @property
    def place(self):
        """Folder and name, as in ``drive/belts``."""
        return f"{self.folder}/{self.name}" if self.folder else self.name

    @property
    def tree(self):
        """Syntax tree."""
        return ast.parse(self.text)


@cache
def modules():
    """Give every module of the package."""
    found = []
    for path in sorted(PACKAGE.rglob("*.py")):
        *folders, _ = path.relative_to(PACKAGE).parts
        found.append(Module("/".join(folders), path.stem, path.read_text("utf-8")))
    assert len(found) > 80
    return tuple(found)


def reading_order(docstring):
    """List the names of a folder's ``Reading order: a, b, c.`` sentence."""
    sentence = re.search(r"Reading order: ([^.]+)\.", docstring or "")
    return [name.strip() for name in sentence.group(1).split(",")] if sentence else []


@cache
def orders():
    """Reading order of each folder."""
    return {
        m.folder: reading_order(ast.get_docstring(m.tree))
        for m in modules()
        if m.name == "__init__" and m.folder
    }


def imported(tree):
    """Every imported module by its dotted name, wherever in the file it is imported."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "relative import"
            if node.module == "acoustic":
                yield from (f"acoustic.{alias.name}" for alias in node.names)
            else:
                yield node.module


def place_in(order, module):
    """Where a module stands in its folder's order; the folder's own face stands last."""
    return len(order) if module.name == "__init__" else order.index(module.name)


def wrong_imports(module, order):
    """List imports against the way of the house or against the folder's reading order."""
    breaches = []
    home = module.folder or module.name
    for dotted in imported(module.tree):
        top, *rest = dotted.split(".")
        if top != "acoustic" or dotted == "acoustic.__version__":
            continue
        if not rest:
            breaches.append(f"{module.place}: imports the whole package")
        elif rest[0] != home:
            late = WAY.index(rest[0]) > WAY.index(home)
            if late or (home == "synthetic" and rest[0] not in SYNTHETIC_MAY):
                breaches.append(f"{module.place}: {dotted} stands further down the house")
        elif len(rest) > 1 and order.index(rest[1]) >= place_in(order, module):
            breaches.append(f"{module.place}: {dotted} comes later in the reading order")
    return breaches


def test_imports_run_one_way():
    """Folders from above only; inside a folder, earlier modules only."""
    breaches = [
        breach
        for module in modules()
        if module.place != "__init__"
        for breach in wrong_imports(module, orders().get(module.folder, []))
    ]
    assert breaches == []


def test_every_module_is_in_its_reading_order():
    """No module is left out, none is named that is not there, none twice."""
    for folder, order in orders().items():
        there = sorted(m.name for m in modules() if m.folder == folder and m.name != "__init__")
        assert sorted(order) == there, folder
    assert set(orders()) | {"errors", "listening", "screening"} == set(WAY)


def test_a_wrong_import_would_be_seen():
    """Upwards, sideways from synthetic, later in the folder, and hidden inside a function."""
    order = ["shafts", "belts"]
    upward = Module("drive", "belts", "def f():\n    from acoustic.verdict.sources import x\n")
    later = Module("drive", "shafts", "from acoustic.drive.belts import x\n")
    fine = Module("drive", "belts", "from acoustic.drive.shafts import x\nimport numpy\n")
    sideways = Module("synthetic", "belts", "from acoustic.evidence.tones import find_tones\n")
    assert wrong_imports(upward, order) != []
    assert wrong_imports(later, order) != []
    assert wrong_imports(sideways, order) != []
    assert wrong_imports(fine, order) == []


def impurities(module):
    """List what a pure module may not do: files, print, clock, chance, network, pictures."""
    breaches = []
    for dotted in imported(module.tree):
        top = dotted.split(".")[0]
        allowed = top == "pathlib" and module.place in MAY_TOUCH_DISK
        if top in IMPURE_MODULES and not allowed:
            breaches.append(f"{module.place}: imports {dotted}")
    for node in ast.walk(module.tree):
        if isinstance(node, ast.Name) and node.id in {"open", "print", "input"}:
            breaches.append(f"{module.place}:{node.lineno}: uses {node.id}")
        if isinstance(node, ast.Attribute) and ast.unparse(node) == "np.random":
            breaches.append(f"{module.place}:{node.lineno}: draws at random")
    return breaches


def test_the_core_is_pure():
    """Values in, values out, in drive, evidence, verdict and screening."""
    pure = [m for m in modules() if (m.folder or m.name) in PURE]
    assert [breach for module in pure for breach in impurities(module)] == []


def test_an_impurity_would_be_seen():
    """A print, a clock and a chance draw."""
    for text in ("print(1)", "import time", "x = np.random.default_rng(0)", "open('a')"):
        assert impurities(Module("verdict", "sources", text)) != [], text


def disk_uses(module):
    """List the functions that open, read or write a file: (function, line) of each use."""
    uses = []

    def visit(node, function):
        if isinstance(node, ast.FunctionDef):
            function = node.name
        if isinstance(node, ast.Call):
            called = node.func
            name = getattr(called, "attr", getattr(called, "id", ""))
            on_memory = ast.unparse(called) == "av.open"  # given open files only, never names
            if name in TOUCHING and not on_memory:
                uses.append((function, node.lineno))
        for child in ast.iter_child_nodes(node):
            visit(child, function)

    visit(module.tree, "")
    return uses


def test_disk_is_touched_by_reading_and_writing_functions_only():
    """Only in the modules that say so, and there only in functions named read_ or write_."""
    for module in modules():
        for function, line in disk_uses(module):
            assert module.place in MAY_TOUCH_DISK, f"{module.place}:{line}"
            assert re.match(r"_?(read|write)_", function), f"{module.place}:{line} in {function}"
    touched = {m.place for m in modules() if disk_uses(m)}
    assert touched == MAY_TOUCH_DISK  # the list does not go stale


def bodies(tree):
    """Give every function with the lines of its body, docstring left out."""
    for node in ast.walk(tree):
        if isinstance(node, (ast.FunctionDef, ast.AsyncFunctionDef)):
            body = node.body[1:] if ast.get_docstring(node) else node.body
            lines = 1 + body[-1].end_lineno - body[0].lineno if body else 0
            yield node, lines


def test_modules_and_functions_stay_short():
    """Up to 400 lines a module, 50 a body, six arguments and one of settings."""
    for module in modules():
        assert module.text.count("\n") <= LONGEST_MODULE, module.place
        for function, lines in bodies(module.tree):
            assert lines <= LONGEST_BODY, f"{module.place}: {function.name} has {lines} lines"
            typed = [d for d in function.decorator_list if "app.command" in ast.unparse(d)]
            arguments = function.args.posonlyargs + function.args.args + function.args.kwonlyargs
            named = [a for a in arguments if a.arg != "self"]
            assert typed or len(named) <= MOST_ARGUMENTS, f"{module.place}: {function.name}"


def test_every_module_is_described():
    """A docstring each; the linter holds those of classes and functions."""
    for module in modules():
        assert ast.get_docstring(module.tree), module.place


def test_no_module_has_a_grab_bag_or_borrowed_name():
    """No utils, helpers and the like; none named like a module of Python itself."""
    for module in modules():
        assert module.name == "__init__" or module.name not in BANNED_NAMES, module.place


def test_folder_docstrings_hold_no_code():
    """Import from the modules; only the package itself and the command line have a face."""
    for module in modules():
        if module.name == "__init__" and module.folder not in ("", "cli"):
            rest = [n for n in module.tree.body if not isinstance(n, ast.Expr)]
            assert rest == [], module.folder


def family(parent, depth=0):
    """Draw the classes below `parent` as (depth, name), in the order they were written."""
    yield depth, parent.__name__
    for child in parent.__subclasses__():
        if child.__module__ == parent.__module__:
            yield from family(child, depth + 1)


def test_the_drawn_tree_of_errors_is_the_real_one():
    """Names and indents in the docstring are the classes and their parents."""
    drawn = re.findall(r"^([ │├└─]*)([A-Z]\w+Error)\b", acoustic.errors.__doc__, re.MULTILINE)
    indents = sorted({len(indent) for indent, _ in drawn})
    assert [(indents.index(len(i)), name) for i, name in drawn] == list(
        family(acoustic.errors.AcousticError)
    )


def test_a_screening_loads_nothing_heavy():
    """In a fresh process: no pictures, no librosa and its numba, no slow parts of scipy."""
    program = (
        "import sys, acoustic\n"
        "assert 'numpy' not in sys.modules, 'the bare import is not light'\n"
        "drive = acoustic.read_drive('layouts/front_four.toml')\n"
        "clip = acoustic.read_recording('front_four_idler_idle.m4a')\n"
        "print(acoustic.screen([clip], drive).verdict)\n"
        "heavy = {'librosa', 'numba', 'matplotlib', 'scipy.signal', 'scipy.stats', 'sklearn'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program],
        capture_output=True, text=True, check=True, cwd=ROOT / "samples",
    )  # fmt: skip
    verdict, loaded = done.stdout.splitlines()
    assert verdict in {"suspects", "cannot_tell", "nothing_found"}
    assert loaded == "[]"


MACHINE_PATH = re.compile(
    r"(?<![\w.\])}])/(?:work|tmp|root|home|opt|usr|mnt|Users)/|[A-Z]:\\\\?Users|file://"
)


@cache
def listed_by_git():
    """Every file of the repository, changed or not; none where this is no checkout."""
    listed = subprocess.run(
        ["git", "ls-files", "-z", "--cached", "--others", "--exclude-standard"],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    return [ROOT / name for name in listed.stdout.split("\0") if name]


needs_git = pytest.mark.skipif(not listed_by_git(), reason="not a Git checkout")


@needs_git
def test_no_file_names_a_place_on_somebody_s_machine():
    """Absolute paths of one machine mean nothing on another."""
    checked = 0
    for path in listed_by_git():
        if path == Path(__file__) or not path.is_file():
            continue
        content = path.read_bytes()
        if b"\0" in content:
            continue
        checked += 1
        text = content.decode("utf-8", errors="replace")
        for number, line in enumerate(text.splitlines(), start=1):
            shebang = number == 1 and line.startswith("#!")
            assert shebang or not MACHINE_PATH.search(line), f"{path.relative_to(ROOT)}:{number}"
    assert checked > 150


@pytest.mark.parametrize("folder", ["home", "tmp", "work", "root"])
def test_a_machine_path_would_be_seen(folder):
    """The pattern finds what it is for, and leaves relative paths and fractions alone."""
    assert MACHINE_PATH.search(f"open('/{folder}/x')")
    assert not MACHINE_PATH.search("tests/work/x and ../tmp/x, 1/min, m/s")


@needs_git
def test_the_top_level_is_tidy():
    """Exactly the house; anything else is a dot file or ignored by Git."""
    tops = {path.relative_to(ROOT).parts[0] for path in listed_by_git()}
    assert {top for top in tops if not top.startswith(".")} == {
        "README.md", "DEVELOPERS.md", "pyproject.toml", "LICENSE",
        "acoustic", "tests", "samples", "notebooks",
    }  # fmt: skip
