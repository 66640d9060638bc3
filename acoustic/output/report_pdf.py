"""The report as PDF: the same page set on A4, tagged so that a screen reader can follow it.

Needs the extra ``pdf`` (WeasyPrint). Nothing is fetched: whatever asks for an address but
for what the page holds itself ends the work. Letters are those shipped with matplotlib, so
a machine without fonts sets the same page.
"""

from __future__ import annotations

from functools import cache
from pathlib import Path

from acoustic.errors import OutputError
from acoustic.output.page_pieces import data_address

VARIANT = "pdf/ua-1"
"""ISO 14289-1: tags, reading order, title, language, a text for every picture."""

_FACES = {"normal": "DejaVuSans.ttf", "bold": "DejaVuSans-Bold.ttf"}
_FAMILY = "DejaVu Sans"

_ON_PAPER = f"""\
body {{ font-family: "{_FAMILY}"; }}
@page {{ font: 8pt "{_FAMILY}";
  @bottom-left {{ content: string(title); }}
  @bottom-right {{ content: counter(page) " / " counter(pages); }} }}
h1 {{ string-set: title content(); }}
"""
"""What only the PDF has: its letters, and title and number at the foot of each page."""

_INSTALL = (
    "Install it with: python -m pip install 'accessory-drive-acoustic[pdf]', and on Debian its "
    "libraries with: apt-get install libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0. Or "
    "write the page with --file and print it from a browser."
)


def require_pdf(what: str) -> None:
    """Raise `OutputError` if this machine cannot make a PDF.

    Parameters
    ----------
    what : str
        The option that asked for it, for the message.
    """
    try:
        import weasyprint  # noqa: F401 - asking is the test
    except ImportError as error:
        raise OutputError(
            f"{what}: a PDF needs the extra pdf, not installed. {_INSTALL}"
        ) from error
    except OSError as error:  # the package is there, a library it loads is not
        reason = str(error).splitlines()[0]
        raise OutputError(
            f"{what}: a PDF needs a library that is missing ({reason}). {_INSTALL}"
        ) from error


def render_pdf(page: str) -> bytes:
    """Set a page of `render_report` on paper.

    Parameters
    ----------
    page : str
        HTML that stands alone, made for paper.

    Returns
    -------
    bytes
        A tagged PDF with title and language as the page has them.

    Raises
    ------
    OutputError
        If this machine cannot make one, or the page asks for something outside itself.
    """
    require_pdf("PDF")
    from weasyprint import CSS, HTML
    from weasyprint.text.fonts import FontConfiguration
    from weasyprint.urls import FatalURLFetchingError, URLFetcher

    inside_only = URLFetcher(allowed_protocols={"data"}, allow_redirects=False, fail_on_errors=True)
    fonts = FontConfiguration()
    try:
        style = CSS(string=_faces() + _ON_PAPER, font_config=fonts, url_fetcher=inside_only)
        whole = HTML(string=page, url_fetcher=inside_only)
        made: bytes = whole.write_pdf(
            stylesheets=[style], font_config=fonts, pdf_variant=VARIANT, pdf_tags=True
        )
    except FatalURLFetchingError as error:
        raise OutputError(
            "PDF: the page asks for something outside itself, which is never fetched. Write the "
            "page with --file and look into it."
        ) from error
    return made


@cache
def _faces() -> str:
    """Style that names the letters, which stand in it themselves."""
    import matplotlib

    folder = Path(matplotlib.get_data_path()) / "fonts" / "ttf"
    return "".join(
        f'@font-face {{ font-family: "{_FAMILY}"; font-weight: {weight}; '
        f'src: url("{data_address("font/ttf", _read_face(folder / name))}"); }}\n'
        for weight, name in _FACES.items()
    )


def _read_face(path: Path) -> bytes:
    return path.read_bytes()
