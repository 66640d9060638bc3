"""A folder of cases, a visitor of its page, and clips to send."""

import io
import re
import shutil
import time
from datetime import date
from pathlib import Path

import numpy as np
import pytest
import soundfile

pytest.importorskip("starlette", reason="the page comes with the web extra")

from starlette.testclient import TestClient

from acoustic.casework.case_file import CaseFile
from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_new_case
from acoustic.cli import main
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

SAMPLES = Path(__file__).resolve().parents[2] / "samples"
SHARED_FORMATS = SAMPLES.parents[1] / "shared" / "data" / "formats"
HOME = "http://localhost"
PATIENCE_S = 120.0
RECORDED = ("front_800rpm.opus", "guide-idler_800rpm_contact.opus")


@pytest.fixture(scope="session")
def start_case():
    """Give a function that opens a case of the sample drive in a new folder."""

    def start(folder, **said):
        file = CaseFile.model_construct(
            **{"schema_": "case/1", "title": "Library bus", "opened": date(2026, 11, 25), **said}
        )
        write_new_case(folder, file, SAMPLES / "layouts" / "front_four.toml")
        return folder

    return start


@pytest.fixture
def cases(tmp_path, start_case):
    """Give a folder that holds one case, ``bus``."""
    start_case(tmp_path / "cases" / "bus")
    return tmp_path / "cases"


@pytest.fixture(scope="session")
def case_once(tmp_path_factory, start_case):
    """Give a case with two recordings, screened; made once by the command line, to be copied."""
    folder = start_case(tmp_path_factory.mktemp("once") / "bus")
    clips = [SAMPLES / "library_bus_case" / name for name in RECORDED]
    assert main(["case", "add", str(folder), *map(str, clips)]) == 0
    assert main(["case", "screen", str(folder)]) == 0
    return folder


@pytest.fixture
def screened(cases, case_once):
    """Give the folder of a case that was recorded and screened."""
    shutil.rmtree(cases / "bus")
    shutil.copytree(case_once, cases / "bus")
    return cases / "bus"


@pytest.fixture
def recorded(screened):
    """Give the folder of a case that was recorded; its screening is taken back."""
    number = read_case(screened).events[-1].id
    assert main(["case", "undo", str(screened), str(number)]) == 0
    return screened


@pytest.fixture
def visitor(cases):
    """Give a visitor of the page of `cases` who follows where a form leads."""
    with TestClient(make_app(PageSettings(cases)), base_url=HOME) as client:
        yield client


@pytest.fixture(scope="session")
def token_on():
    """Give a function that reads the form token off a page."""
    return lambda page: re.search(r'name="form-token" content="(\w+)"', page.text)[1]


@pytest.fixture
def token(visitor, token_on):
    """Give the form token of `visitor`."""
    return token_on(visitor.get("/"))


@pytest.fixture(scope="session")
def wait_until():
    """Give a function that asks again and again until something holds, and gives it."""

    def wait(asked, patience_s=PATIENCE_S):
        end = time.monotonic() + patience_s
        while not (found := asked()):
            assert time.monotonic() < end, "it never came"
            time.sleep(0.1)
        return found

    return wait


@pytest.fixture(scope="session")
def sample():
    """Give a function that finds a sample clip by name."""
    return lambda name: SAMPLES / "library_bus_case" / name


@pytest.fixture(scope="session")
def short_clips(sample):
    """Give a function that makes so many clips of three seconds that all differ, as WAV."""

    def made(count):
        samples, rate_hz = soundfile.read(sample("front_800rpm.opus"), dtype="float32")
        chance = np.random.default_rng(1)
        for _ in range(count):
            noisy = samples[: 3 * rate_hz] + 1e-4 * chance.standard_normal(3 * rate_hz)
            content = io.BytesIO()
            soundfile.write(content, noisy, rate_hz, format="WAV", subtype="PCM_16")
            yield content.getvalue()

    return made


@pytest.fixture(scope="session")
def shared_format():
    """Give a function that finds a shared clip, skipping the test where there is none."""

    def find(name):
        path = SHARED_FORMATS / name
        if not path.exists():
            pytest.skip(f"{name} of the shared data is not beside this checkout")
        return path

    return find
