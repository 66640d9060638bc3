"""Where the samples are, and the checks every answer must pass."""

from pathlib import Path

import jsonschema
import pytest

import acoustic
from acoustic.output.answer_schema import answer_json_schema

SAMPLES = Path(__file__).resolve().parents[2] / "samples"


@pytest.fixture(scope="session")
def screened():
    """Give a function that screens through the public face and holds the answer to its form."""
    schema = answer_json_schema()

    def run(clips, drive, **options):
        screening = acoustic.screen(clips, drive, **options)
        report = acoustic.screening_to_dict(screening)
        jsonschema.validate(report, schema)
        assert sorted(s.part for s in screening.suspects) == sorted(drive.parts) or (
            screening.verdict in {"recording_unfit", "cannot_tell"} and not screening.suspects
        )
        assert acoustic.render_text(screening)
        return screening

    return run


@pytest.fixture(scope="session")
def sample():
    """Give a function that reads a sample clip or layout by its name."""

    def read(name):
        if name.endswith(".toml"):
            return acoustic.read_drive(SAMPLES / "layouts" / name)
        return acoustic.read_recording(SAMPLES / name)

    return read


@pytest.fixture(scope="session")
def leading():
    """Give a function that names the first suspect and the parts it cannot be told from."""

    def names(screening):
        first = screening.suspects[0]
        return {first.part, *first.not_separable_from}

    return names
