"""One sample case for all tests of the command line, made once."""

import io

import numpy as np
import pytest
import soundfile

from acoustic.cli import main
from acoustic.cli.demo_command import run_demo

RATE_HZ = 48000


class Terminal(io.StringIO):
    """A stream that says it is a terminal."""

    def isatty(self):
        """Say yes."""
        return True


@pytest.fixture
def terminal(monkeypatch):
    """Give a stream that says it is a terminal, with colours wanted."""
    monkeypatch.setenv("TERM", "xterm-256color")
    monkeypatch.delenv("NO_COLOR", raising=False)
    return Terminal()


@pytest.fixture(scope="session")
def case(tmp_path_factory):
    """Give the folder of a sample case: layout, two clips, answer, pictures."""
    folder = tmp_path_factory.mktemp("case") / "bus"
    assert run_demo(folder) == 0
    return folder


@pytest.fixture(scope="session")
def clips(tmp_path_factory):
    """Give a folder of clips that are wrong in one way each."""
    folder = tmp_path_factory.mktemp("clips")
    noise = (0.1 * np.random.default_rng(5).standard_normal(8 * RATE_HZ)).astype(np.float32)
    broken = noise.copy()
    broken[1000] = np.nan
    soundfile.write(folder / "20ms.wav", noise[: RATE_HZ // 50], RATE_HZ)
    soundfile.write(folder / "silence.wav", np.zeros(8 * RATE_HZ, np.float32), RATE_HZ)
    soundfile.write(folder / "nan.wav", broken, RATE_HZ, subtype="FLOAT")
    soundfile.write(folder / "noise.wav", noise, RATE_HZ)
    (folder / "text.m4a").write_text("not sound at all, only some words\n" * 50)
    (folder / "empty.wav").write_bytes(b"")
    return folder


@pytest.fixture
def acoustic(capsys):
    """Give a function that runs the command line: code, standard output, error output."""

    def run(*arguments):
        code = main([str(a) for a in arguments])
        out, err = capsys.readouterr()
        assert "Traceback" not in err
        return code, out, err

    return run
