"""Every notebook runs from top to bottom, and is kept without its outputs."""

import re
from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).resolve().parents[2] / "notebooks").glob("*.ipynb"))

pytestmark = pytest.mark.filterwarnings(
    # Raised inside the notebook machinery and its sockets, none of it ours.
    "ignore::DeprecationWarning",
    "ignore::ResourceWarning",
    "ignore::RuntimeWarning",
)


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_notebook_runs_and_shows_something(path, tmp_path):
    """No cell fails; the pictures are drawn and the planted part is printed first."""
    notebook = nbformat.read(path, as_version=4)
    client = NotebookClient(
        notebook, timeout=180, kernel_name="python3",
        resources={"metadata": {"path": str(tmp_path)}},
    )  # fmt: skip
    client.execute()
    outputs = [o for cell in notebook.cells if cell.cell_type == "code" for o in cell.outputs]
    pictures = [o for o in outputs if "image/png" in o.get("data", {})]
    printed = "".join(o.get("text", "") for o in outputs if o.output_type == "stream")
    assert len(pictures) >= 4
    planted, first = re.search(r"planted: (.+), .+; first suspect: (.+)\n", printed).groups()
    assert planted == first
    assert not [o for o in outputs if o.get("name") == "stderr"]


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_the_notebook_is_kept_clean(path):
    """No outputs, no counters: what a reader sees is what the code makes today."""
    notebook = nbformat.read(path, as_version=4)
    nbformat.validate(notebook)
    for cell in notebook.cells:
        if cell.cell_type == "code":
            assert (cell.outputs, cell.execution_count) == ([], None)


def test_there_is_a_notebook():
    """The walk through the demo case, so that the tests above are not empty."""
    assert [path.name for path in NOTEBOOKS] == ["demo_case.ipynb"]
