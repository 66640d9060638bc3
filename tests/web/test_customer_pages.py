"""A customer's link: what it takes, what it shows, and all that it does not."""

import re
from datetime import UTC, datetime, timedelta

import anyio
import pytest
from starlette.testclient import TestClient

from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_event, write_recording, write_screening
from acoustic.casework.customer_links import (
    LinkWish,
    write_link,
    write_shown_answer,
    write_withdrawn,
)
from acoustic.casework.history import GateAnswer, Note, Opinion, ScreeningMade, TakenBack
from acoustic.recording.taken import Taken
from acoustic.web.application import make_app
from acoustic.web.settings import Limits, PageSettings
from acoustic.web.waiting import read_waiting, write_done

HOME = "http://localhost"
NOW = datetime(2026, 11, 25, 9, 30, tzinfo=UTC)
DAY = timedelta(days=1)
SECRETS = ("Library bus", "squeals since the frost", "a note of ours", "The idler it is")
"""What the customer must not see of the case: title, complaint, notes, what is believed."""


class Clock:
    """A clock that stands until it is set."""

    now = NOW

    def __call__(self):
        """Give the time it stands at."""
        return self.now


@pytest.fixture
def clock():
    """Give a clock that the page goes by."""
    return Clock()


@pytest.fixture
def bus(cases):
    """Give the folder of a case in which much has happened already."""
    folder = cases / "bus"
    text = (folder / "case.toml").read_text()
    (folder / "case.toml").write_text(text.replace('complaint = ""', f'complaint = "{SECRETS[1]}"'))
    clip = cases.parent / "workshop's own.wav"
    clip.write_bytes(b"RIFF" + b"a" * 500)
    write_recording(folder, clip, Taken("alternator"), NOW, GateAnswer(True, ("Usable.",)))
    write_screening(folder, '{"belief": null}', ScreeningMade("suspects", SECRETS[3]), NOW)
    write_event(folder, Note(SECRETS[2]), NOW)
    return folder


@pytest.fixture
def page(cases, clock):
    """Give a stranger without the access code; the work behind the page stands still."""
    settings = PageSettings(cases, access_code="ABCDEF", clock=clock)
    return TestClient(make_app(settings), base_url=HOME)


@pytest.fixture
def link(bus):
    """Give the path of a link that holds a day."""
    secret, event = write_link(bus, LinkWish(NOW + DAY, "Ms Reader, bus 3"), NOW)
    assert event.id == 4
    return f"/send/{secret}"


def token_of(page, link):
    """Give the form token of a visitor."""
    return re.search(r'name="form-token" content="(\w+)"', page.get(link).text)[1]


def send(page, link, name="idle.m4a", content=b"sound", **fields):
    """Send a recording as the form of a step does."""
    data = {"form_token": token_of(page, link), "number": "0", **fields}
    return page.post(f"{link}/clips", data=data, files={"clip": (name, content)})


def pages_of(page, link):
    """Every page that a link leads to, by following what they name."""
    seen, left = {}, [link]
    while left:
        path = left.pop()
        answer = page.get(path)
        assert answer.status_code == 200, path
        seen[path] = answer.text
        names = re.findall(r'(?:href|data-now)="(/[^"#]*)"', answer.text)
        left += [name for name in names if name not in seen and "/static/" not in name]
    return seen


def test_the_customer_is_told_what_to_record_with_its_cautions(page, link):
    """In the order of the plan, in front of the drive alone, cautions on each."""
    first = page.get(link)
    assert first.status_code == 200
    assert "<h1>Ms Reader, bus 3</h1>" in first.text
    steps = re.findall(rf'href="({link}/step/[1-9]\d*)">([^<]+)</a>\n', first.text)
    assert len(steps) >= 3
    assert all(title.startswith("Record") for _, title in steps)
    assert not any("Record at" in title for _, title in steps)
    for path, _ in steps:
        text = page.get(path).text
        caution = text.index("Parking brake on")
        assert caution < text.index('id="send-file"')  # before the button, not after it
        assert "Exhaust gas kills" in text


def test_a_technician_is_asked_for_more(page, bus):
    """Only by a link that says so."""
    secret, _ = write_link(bus, LinkWish(NOW + DAY, at_parts=True), NOW)
    text = page.get(f"/send/{secret}").text
    assert "Record at" in text


def test_no_page_of_a_link_shows_anything_of_the_case(page, link, bus):
    """Neither title nor complaint, note, answer, others' recordings, nor a way to them."""
    send(page, link)
    write_event(bus, Opinion("Ada", "unreleased words"), NOW)
    seen = pages_of(page, link)
    assert len(seen) >= 7
    for path, text in seen.items():
        for word in (*SECRETS, "unreleased words", "Sign out", "All cases"):
            assert word not in text, (path, word)
        assert "workshop&#39;s own.wav" not in text
        assert set(re.findall(r'(?:href|action|src)="(/\w+)', text)) <= {"/send", "/static"}, path


def test_a_link_is_no_way_to_the_cases(page, link):
    """The door stays shut to whoever has one."""
    page.get(link)
    for path in ("/", "/case/bus", "/case/bus/links", "/case/bus/report", "/case/bus/events"):
        answer = page.get(path, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/enter"), path


def test_what_arrives_is_on_the_disk_before_it_is_acknowledged(page, link, bus):
    """The receipt tells name, size and digest; the case waits to look it over."""
    answer = send(page, link, "engine.m4a", b"a sound")
    assert answer.status_code == 200
    assert "It has arrived and is kept." in answer.text
    assert "engine.m4a" in answer.text
    assert "7 bytes" in answer.text
    # sha256sum of "a sound", by coreutils
    assert "<code>a0bb 50da 9aa2 62d1</code>" in answer.text
    kept = list((bus / ".page" / "waiting").glob("*/engine.m4a"))
    assert [path.read_bytes() for path in kept] == [b"a sound"]
    (lines,) = (bus / "links").glob("*.jsonl")
    assert lines.read_text().count("\n") == 1


def test_what_the_gate_says_comes_into_the_receipt(page, link, bus):
    """Usable and unfit in its words; an unfit one is asked for again."""
    first = send(page, link, "a.m4a", b"RIFF one", number="2").url.path
    second = send(page, link, "b.m4a", b"RIFF two", number="3").url.path
    for name, content, gate in (
        ("a.m4a", b"RIFF one", GateAnswer(True, ("Usable: 20 s at 800 rpm.",))),
        ("b.m4a", b"RIFF two", GateAnswer(False, ("Not usable.",), ("Record longer.",))),
    ):
        clip = bus.parent.parent / name
        clip.write_bytes(content)
        write_recording(bus, clip, Taken(), NOW, gate)
    good, bad = page.get(first).text, page.get(second).text
    assert "✓ Usable: 20 s at 800 rpm." in good
    assert "cannot be used" in bad
    assert "<li>Record longer.</li>" in bad
    assert f'href="{link}/step/3">Record it again' in bad
    overview = page.get(link).text
    assert overview.count("✓ arrived, usable") == 1


def test_a_recording_taken_in_while_its_receipt_is_shown_is_told(page, link, bus, monkeypatch):
    """It goes from the waiting ones into the case just as the page looks at those."""
    receipt = send(page, link, "a.m4a", b"RIFF one").url.path
    (clip,) = read_waiting(bus)

    def taken_in_now(folder):
        gate = GateAnswer(True, ("Usable: 20 s at 800 rpm.",))
        write_recording(folder, clip.path, clip.asked.taken, NOW, gate)
        write_done(clip)
        return read_waiting(folder)

    monkeypatch.setattr("acoustic.web.customer_view.read_waiting", taken_in_now)
    assert "✓ Usable: 20 s at 800 rpm." in page.get(receipt).text


def test_the_same_recording_twice_is_received_once(page, link):
    """As when the first answer was lost on the way."""
    first, second = send(page, link), send(page, link, "again.m4a")
    assert first.url == second.url
    assert "again.m4a" not in second.text


@pytest.mark.parametrize("field", ["stage", "point", "contact", "loads"])
def test_a_form_cannot_tell_what_the_link_does_not_ask(page, link, bus, field):
    """How it was taken follows from what was asked for, whatever is sent."""
    said = {"stage": "after", "point": "alternator", "contact": "yes", "loads": "steering"}
    assert send(page, link, **{field: said[field]}).status_code == 200
    (asked,) = (bus / ".page" / "waiting").glob("*/asked.json")
    assert f'"{said[field]}"' not in asked.read_text()


def test_speed_and_device_are_the_customers_to_tell(page, link, bus):
    """A speed that no engine has is answered with what to give."""
    send(page, link, rpm="812", device="a phone")
    (asked,) = (bus / ".page" / "waiting").glob("*/asked.json")
    assert '"rpm":812.0' in asked.read_text().replace(" ", "")
    wrong = send(page, link, content=b"other", rpm="fast")
    assert wrong.status_code == 400
    assert "turns of the crankshaft" in wrong.text


def test_nothing_chosen_and_nothing_in_it_is_told(page, link):
    """An empty form, an empty file, a step that is not asked for."""
    data = {"form_token": token_of(page, link), "number": "0"}
    assert page.post(f"{link}/clips", data=data).status_code == 400
    assert "0 bytes" in send(page, link, content=b"").text
    assert send(page, link, number="77").status_code == 404
    assert send(page, link, number="../1").status_code == 404


def test_a_link_ends_to_the_second(page, link, clock, bus):
    """Until then it opens; from then on every address of it says so, and takes nothing."""
    clock.now = NOW + DAY - timedelta(seconds=1)
    assert send(page, link).status_code == 200
    token = token_of(page, link)
    clock.now = NOW + DAY
    assert_closed(page, link, token, "has ended")
    assert len(list((bus / ".page" / "waiting").glob("*/asked.json"))) == 1


def test_a_withdrawn_link_is_closed_at_the_next_request(page, link, bus):
    """Without a restart, also to whoever has its page open."""
    token = token_of(page, link)
    write_withdrawn(bus, 4, "", NOW)
    assert_closed(page, link, token, "was withdrawn")
    assert not (bus / ".page").exists()


def assert_closed(page, link, token, said):
    """Every address of a link answers 410 with the reason and nothing of the case."""
    for path in ("", "/now", "/step/0", "/clip/0123456789abcdef", "/report", "/events"):
        answer = page.get(link + path)
        assert answer.status_code == 410, path
        assert said in answer.text
        assert "Ms Reader" not in answer.text
    data, files = {"form_token": token, "number": "0"}, {"clip": ("late.m4a", b"late")}
    assert page.post(f"{link}/clips", data=data, files=files).status_code == 410


@pytest.mark.parametrize("wrong", ["x", "A" * 43, "..%2f..%2fbus", "%00", "a" * 3000])
def test_a_guessed_link_opens_nothing(page, link, wrong):
    """One answer for all of them, which names no case."""
    answer = page.get(f"/send/{wrong}")
    assert answer.status_code == 404
    assert not any(word in answer.text for word in (*SECRETS, "Ms Reader", "bus"))


@pytest.mark.parametrize("secret", ["x", "A" * 43])
def test_without_a_link_nothing_of_a_recording_is_read(page, link, secret):
    """Not a byte of what a stranger sends is taken in before it is turned away."""
    sent, path = [], f"/send/{secret}/clips"
    scope = {
        "type": "http", "method": "POST", "path": path, "raw_path": path.encode(),
        "query_string": b"", "root_path": "", "scheme": "http", "client": ("192.0.2.1", 1),
        "server": ("localhost", 80), "headers": [
            (b"host", b"localhost"), (b"content-length", b"100000000"),
            (b"content-type", b"multipart/form-data; boundary=x"),
        ],
    }  # fmt: skip

    async def receive():
        raise AssertionError("the body was asked for")

    async def answer(message):
        sent.append(message)

    anyio.run(page.app, scope, receive, answer)
    assert sent[0]["status"] == 404


def test_a_form_without_its_token_is_refused(page, link, bus):
    """Also with the right link."""
    files = {"clip": ("a.m4a", b"a")}
    assert page.post(f"{link}/clips", data={"number": "0"}, files=files).status_code == 403
    assert not (bus / ".page").exists()


def test_a_recording_above_the_cap_is_refused_and_none_of_it_kept(cases, bus, link, clock):
    """413, by what comes, not by what is said."""
    limits = Limits(clip_bytes=10_000)
    page = TestClient(make_app(PageSettings(cases, limits=limits, clock=clock)), base_url=HOME)
    assert send(page, link, content=b"a" * 5_000).status_code == 200
    answer = send(page, link, content=b"b" * 20_000)
    assert answer.status_code == 413
    assert len(list((bus / ".page" / "waiting").glob("*/asked.json"))) == 1


def test_a_link_takes_only_so_many(page, link, monkeypatch):
    """Then it says where to get a new one."""
    monkeypatch.setattr("acoustic.casework.link_receipts.MOST_CLIPS", 1)
    assert send(page, link).status_code == 200
    answer = send(page, link, content=b"second")
    assert answer.status_code == 400
    assert "for a new one" in answer.text


def test_an_answer_is_seen_once_released_and_gone_once_hidden(page, link, bus, tmp_path):
    """Opinion first, then with the report under a policy of its own, then neither."""
    opinion = write_event(bus, Opinion("Ada", "Change the <idler>."), NOW)
    assert "Change the" not in page.get(link).text
    assert page.get(f"{link}/report").status_code == 404
    write_shown_answer(bus, 4, (opinion.id, None), "", NOW)
    assert "<p>Change the &lt;idler&gt;.</p>" in page.get(link).text
    assert page.get(f"{link}/report").status_code == 404
    report = tmp_path / "report.html"
    report.write_text("<!doctype html><style>p{}</style><p>Released</p>")
    shown = write_shown_answer(bus, 4, (opinion.id, report), "", NOW)
    report.write_text("<!doctype html>later")
    answer = page.get(f"{link}/report")
    assert "Released" in answer.text
    assert "script-src" not in answer.headers["content-security-policy"]
    assert "default-src 'none'" in answer.headers["content-security-policy"]
    write_event(bus, TakenBack(shown.id), NOW)
    assert page.get(f"{link}/report").status_code == 404
    write_event(bus, TakenBack(opinion.id), NOW)
    assert "Change the" not in page.get(link).text


def test_one_link_shows_nothing_of_another(page, link, bus):
    """Two customers of one case: neither sees what the other sent or was told."""
    secret, second = write_link(bus, LinkWish(NOW + DAY, "Mr Other"), NOW)
    clip = send(page, link, "mine.m4a").url.path.rsplit("/", 1)[1]
    opinion = write_event(bus, Opinion("Ada", "for you"), NOW)
    write_shown_answer(bus, second.id, (opinion.id, None), "", NOW)
    other = page.get(f"/send/{secret}").text
    assert "mine.m4a" not in other
    assert page.get(f"/send/{secret}/clip/{clip}").status_code == 404
    assert "for you" in other
    assert "for you" not in page.get(link).text


def test_trouble_on_the_disk_tells_no_place_on_the_machine(page, link, bus, cases):
    """The customer learns that it is not their mistake."""
    (bus / "layout.toml").write_text("damaged")
    answer = page.get(link)
    assert answer.status_code == 503
    assert str(cases) not in answer.text
    assert "not your mistake" in answer.text


def test_names_are_written_as_text(page, bus):
    """Whatever the adviser or the customer types."""
    secret, _ = write_link(bus, LinkWish(NOW + DAY, "<script>alert(1)</script>"), NOW)
    answer = send(page, f"/send/{secret}", "<img src=x onerror=alert(1)>.m4a")
    assert "<img src=x" not in answer.text
    assert "<script>alert" not in page.get(f"/send/{secret}").text
    assert read_case(bus).remarks == ()
