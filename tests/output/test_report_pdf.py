"""The report on paper: tagged for screen readers, nothing fetched, and what is missing is said.

What the file holds is read by pypdf, which is no part of this program.
"""

import io
import logging
import sys
import threading
from http.server import BaseHTTPRequestHandler, HTTPServer

import pytest

from acoustic.errors import OutputError
from acoustic.output.page_pieces import data_address, element, render
from acoustic.output.report_pdf import render_pdf, require_pdf

DOT = bytes.fromhex(  # a PNG of one grey dot
    "89504e470d0a1a0a0000000d4948445200000001000000010800000000"
    "3a7e9b550000000a49444154789c636a00000082008177cd72b60000000049454e44ae426082"
)


def can_make():
    """Whether this machine can make a PDF at all."""
    try:
        require_pdf("test")
    except OutputError:
        return False
    return True


needs_pdf = pytest.mark.skipif(
    not can_make(), reason="no WeasyPrint or none of its libraries here: extra pdf"
)


def made_page(picture=None):
    """Make a small page with a heading, a picture and a table."""
    picture = picture or data_address("image/png", DOT)
    row = element("tr", element("th", "idler", scope="row"), element("td", "0.91"))
    head = element("tr", element("th", "part", scope="col"), element("th", "faulty", scope="col"))
    body = element(
        "body", element("h1", "Noise report: bus 2"), element("h2", "What is it?"),
        element("figure", element("img", src=picture, alt="A single dot.")),
        element("table", element("thead", head), element("tbody", row)),
    )  # fmt: skip
    title = "<title>Noise report: bus 2</title>"
    return f'<!doctype html><html lang="en"><head>{title}</head>{render(body)}</html>'


def read(content):
    """Read a PDF with pypdf."""
    pypdf = pytest.importorskip("pypdf", reason="pypdf comes with the dev extra")
    return pypdf.PdfReader(io.BytesIO(content))


def tags(node):
    """Every tag of the structure below a node, in reading order: name and its dictionary."""
    children = node.get("/K", [])
    for child in children if isinstance(children, list) else [children]:
        one = child.get_object() if hasattr(child, "get_object") else child
        if isinstance(one, dict) and "/S" in one:
            yield one["/S"], one
            yield from tags(one)


@needs_pdf
def test_it_is_tagged_with_title_and_language():
    """As PDF/UA-1 (ISO 14289-1) wants: marked, structure, title shown, language, alt texts."""
    pdf = read(render_pdf(made_page()))
    root = pdf.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] is True or root["/MarkInfo"]["/Marked"].value is True
    assert root["/Lang"] == "en"
    assert root["/ViewerPreferences"]["/DisplayDocTitle"]
    assert pdf.metadata.title == "Noise report: bus 2"
    assert b"pdfuaid" in root["/Metadata"].get_data()
    found = list(tags(root["/StructTreeRoot"]))
    names = [name for name, _ in found]
    assert names.index("/H1") < names.index("/H2") < names.index("/Figure") < names.index("/Table")
    assert names.count("/TH") == 3
    assert [one["/Alt"] for name, one in found if name == "/Figure"] == ["A single dot."]


@needs_pdf
def test_letters_are_those_shipped_with_the_program_and_pages_are_numbered():
    """Embedded, whatever fonts the machine has; the title at the foot."""
    pdf = read(render_pdf(made_page()))
    (page,) = pdf.pages
    fonts = [one.get_object() for one in page["/Resources"]["/Font"].values()]
    assert fonts
    assert all("DejaVu" in one["/BaseFont"] for one in fonts)
    text = page.extract_text()
    assert "1 / 1" in text
    assert text.count("Noise report: bus 2") == 2
    assert [float(side) for side in page.mediabox[2:]] == pytest.approx([595.3, 841.9], abs=0.1)


@pytest.fixture
def listener():
    """Give an address on this machine, and the list of what was asked of it."""
    asked = []

    class Answers(BaseHTTPRequestHandler):
        def do_GET(self):
            asked.append(self.path)
            self.send_response(404)
            self.end_headers()

        def log_message(self, *_):
            """Say nothing."""

    server = HTTPServer(("127.0.0.1", 0), Answers)
    thread = threading.Thread(target=server.serve_forever, daemon=True)
    thread.start()
    yield f"http://127.0.0.1:{server.server_port}/x.png", asked
    server.shutdown()
    thread.join()
    server.server_close()


@needs_pdf
def test_nothing_is_fetched(listener, tmp_path):
    """Neither from the network nor from this machine's files."""
    address, asked = listener
    (tmp_path / "x.png").write_bytes(DOT)
    for outside in (address, (tmp_path / "x.png").as_uri()):
        with pytest.raises(OutputError, match="asks for something outside itself"):
            render_pdf(made_page(outside))
    assert asked == []


@needs_pdf
def test_the_whole_report_goes_on_paper(matter_on_paper):
    """Every picture with its words, every setting, cautions; a page of some size, not empty."""
    page, alts = matter_on_paper
    pdf = read(render_pdf(page))
    found = [one["/Alt"] for name, one in tags(pdf.trailer["/Root"]["/StructTreeRoot"])
             if name == "/Figure"]  # fmt: skip
    assert found == alts
    text = " ".join(" ".join(one.extract_text() for one in pdf.pages).split())
    assert "false_alarm = 0.01" in text
    assert "A source of sound is not yet a fault" in text
    assert f"{7:064x}"[:20] in text


@pytest.fixture
def matter_on_paper(screening, drive):
    """Give the report of an open case made for paper, and the words of its pictures."""
    import re
    from datetime import UTC, date, datetime
    from html import unescape
    from pathlib import Path

    from acoustic.casework.case_file import CaseFile
    from acoustic.casework.case_folder import Case, StoredRecording
    from acoustic.casework.history import GateAnswer, History, RecordingAdded
    from acoustic.output.report_matter import ReportMatter
    from acoustic.output.report_page import ReportSettings, render_report
    from acoustic.recording.taken import Taken

    added = RecordingAdded(
        f"{7:064x}", "recordings/7.m4a", "7.m4a", 10, Taken(), GateAnswer(True, ("usable",))
    )
    stored = (StoredRecording(7, Path("7.m4a"), added),)
    file = CaseFile(title="Bus 2", opened=date(2026, 11, 24))
    case = Case(Path("bus"), file, drive, stored, History(()))
    made = ReportMatter(case, screening, datetime(2026, 11, 25, tzinfo=UTC))
    page = render_report(made, ReportSettings(paper=True))
    return page, [unescape(one) for one in re.findall(r'alt="([^"]*)"', page)]


@needs_pdf
def test_the_page_s_style_is_understood(matter_on_paper, caplog):
    """But for what only a screen needs."""
    with caplog.at_level(logging.WARNING, logger="weasyprint"):
        render_pdf(matter_on_paper[0])
    refused = [one for one in caplog.messages if "overflow-x" not in one and "max-width" not in one]
    assert refused == []


def test_without_the_extra_it_says_what_to_install(monkeypatch):
    """The extra by its name, Debian's libraries, and the way round."""
    monkeypatch.setitem(sys.modules, "weasyprint", None)
    with pytest.raises(OutputError) as raised:
        require_pdf("--pdf bus.pdf")
    said = str(raised.value)
    assert said.startswith("--pdf bus.pdf: a PDF needs the extra pdf")
    assert "accessory-drive-acoustic[pdf]" in said
    assert "libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0" in said
    assert "print it from a browser" in said


def test_without_its_libraries_it_says_which_is_missing(monkeypatch, tmp_path):
    """The package is there, but what it loads is not: an OSError when it is imported."""
    package = tmp_path / "weasyprint"
    package.mkdir()
    missing = "cannot load library 'libpango-1.0-0'\nmore lines"
    (package / "__init__.py").write_text(f"raise OSError({missing!r})\n")
    monkeypatch.syspath_prepend(tmp_path)
    monkeypatch.delitem(sys.modules, "weasyprint", raising=False)
    with pytest.raises(OutputError) as raised:
        require_pdf("--pdf bus.pdf")
    said = str(raised.value)
    assert "(cannot load library 'libpango-1.0-0')" in said
    assert "more lines" not in said
    assert "apt-get install libpango-1.0-0" in said
