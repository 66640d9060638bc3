"""The layout form in a real browser at phone width, with script and without."""

import shutil
import threading

import pytest

pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")

import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

CHROMIUM = shutil.which("chromium")
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
]  # fmt: skip
DIAMETER = '[id="at/component/0/pulley/diameter_mm"]'
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here to try the page in")


@pytest.fixture(scope="module")
def browser():
    """Give one browser for all tests here."""
    with sync_playwright() as play:
        started = play.chromium.launch(executable_path=CHROMIUM, args=FLAGS)
        yield started
        started.close()


@pytest.fixture
def address(cases):
    """Serve the page on a free port of this machine; give the address of the layout."""
    config = uvicorn.Config(make_app(PageSettings(cases)), port=0, log_level="warning")
    server = uvicorn.Server(config)
    thread = threading.Thread(target=server.run)
    thread.start()
    while not server.started:
        thread.join(0.02)
        assert thread.is_alive()
    port = server.servers[0].sockets[0].getsockname()[1]
    yield f"http://127.0.0.1:{port}/case/bus/layout"
    server.should_exit = True
    thread.join()


def phone(browser, address, script=True):
    """Open the layout on a phone; what the browser complains of is gathered."""
    context = browser.new_context(
        viewport={"width": 380, "height": 800}, java_script_enabled=script
    )
    page = context.new_page()
    page.complaints = []
    page.on("console", lambda said: page.complaints.append(said.text))
    page.on("pageerror", lambda error: page.complaints.append(str(error)))
    page.goto(address)
    return page


def require_no_barrier(page):
    """Hold that axe finds nothing serious, and that nothing is wider than the phone."""
    found = Axe().run(page).response["violations"]
    assert [one["id"] for one in found if one["impact"] in {"serious", "critical"}] == []
    assert page.evaluate("document.documentElement.scrollWidth") <= 380


def test_the_drive_is_drawn_as_it_is_typed(browser, address, cases):
    """Wrong: told beside the field and at the top, which leads back; right: drawn anew; saved."""
    page = phone(browser, address)
    first = page.get_attribute("#drawing img", "src")
    page.click('[id="at/component/0"]')
    page.fill(DIAMETER, "-56")
    link = page.locator("#mends a")
    link.wait_for()
    assert "must be greater than 0" in page.text_content(
        '[id="said/component/0/pulley/diameter_mm"]'
    )
    assert page.get_attribute(DIAMETER, "aria-invalid") == "true"
    assert page.get_attribute("#drawing img", "src") == first  # kept, and said to be older
    assert "the drawing is older" in page.text_content("#state")
    require_no_barrier(page)
    page.click('[id="at/component/0"]')
    link.click()
    assert page.evaluate("document.activeElement.id") == "at/component/0/pulley/diameter_mm"
    page.keyboard.press("Control+a")
    page.keyboard.type("60")
    link.wait_for(state="detached")
    assert page.get_attribute("#drawing img", "src") != first
    assert page.input_value(DIAMETER) == "60"
    page.click("button[value=save]")
    page.get_by_text("Saved.").wait_for()
    assert "diameter_mm = 60," in (cases / "bus" / "layout.toml").read_text("utf-8")
    assert page.complaints == []


def test_rows_come_and_kinds_change_without_losing_what_is_typed(browser, address):
    """A new row has the cursor; another kind brings its own fields; a name is tapped in."""
    page = phone(browser, address)
    page.fill('[id="at/name"]', "Bus 9")
    page.click('button[value="add at/component"]')
    page.locator('[id="at/component/7/name"]:focus').wait_for()
    assert "Drawn" not in page.text_content("#state")  # something is still missing in it
    page.keyboard.type("spare idler")
    page.focus('[id="at/component/7/kind"]')
    page.select_option('[id="at/component/7/kind"]', "vane pump")
    page.locator('[id="at/component/7/vanes"]').wait_for()
    assert page.locator('[id="at/component/7/kind"]:focus').count() == 1
    page.check('[id="has/component/7/pulley"]')
    page.fill('[id="at/component/7/pulley/diameter_mm"]', "60")
    page.click('[id="at/belt/0"]')
    page.click("text=+ spare idler (back)")
    path = page.input_value('[id="at/belt/0/path"]').splitlines()
    assert path[-1] == "spare idler (back)"
    assert page.input_value('[id="at/name"]') == "Bus 9"
    require_no_barrier(page)
    page.click('button[value="remove at/component/7"]')
    page.locator('[value="add at/component"]:focus').wait_for()
    assert "'spare idler' is no pulley" in page.locator("#mends").text_content()
    assert page.complaints == []


def test_what_is_typed_outlives_a_lost_connection(browser, address):
    """It says so, keeps every sign, and goes on when the page is back."""
    page = phone(browser, address)
    page.context.set_offline(True)
    page.fill('[id="at/name"]', "Bus 9")
    page.get_by_text("The page cannot be reached. What you typed is still here.").wait_for()
    page.context.set_offline(False)
    page.fill('[id="at/name"]', "Bus 10")
    page.get_by_text("Drawn as typed. Not saved yet.").wait_for()
    assert page.input_value('[id="at/name"]') == "Bus 10"


def test_everything_works_without_script(browser, address):
    """By the "Draw" button, and the links lead to their fields all the same."""
    page = phone(browser, address, script=False)
    first = page.get_attribute("#drawing img", "src")
    page.click('[id="at/pulley/0"]')
    page.fill('[id="at/pulley/0/diameter_mm"]', "170")
    page.press('[id="at/pulley/0/diameter_mm"]', "Enter")
    assert page.get_attribute("#drawing img", "src") != first
    page.click('[id="at/belt/0"]')
    page.fill('[id="at/belt/0/section"]', "PK6")
    page.click("button[value=draw]")
    page.click("#mends a")
    page.keyboard.press("Control+a")
    page.keyboard.type("5PK")
    assert page.input_value('[id="at/belt/0/section"]') == "5PK"
    page.click("button[value=draw]")
    assert page.locator("#mends li").count() == 0
