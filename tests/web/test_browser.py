"""The page in a real browser, at phone and desk size: record, send, watch, resume, report.

Chromium plays a sample clip as its microphone. Skipped where there is no Chromium.
"""

import re
import shutil
import socket
import threading
import time

import pytest
import soundfile

pytest.importorskip("playwright", reason="comes with the test extra")
pytest.importorskip("axe_playwright_python", reason="comes with the test extra")

import uvicorn
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import sync_playwright

from acoustic.casework.case_folder import read_case
from acoustic.cli import main
from acoustic.web.application import make_app
from acoustic.web.certificate import write_certificate
from acoustic.web.settings import PageSettings

CHROMIUM = shutil.which("chromium")
pytestmark = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium here to try the page in")
PHONE, DESK = {"width": 380, "height": 760}, {"width": 1280, "height": 800}
CODE = "ABCD-EFGH"
FLAGS = [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run",
    "--disable-background-networking", "--disable-component-update", "--disable-sync",
    "--use-fake-device-for-media-stream", "--use-fake-ui-for-media-stream",
    "--host-resolver-rules=MAP workshop.example 127.0.0.1",
]  # fmt: skip
PATIENCE_MS = 300_000
"""What takes long is done at low priority, so it waits for whatever else is run here."""

PLAYERS = "[...document.querySelectorAll('.pair audio')]"
HARMLESS = (
    "Failed to load resource",  # of a page that is asked for and not there
    "The Cross-Origin-Opener-Policy header has been ignored",  # as it is without encryption
)


def put_up(settings, **encrypted):
    """Serve the page in a thread until it is told to end; give the server, thread and port."""
    here = socket.socket()
    here.bind(("127.0.0.1", 0))
    server = uvicorn.Server(
        uvicorn.Config(
            make_app(settings), log_level="error", timeout_graceful_shutdown=1, **encrypted
        )
    )
    thread = threading.Thread(target=server.run, kwargs={"sockets": [here]}, daemon=True)
    thread.start()
    end = time.monotonic() + 60
    while not server.started:
        assert time.monotonic() < end
        time.sleep(0.05)
    return server, thread, here.getsockname()[1]


@pytest.fixture(scope="module")
def served(tmp_path_factory, start_case):
    """Give the folder of cases and the port of a page that is up."""
    root = tmp_path_factory.mktemp("cases")
    for name in ("bus", "record", "changed", "offline", "other"):
        start_case(root / name, title=f"Library bus, {name}", sounds_like=["growl"])
    hosts = frozenset({"localhost", "127.0.0.1", "workshop.example"})
    server, thread, port = put_up(PageSettings(root, hosts))
    yield root, port
    server.should_exit = True
    thread.join(20)


@pytest.fixture(scope="module")
def browser(tmp_path_factory, sample):
    """Give one browser for the module, whose microphone hears the sample."""
    heard = tmp_path_factory.mktemp("microphone") / "heard.wav"
    samples, rate_hz = soundfile.read(sample("front_800rpm.opus"), dtype="float32")
    soundfile.write(heard, samples, rate_hz, subtype="PCM_16")
    with sync_playwright() as player:
        flags = [*FLAGS, f"--use-file-for-fake-audio-capture={heard}"]
        browser = player.chromium.launch(executable_path=CHROMIUM, args=flags)
        yield browser
        browser.close()


@pytest.fixture(params=[PHONE, DESK], ids=["phone", "desk"])
def sized(request, browser):
    """Give a fresh page of either size."""
    yield from fresh_page(browser, request.param)


@pytest.fixture
def page(browser):
    """Give a fresh page of the size of a phone."""
    yield from fresh_page(browser, PHONE)


def fresh_page(browser, size):
    """Open a page that fails the test on any trouble its console tells of."""
    context = browser.new_context(viewport=size)
    context.set_default_timeout(PATIENCE_MS)
    page = context.new_page()
    said = []
    page.on("console", lambda one: said.append(one.text) if one.type == "error" else None)
    page.on("pageerror", lambda one: said.append(str(one)))
    yield page
    context.close()
    unwanted = [one for one in said if not one.startswith(HARMLESS)]
    assert unwanted == []


def at(served, path):
    """Address of a page."""
    return f"http://localhost:{served[1]}{path}"


def record(page, seconds, keyboard=False):
    """Record so long by the button of the page."""
    button = page.locator("#record")
    if keyboard:
        button.focus()
        page.keyboard.press("Enter")
    else:
        button.click()
    page.locator("#recording").wait_for(state="visible")
    page.wait_for_timeout(1000 * seconds)
    button.click()


def test_recorded_in_the_page_it_is_looked_over_and_ranked_by_itself(served, page):
    """By keyboard; noise suppression and the like are off, and no reload is needed anywhere."""
    page.goto(at(served, "/case/record"))
    page.locator("#next-step").focus()
    page.keyboard.press("Enter")
    page.wait_for_url("**/step/*")
    assert page.locator("#no-recorder").is_hidden()
    record(page, 4, keyboard=True)
    page.wait_for_url("**/clip/*")
    page.get_by_text(re.compile(r"Usable.*rpm")).wait_for()
    (one,) = read_case(served[0] / "record").recordings
    assert one.added.original.endswith(".webm")
    assert one.added.gate.usable
    assert one.added.gate.rpm == pytest.approx(800, rel=0.02)  # the sample's own speed
    page.goto(at(served, "/case/record"))
    page.locator("table.ranking").wait_for()
    assert "guide idler" in page.locator("table.ranking").inner_text()


def test_a_browser_that_changes_the_sound_is_found_out(served, browser):
    """It says so in the track's settings though asked not to: the clip ends as unfit."""
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(PATIENCE_MS)
    context.add_init_script(
        "const own = MediaStreamTrack.prototype.getSettings;"
        "MediaStreamTrack.prototype.getSettings = function () {"
        " return { ...own.call(this), noiseSuppression: true }; };"
    )
    page = context.new_page()
    page.goto(at(served, "/case/changed/step/2"))
    record(page, 2.5)
    page.wait_for_url("**/clip/*")
    page.get_by_text("noise suppression was on").wait_for()
    (one,) = read_case(served[0] / "changed").recordings
    assert not one.added.gate.usable
    context.close()


def test_what_the_browser_is_asked_for_is_off(served, browser):
    """The very wishes, as the browser gets them."""
    context = browser.new_context(viewport=PHONE)
    context.add_init_script(
        "const ask = navigator.mediaDevices?.getUserMedia.bind(navigator.mediaDevices);"
        "if (ask) navigator.mediaDevices.getUserMedia = (wish) => {"
        " window.wished = wish; return ask(wish); };"
    )
    page = context.new_page()
    page.goto(at(served, "/case/other/step/2"))
    page.locator("#record").click()
    page.locator("#recording").wait_for(state="visible")
    assert page.evaluate("window.wished") == {
        "audio": {"echoCancellation": False, "noiseSuppression": False, "autoGainControl": False}
    }
    context.close()


def test_a_file_is_sent_and_a_reload_resumes(served, sized, sample):
    """Its page is the same after a reload, in whatever state it is."""
    sized.goto(at(served, "/case/bus/step/2"))
    sized.get_by_text("Send a file").click()
    sized.locator("#clip").set_input_files(sample("front_800rpm.opus"))
    sized.locator("#send-file").click()
    sized.wait_for_url("**/clip/*")
    sized.reload()
    sized.get_by_text("Usable: 20 s at").wait_for()
    sized.reload()
    assert sized.get_by_text("Usable: 20 s at").is_visible()


def test_a_lost_connection_is_made_up_for(served, page, sample):
    """Not acknowledged, it stays in the page and goes again by itself."""
    page.goto(at(served, "/case/offline/step/2"))
    page.locator("#clip").set_input_files(sample("front_1700rpm.opus"))
    page.context.set_offline(True)
    page.get_by_text("Send a file").click()
    page.locator("#send-file").click()
    page.get_by_text("No connection").wait_for()
    assert page.get_by_role("link", name="Keep a copy").is_visible()
    assert read_case(served[0] / "offline").recordings == ()
    page.context.set_offline(False)
    page.wait_for_url("**/clip/*")


def test_without_an_encrypted_address_the_phone_records(served, page):
    """The page says so, and its file input opens the phone's own recorder."""
    page.goto(f"http://workshop.example:{served[1]}/case/other/step/2")
    assert not page.evaluate("window.isSecureContext")
    assert page.locator("#recorder").is_hidden()
    assert "Use the phone's own recorder" in page.locator("#no-recorder").inner_text()
    now = page.locator("#clip-now")
    assert now.is_visible()
    assert now.get_attribute("capture") is not None
    assert now.get_attribute("accept") == "audio/*,video/*"


def test_a_form_filled_in_wrongly_is_shown_again(served, sized):
    """With the trouble first, and what was typed."""
    sized.goto(at(served, "/new"))
    sized.get_by_label("Title to know it by").fill("Library bus 9")
    sized.get_by_role("button", name="Start the case").click()
    assert "Choose the layout" in sized.get_by_role("alert").inner_text()
    assert sized.get_by_label("Title to know it by").input_value() == "Library bus 9"


def test_the_report_is_made_and_opens_with_its_styles(served, page, start_case, sample):
    """Its policy lets its own styles hold; nothing is fetched from anywhere."""
    folder = start_case(served[0] / "report")  # never screened before
    assert main(["case", "add", str(folder), str(sample("front_800rpm.opus"))]) == 0
    fetched = []
    page.on("request", lambda one: fetched.append(one.url))
    page.goto(at(served, "/case/report"))
    page.locator("#make-report").click()
    page.locator("#open-report").click()
    page.wait_for_url("**/report")
    assert "Noise report" in page.locator("h1").inner_text()
    ink = page.evaluate("getComputedStyle(document.body).color")
    assert ink == "rgb(26, 26, 26)"  # the ink of the report, not the browser's black
    assert all(f"localhost:{served[1]}" in url or url.startswith("data:") for url in fetched)


@pytest.fixture(scope="module")
def heard(served, start_case, sample):
    """Give the address to listen to a recording before the repair that has one after it."""
    folder = start_case(served[0] / "heard")
    for name, stage in (("front_800rpm", []), ("front_800rpm_after", ["--after"])):
        samples, rate_hz = soundfile.read(sample(f"{name}.opus"), dtype="float32")
        clip = served[0].parent / f"{name}_heard.wav"
        soundfile.write(clip, samples[: 6 * rate_hz], rate_hz, subtype="PCM_16")
        assert main(["case", "add", str(folder), *stage, str(clip)]) == 0
    return at(served, "/case/heard/hear")


def test_a_part_is_heard_and_before_switched_to_after(heard, page, wait_until):
    """The sounds come without a reload; one plays at a time, and the switch keeps the second."""
    page.goto(heard)
    page.locator("#part").select_option("guide idler")
    page.locator("#ask-part").click()
    page.get_by_text("MADE, not recorded: such a fault of guide idler").wait_for()
    look_for_barriers(page)
    page.locator("#ask-pair").click()
    switch = page.locator("#switch")
    switch.click()
    wait_until(lambda: page.evaluate(f"{PLAYERS}[0].currentTime > 0.5"))
    switch.click()
    wait_until(lambda: page.evaluate(f"{PLAYERS}[1].played.length && !{PLAYERS}[1].paused"))
    assert page.evaluate(f"{PLAYERS}[0].paused")
    before_s, after_s = page.evaluate(f"{PLAYERS}.map((one) => one.currentTime)")
    assert after_s == pytest.approx(before_s, abs=0.4)
    assert page.get_by_text("You hear after.").is_visible()
    assert page.evaluate(f"{PLAYERS}[1].played.start(0)") > 0.4  # never from its beginning
    length_s = page.evaluate(f"{PLAYERS}.map((one) => one.duration || 0)")
    assert length_s[:2] == pytest.approx([6.0, 6.0], abs=0.2)
    look_for_barriers(page)


def test_the_scanned_code_is_filled_in(tmp_path, page, start_case):
    """It comes behind the #, which no server sees, and is gone from the address at once."""
    start_case(tmp_path / "bus")
    server, thread, port = put_up(PageSettings(tmp_path, access_code=CODE))
    page.goto(f"http://localhost:{port}/enter#{CODE}")
    assert page.get_by_label("Code").input_value() == CODE
    assert "#" not in page.url
    page.get_by_role("button", name="Come in").click()
    assert page.get_by_role("link", name="Library bus").is_visible()
    server.should_exit = True
    thread.join(20)


def test_with_a_certificate_of_its_own_the_page_records(tmp_path, browser, start_case):
    """Under a name that is not this machine's own, as a phone reaches it."""
    start_case(tmp_path / "bus")
    made = write_certificate(tmp_path / "state", ["workshop.example"])
    settings = PageSettings(tmp_path, frozenset({"workshop.example"}), secure=True)
    server, thread, port = put_up(settings, ssl_certfile=made.file, ssl_keyfile=made.key_file)
    context = browser.new_context(viewport=PHONE, ignore_https_errors=True)
    page = context.new_page()
    page.goto(f"https://workshop.example:{port}/case/bus/step/2")
    assert page.evaluate("window.isSecureContext")
    assert page.locator("#record").is_visible()
    assert page.locator("#no-recorder").is_hidden()
    context.close()
    server.should_exit = True
    thread.join(20)


def test_signed_out_in_the_middle_a_recording_is_not_lost(tmp_path, browser, start_case, sample):
    """It stays in the page until the code is given again in another tab, then it goes."""
    start_case(tmp_path / "bus")
    server, thread, port = put_up(PageSettings(tmp_path, access_code=CODE))
    context = browser.new_context(viewport=PHONE)
    context.set_default_timeout(PATIENCE_MS)
    page, other = context.new_page(), context.new_page()
    for one in (page, other):
        one.goto(f"http://localhost:{port}/enter#{CODE}")
        if one is page:
            one.get_by_role("button", name="Come in").click()
    page.goto(f"http://localhost:{port}/case/bus/step/2")
    page.get_by_text("Send a file").click()
    page.locator("#clip").set_input_files(sample("front_800rpm.opus"))
    other.get_by_role("button", name="Sign out").click()
    page.locator("#send-file").click()
    page.get_by_text("access code is asked for again").wait_for()
    other.get_by_label("Code").fill(CODE)
    other.get_by_role("button", name="Come in").click()
    page.wait_for_url("**/clip/*")
    context.close()
    server.should_exit = True
    thread.join(20)


@pytest.mark.parametrize(
    "path",
    ["/", "/new", "/case/bus", "/case/bus/step/1", "/case/bus/step/2", "/case/bus/other",
     "/case/bus/checks", "/case/bus/found", "/address", "/nowhere"],
)  # fmt: skip
def test_no_page_has_a_serious_barrier(served, page, path):
    """By axe-core: names, roles, contrast, landmarks; all fits the screen and the thumb."""
    page.goto(at(served, path))
    for size in (PHONE, DESK):
        page.set_viewport_size(size)
        look_for_barriers(page)


def look_for_barriers(page):
    """Fail on what axe-core finds serious, what is wider than the screen, what is too small."""
    found = Axe().run(page).response["violations"]
    grave = [
        (one["id"], one["impact"], [node["html"][:120] for node in one["nodes"]])
        for one in found
        if one["impact"] in {"serious", "critical"}
    ]
    assert grave == []
    wide = page.evaluate("document.documentElement.scrollWidth - innerWidth")
    assert wide <= 0
    small = page.evaluate(
        "[...document.querySelectorAll("
        "'button, .button, input:not([type=hidden]), select, summary')]"
        ".filter((one) => one.offsetParent && !['checkbox', 'radio'].includes(one.type)"
        " && one.getBoundingClientRect().height < 44).map((one) => one.outerHTML.slice(0, 80))"
    )
    assert small == []
