"""The small version of the kill test, and that it would see a loss."""

import importlib.util
from datetime import UTC, datetime
from pathlib import Path

import pytest

from acoustic.casework.case_writes import write_event, write_recording
from acoustic.casework.history import Note
from acoustic.recording.taken import Taken

TRIAL = Path(__file__).resolve().parents[1] / "trial" / "kill_case_writes.py"


@pytest.fixture(scope="module")
def trial():
    """Give the trial as a module."""
    spec = importlib.util.spec_from_file_location("kill_case_writes", TRIAL)
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_ten_kills_lose_nothing_confirmed(trial, tmp_path):
    """The full count is run on request."""
    confirmed, faults, cuts = trial.kill_rounds(10, tmp_path, seed=7)
    assert faults == []
    assert confirmed > 0
    assert sum(cuts.values()) >= 10


def test_a_loss_would_be_seen(trial, folder, clip):
    """A confirmed note that is not there, a stored file cut in half, a screening not kept."""
    now = datetime.now(UTC)
    event = write_event(folder, Note("a"), now)
    assert trial.faults_of(folder, [{"note": event.id, "text": "a"}]) == []
    assert trial.faults_of(folder, [{"note": event.id, "text": "b"}]) != []
    added = write_recording(folder, clip("one.wav"), Taken(), now)
    said = {"recording": added.event.id, "sha256": added.event.data.sha256}
    assert trial.faults_of(folder, [said]) == []
    (path,) = (folder / "recordings").iterdir()
    path.write_bytes(path.read_bytes()[:100])
    assert len(trial.faults_of(folder, [said])) == 2
