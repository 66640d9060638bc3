"""``acoustic case report``: from clips to the page, as a person types it."""

import hashlib
import re
import sys
from html import unescape
from pathlib import Path

import pytest
import soundfile

from acoustic.errors import OutputError
from acoustic.output.report_pdf import require_pdf


@pytest.fixture
def bus(acoustic, case, tmp_path):
    """Give the folder of a case of the library bus whose title is no harmless one."""
    folder = tmp_path / "bus"
    code, _, _ = acoustic(
        "case", "new", folder, "--layout", case / "library_bus.toml", "--title", "Bus <b>2</b>",
        "--complaint", "growls & squeals",
    )  # fmt: skip
    assert code == 0
    return folder


SAMPLES = Path(__file__).resolve().parents[2] / "samples"
HEALTHY = SAMPLES / "front_four_healthy_idle.m4a"


def add(acoustic, bus, clip, *more):
    """Add a clip without a question left open."""
    options = ("--rpm", "heard", "--air", "--load", "none", *(more or ("--point", "front")))
    assert acoustic("case", "add", bus, clip, *options)[0] == 0


def test_from_clips_to_the_page(acoustic, bus, case, tmp_path):
    """The planted idler leads; an older answer is named; digests are those of the files."""
    idle, held, page = case / "idle.m4a", case / "held_2000_rpm.m4a", tmp_path / "report.html"
    add(acoustic, bus, idle)
    assert acoustic("case", "screen", bus)[0] == 0
    add(acoustic, bus, held)
    add(acoustic, bus, HEALTHY, "--point", "idler", "--after")
    code, out, _ = acoustic("case", "report", bus, "--file", page, "--sounds")
    assert code == 0
    assert re.fullmatch(rf"Written: {re.escape(str(page))} \([01]\.\d MB\)", out.splitlines()[-1])
    assert "The answer kept as number 2" in out
    text = page.read_text(encoding="utf-8")
    assert page.stat().st_size < 1_500_000
    assert text.count("data:audio/mpeg") == 6  # the part four ways, both recordings
    assert "<b>" not in text
    said = unescape(re.sub(r"<[^>]*>", " ", text))
    assert "Noise report: Bus <b>2</b>" in said
    assert "You said: growls & squeals" in said
    assert "this report on 2 recordings" in said
    assert "none of its recordings after the repair was taken like one before it" in said
    assert str(tmp_path) not in text  # where the case lies is nobody's business
    assert re.search(r"As a figure, for idler: (0\.[89]\d|>0\.99) likely, by 2 recordings", said)
    for clip in (idle, held):
        assert hashlib.sha256(clip.read_bytes()).hexdigest() in said


def test_what_cannot_be_compared_holds_up_no_report(acoustic, bus, tmp_path):
    """Six seconds before and after are too short to compare, yet enough to be screened."""
    page = tmp_path / "report.html"
    for name, stage in (("front_800rpm", []), ("front_800rpm_after", ["--after"])):
        samples, rate_hz = soundfile.read(SAMPLES / "library_bus_case" / f"{name}.opus")
        clip = tmp_path / f"{name}_short.wav"
        soundfile.write(clip, samples[: 6 * rate_hz], rate_hz)
        add(acoustic, bus, clip, "--point", "front", *stage)
    assert acoustic("case", "report", bus, "--file", page)[0] == 0
    assert "only 2 stretches of 32 turns of the engine can be compared" in page.read_text("utf-8")


def test_what_cannot_be_reported_is_answered(acoustic, bus, tmp_path):
    """No recording yet; a place that cannot be written; nothing is left behind."""
    page = tmp_path / "report.html"
    code, _, err = acoustic("case", "report", bus, "--file", page)
    assert code == 2
    assert "it has no recordings before the repair yet" in err
    code, _, err = acoustic("case", "report", bus, "--file", tmp_path / "no" / "report.html")
    assert code == 2
    assert "does not exist" in err
    assert not page.exists()


def test_the_pdf_beside_the_page(acoustic, bus, case, tmp_path):
    """Both from one screening; the PDF is one, and tells the same."""
    try:
        require_pdf("test")
    except OutputError:
        pytest.skip("no WeasyPrint or none of its libraries here: extra pdf")
    pypdf = pytest.importorskip("pypdf", reason="pypdf comes with the dev extra")
    add(acoustic, bus, case / "idle.m4a")
    page, pdf = tmp_path / "report.html", tmp_path / "report.pdf"
    code, out, _ = acoustic("case", "report", bus, "--file", page, "--pdf", pdf)
    assert code == 0
    assert out.count("Written: ") == 2
    text = " ".join(one.extract_text() for one in pypdf.PdfReader(pdf).pages)
    assert "Noise report: Bus <b>2</b>" in text
    assert str(tmp_path) not in text
    assert page.exists()


@pytest.mark.parametrize(
    ("options", "said"),
    [
        ((), "give --file FILE.html, --pdf FILE.pdf or both"),
        (("--file", "report.pdf"), "Use --pdf for a PDF"),
        (("--pdf", "report.pdf", "--sounds"), "paper does not play"),
    ],
)
def test_what_makes_no_sense_is_said_before_the_work(acoustic, bus, options, said):
    """Nothing to write, a PDF as a page, sounds on paper."""
    code, _, err = acoustic("case", "report", bus, *options)
    assert code == 2
    assert said in " ".join(err.split())


def test_without_the_extra_nothing_is_screened(acoustic, bus, tmp_path, monkeypatch):
    """The answer comes at once and names the extra; nothing is left behind."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    page = tmp_path / "report.html"
    code, out, err = acoustic(
        "case", "report", bus, "--file", page, "--pdf", tmp_path / "report.pdf"
    )
    assert (code, out) == (2, "")
    assert "a PDF needs the extra pdf" in " ".join(err.split())
    assert not page.exists()
