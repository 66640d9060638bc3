"""The customer with a phone: records at the link's page, gets a receipt, sees the link end.

In a real browser, 380 px wide, with a file for a microphone. Set PAGE_PICTURES to a folder to
keep a picture of every page that is looked at.
"""

import os
import re
import shutil
import socket
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest
import soundfile
import uvicorn

from acoustic.casework.customer_links import LinkWish, write_link, write_withdrawn
from acoustic.recording.audio_file import read_recording
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings

CHROMIUM = shutil.which("chromium")
playwright = pytest.importorskip("playwright.sync_api", reason="playwright is not installed")
axe = pytest.importorskip("axe_playwright_python.sync_playwright", reason="axe is not installed")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no chromium on this machine")

SAMPLE = Path(__file__).resolve().parents[2] / "samples" / "front_four_idler_idle.m4a"
DAY = timedelta(days=1)
FLAGS = (
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update",
    "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
)  # fmt: skip


class Clock:
    """The true time, and what the test puts on it."""

    ahead = timedelta()

    def __call__(self):
        """Give the time."""
        return datetime.now(UTC) + self.ahead


@pytest.fixture
def clock():
    """Give the clock that links end by."""
    return Clock()


@pytest.fixture
def server(cases, clock):
    """Serve the page of `cases` at a free port; give its address."""
    here = socket.create_server(("127.0.0.1", 0))
    app = make_app(PageSettings(cases, access_code="ABCDEF", clock=clock))
    served = uvicorn.Server(uvicorn.Config(app, log_level="error", timeout_graceful_shutdown=1))
    thread = threading.Thread(target=served.run, kwargs={"sockets": [here]})
    thread.start()
    yield f"http://127.0.0.1:{here.getsockname()[1]}"
    served.should_exit = True
    thread.join()
    here.close()


@pytest.fixture(scope="module")
def browser(tmp_path_factory):
    """Give a browser whose microphone hears the sample."""
    heard, place = read_recording(SAMPLE), tmp_path_factory.mktemp("microphone") / "heard.wav"
    soundfile.write(place, heard.samples, int(heard.sample_rate_hz), subtype="PCM_16")
    flags = [*FLAGS, f"--use-file-for-fake-audio-capture={place}"]
    with playwright.sync_playwright() as started:
        browser = started.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield browser
        browser.close()


@pytest.fixture
def phone(browser):
    """Give a page as narrow as a phone, and what its console said."""
    context = browser.new_context(viewport={"width": 380, "height": 780}, has_touch=True)
    page = context.new_page()
    page.set_default_timeout(20_000)
    page.said = []
    page.on("console", lambda message: page.said.append(message.text))
    page.on("pageerror", lambda error: page.said.append(str(error)))
    yield page
    context.close()


def look_at(page, name):
    """Hold the page against axe's rules and its own width; keep a picture if wished."""
    width = page.viewport_size["width"]
    found = axe.Axe().run(page).response["violations"]
    grave = [(one["id"], one["nodes"]) for one in found if one["impact"] in {"serious", "critical"}]
    assert grave == [], name
    assert page.evaluate("document.documentElement.scrollWidth") <= width, name
    small = page.evaluate(
        "[...document.querySelectorAll('main a.button, main button, main .plan li')]"
        ".filter((one) => one.offsetParent && one.getBoundingClientRect().height < 44)"
        ".map((one) => one.outerHTML)"
    )
    assert small == [], name
    if os.environ.get("PAGE_PICTURES"):
        place = Path(os.environ["PAGE_PICTURES"])
        page.screenshot(path=place / f"{name}-{width}.png", full_page=True)


def test_a_customer_records_and_gets_a_receipt(server, phone, cases, clock):
    """From the link to the gate's answer, which comes by itself; then the link is withdrawn."""
    secret, event = write_link(cases / "bus", LinkWish(clock() + DAY, "Ms Reader, bus 3"), clock())
    phone.goto(f"{server}/send/{secret}")
    look_at(phone, "link")
    phone.click("#next-step")
    phone.wait_for_selector("#recorder:not([hidden])")
    look_at(phone, "step")
    phone.fill("#rpm", "800")
    phone.click("#record")
    phone.wait_for_selector("#seconds:has-text('4 of')")
    look_at(phone, "recording")
    phone.click("#record")
    phone.wait_for_selector("text=Receipt")
    phone.wait_for_selector("#now .lead")
    said = phone.inner_text("#now .lead")
    assert re.search(r"\b[4-6] s at (79|80)\d rpm", said)
    look_at(phone, "receipt")
    phone.reload()
    assert phone.inner_text("#now .lead") == said  # a reload loses nothing
    phone.click("text=See all recordings")
    assert "page recording" in phone.inner_text("#now .cards")
    look_at(phone, "arrived")
    assert phone.said == []
    write_withdrawn(cases / "bus", event.id, "", clock())
    phone.wait_for_selector("text=This link was withdrawn")
    look_at(phone, "withdrawn")


def test_an_open_page_closes_when_its_link_ends(server, phone, cases, clock):
    """By the clock the page goes by, which is set ahead; nobody waits a day."""
    secret, _ = write_link(cases / "bus", LinkWish(clock() + DAY), clock())
    phone.goto(f"{server}/send/{secret}")
    phone.wait_for_selector("#next-step")
    clock.ahead = DAY - timedelta(minutes=1)
    phone.reload()
    phone.wait_for_selector("#next-step")
    clock.ahead = DAY
    phone.wait_for_selector("text=This link has ended")
    assert phone.goto(f"{server}/send/{secret}/step/0").status == 410


def test_the_advisers_pages_are_sound_at_both_sizes(server, phone, cases, clock):
    """The list of links, a link just made, an opinion written and released."""
    phone.goto(server)
    phone.fill("#code", "abcdef")
    phone.click("button.main")
    phone.goto(f"{server}/case/bus/links")
    phone.fill("#label", "Ms Reader, bus 3")
    phone.click("button.main")
    assert "/send/" in phone.input_value("#address")
    look_at_both(phone, "link-made")
    phone.goto(f"{server}/case/bus/links")
    look_at_both(phone, "links")
    phone.goto(f"{server}/case/bus/opinion")
    phone.fill("#text", "The idler.")
    phone.fill("#by", "Ada")
    phone.click("button.main")
    phone.click("text=Show it to them")
    phone.wait_for_selector("text=is shown opinion number")
    look_at_both(phone, "opinion")
    phone.goto(f"{server}/mail")
    look_at_both(phone, "mail")
    assert phone.said == []


def look_at_both(page, name):
    """Look at the page as wide as a phone and as a desk."""
    for width in (380, 1280):
        page.set_viewport_size({"width": width, "height": 800})
        look_at(page, name)
