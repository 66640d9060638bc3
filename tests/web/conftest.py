"""A folder of cases and a visitor of its page."""

import re
from datetime import date
from pathlib import Path

import pytest

pytest.importorskip("starlette", reason="the page comes with the web extra")

from starlette.testclient import TestClient

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_writes import write_new_case
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
HOME = "http://localhost"


@pytest.fixture
def start_case():
    """Give a function that opens a case of the sample drive in a new folder."""
    return _start_case


def _start_case(folder, **said):
    """Open a case of the sample drive in a new folder; give the folder."""
    file = CaseFile.model_construct(
        **{"schema_": "case/1", "title": "Library bus", "opened": date(2026, 11, 25), **said}
    )
    write_new_case(folder, file, SAMPLES / "layouts" / "front_four.toml")
    return folder


@pytest.fixture
def token(visitor):
    """Give the form token of `visitor`."""
    return re.search(r'name="form-token" content="(\w+)"', visitor.get("/").text)[1]


@pytest.fixture
def cases(tmp_path):
    """Give a folder that holds one case, ``bus``."""
    _start_case(tmp_path / "cases" / "bus")
    return tmp_path / "cases"


@pytest.fixture
def visitor(cases):
    """Give a visitor of the page of `cases` who follows where a form leads."""
    with TestClient(make_app(PageSettings(cases)), base_url=HOME) as client:
        yield client
