"""Progress: on a terminal after a second, never in a pipe."""

import sys
import time

from acoustic.cli import progress


def test_a_pipe_hears_nothing(capsys):
    """Steps are taken and kept to itself."""
    with progress.shown_progress() as say:
        say("reading the clips")
    assert capsys.readouterr() == ("", "")


def test_a_terminal_is_told_of_a_long_step(monkeypatch, terminal):
    """After the quiet time the present step stands there."""
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(progress, "QUIET_S", 0.0)
    with progress.shown_progress() as say:
        say("matching the drive")
        time.sleep(0.3)
    assert "matching the drive" in terminal.getvalue()


def test_a_short_job_shows_nothing(monkeypatch, terminal):
    """Done before the quiet time is over: the terminal stays clean."""
    monkeypatch.setattr(sys, "stderr", terminal)
    monkeypatch.setattr(progress, "QUIET_S", 30.0)
    with progress.shown_progress() as say:
        say("matching the drive")
    assert "matching" not in terminal.getvalue()
