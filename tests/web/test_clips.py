"""Recordings sent to a case: kept at once, looked over, told of; damaged and hostile ones too."""

import json
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest
from starlette.testclient import TestClient

from acoustic.casework.case_folder import read_case
from acoustic.casework.case_writes import write_recording
from acoustic.recording.taken import Taken
from acoustic.web.application import make_app
from acoustic.web.settings import Limits, PageSettings
from acoustic.web.uploads import processing_of
from acoustic.web.waiting import ClipAsked, read_refused, read_waiting, write_done, write_waiting

FORMATS = Path(__file__).resolve().parents[1] / "recording" / "formats"


@pytest.fixture
def send(visitor, token):
    """Give a function that sends a clip by the form of a step."""

    def sent(content, name="clip.opus", follow=True, **told):
        told = {"point": "front", "contact": "no", "loads": "none", "stage": "before", **told}
        return visitor.post(
            "/case/bus/clips",
            data={"form_token": token, **told},
            files={"clip": (name, content)},
            follow_redirects=follow,
        )

    return sent


@pytest.fixture
def gated(visitor, wait_until):
    """Give a function that waits for the gate's answer on a clip's page."""

    def wait(address):
        def asked():
            page = visitor.get(address).text
            return None if "being looked over" in page else page

        return wait_until(asked)

    return wait


def test_a_clip_is_kept_before_it_is_acknowledged(send, cases):
    """The answer leads to its own page; by then it is on the disk."""
    answer = send(b"not looked at yet", name="../../idler.m4a", follow=False)
    assert answer.status_code == 303
    number = answer.headers["location"].rsplit("/", 1)[1]
    there = [one.id for one in (*read_waiting(cases / "bus"), *read_refused(cases / "bus"))]
    assert there == [number]


def test_a_clip_taken_in_while_a_page_is_made_is_never_missing(visitor, sample, cases, monkeypatch):
    """It goes from the waiting ones into the case just as the page looks at those."""
    bus, now = cases / "bus", datetime.now(UTC)
    with sample("front_800rpm.opus").open("rb") as sound:
        clip = write_waiting(bus, sound, ClipAsked("front_800rpm.opus", Taken(rpm=800.0), now))

    def taken_in_now(folder):
        write_recording(folder, clip.path, clip.asked.taken, now)
        write_done(clip)
        return read_waiting(folder)

    monkeypatch.setattr("acoustic.web.case_view.read_waiting", taken_in_now)
    page = visitor.get(f"/case/bus/clip/{clip.id}")
    assert page.status_code == 200
    assert "front_800rpm.opus" in page.text


def test_a_usable_clip_goes_into_the_case_and_is_screened(send, gated, sample, cases, wait_until):
    """Told of as the command does, ticked off in the plan, and a ranking comes by itself."""
    content = sample("front_800rpm.opus").read_bytes()
    answer = send(content, "front_800rpm.opus", rpm="800", device="workshop phone")
    page = gated(answer.url.path)
    assert "Usable: 20 s at 800 rpm." in page
    assert "Answers step 2 of the plan" in page
    (one,) = read_case(cases / "bus").recordings
    assert one.added.original == "front_800rpm.opus"
    assert (one.taken.rpm, one.taken.device) == (800.0, "workshop phone")
    headline = wait_until(lambda: read_case(cases / "bus").events[1:])[0].data.headline
    assert "guide idler" in headline


@pytest.mark.parametrize(
    ("settings", "words"),
    [
        ({"noiseSuppression": True}, "noise suppression was on"),
        ({"echoCancellation": "all", "autoGainControl": True},
         "echo cancelling and automatic gain were on"),
    ],
)  # fmt: skip
def test_a_clip_the_browser_changed_ends_as_unfit(send, gated, sample, cases, settings, words):
    """However good it sounds: what the browser took away nobody can tell."""
    content = sample("front_800rpm.opus").read_bytes()
    answer = send(content, "a.opus", settings=json.dumps(settings))
    page = gated(answer.url.path)
    assert "Not usable" in page
    assert words in page
    (one,) = read_case(cases / "bus").recordings
    assert not one.added.gate.usable


def test_a_clip_suppressed_without_saying_so_ends_as_unfit_too(send, gated, cases):
    """Real output of a browser with noise suppression on, its settings not sent along."""
    name = "webm_chromium_noise_suppression_on.webm"
    answer = send((FORMATS / name).read_bytes(), name)
    assert "Not usable" in gated(answer.url.path)
    assert not read_case(cases / "bus").recordings[0].added.gate.usable


@pytest.mark.parametrize(
    "settings", ["", "[]", "null", "{", '{"noiseSuppression": false}', "[" * 3000, '"x"']
)
def test_settings_that_say_nothing_are_no_trouble(settings):
    """An older browser sends none, a stranger anything."""
    assert processing_of(settings) == ()


@pytest.mark.parametrize(
    ("told", "words"),
    [
        ({"point": "flux pump"}, "is no part of this layout"),
        ({"rpm": "fast"}, "give turns of the crankshaft a minute"),
        ({"rpm": "1e9"}, "give turns of the crankshaft a minute"),
        ({"rpm": "nan"}, "give turns of the crankshaft a minute"),
        ({"loads": "warp"}, "is no load known here"),
        ({"stage": "during"}, "before or after the repair"),
        ({"switched_off": "-3"}, "give the second of the recording"),
    ],
)
def test_a_field_that_cannot_be_keeps_nothing(send, cases, told, words):
    """The sentence says what to give instead."""
    answer = send(b"sound", **told)
    assert answer.status_code == 400
    assert words in answer.text
    assert read_waiting(cases / "bus") == ()


def test_a_name_tells_how_a_clip_was_taken_or_it_is_asked(
    visitor, token, cases, sample, wait_until
):
    """As for the command: what it leaves open is asked for, and nothing is kept meanwhile."""
    content = sample("guide-idler_800rpm_contact.opus").read_bytes()

    def send_named(*names):
        return visitor.post(
            "/case/bus/clips",
            data={"form_token": token, "by_name": "yes"},
            files=[("clip", (name, content)) for name in names],
        )

    asked = send_named("guide idler contact 800.opus")
    assert asked.status_code == 400
    assert "Is &#39;800&#39; a speed?" in asked.text
    assert "--" not in asked.text.split("<main")[1].split("</main")[0]
    assert read_waiting(cases / "bus") == ()
    assert send_named("guide idler_800rpm_contact_take3.opus").status_code == 200
    (one,) = wait_until(lambda: read_case(cases / "bus").recordings)
    taken = one.taken
    assert (taken.point, taken.rpm, taken.contact, taken.take) == ("guide idler", 800.0, True, 3)


def test_no_file_at_all_is_told(visitor, token):
    """Somebody pressed the button too early."""
    answer = visitor.post("/case/bus/clips", data={"form_token": token, "point": "front"})
    assert answer.status_code == 400
    assert "No recording was chosen" in answer.text


def test_damaged_and_hostile_clips_are_refused_with_a_sentence(
    send, cases, shared_format, wait_until, visitor
):
    """None is taken for sound, none stops the next one; what is whole behind them comes in."""
    names = ["zero_length.wav", "concat_named.wav", "playlist_named.m4a", "text_named.m4a",
             "wav_rate_0.wav", "wav_channels_65535.wav", "random_8k.ogg",
             "header_only.wav"]  # fmt: skip
    for name in names:
        content = shared_format(f"damaged/{name}").read_bytes()
        assert send(content, name).status_code == (200 if content else 400)
    wait_until(lambda: not read_waiting(cases / "bus"))
    refused = {one.original: one.why for one in read_refused(cases / "bus")}
    assert set(refused) == set(names[1:])
    assert read_case(cases / "bus").recordings == ()
    for why in refused.values():
        assert why.endswith((".", ")"))
        assert str(cases) not in why
    page = visitor.get("/case/bus").text
    assert all(name in page for name in refused)


def test_too_long_a_stream_is_refused_at_the_cap(cases, token_on):
    """413 while it comes; nothing of it stays."""
    limits = Limits(clip_bytes=3_000_000)
    with TestClient(
        make_app(PageSettings(cases, limits=limits)), base_url="http://localhost"
    ) as client:
        token = token_on(client.get("/"))
        answer = client.post(
            "/case/bus/clips",
            data={"form_token": token, "point": "front"},
            files={"clip": ("long.wav", b"\0" * 3_100_000)},
        )
        assert answer.status_code == 413
        assert "Record for a shorter time" in answer.text
    assert read_waiting(cases / "bus") == ()


def test_a_name_that_is_a_tag_is_shown_as_text(send, gated, sample, visitor, wait_until, cases):
    """In the list, on its own page and in the history."""
    content = sample("front_800rpm.opus").read_bytes()
    name = "'\"&amp;onerror=alert(1) 800rpm.opus"
    page = gated(send(content, name, stage="healthy", device="<script>alert(2)</script>").url.path)
    page += visitor.get("/case/bus").text
    assert "<script>alert(2)" not in page
    assert "&lt;script&gt;alert(2)" in page
    assert '"&amp;onerror' not in page


def test_a_clip_is_heard_again_as_it_was_sent(send, gated, sample, visitor, cases):
    """The very bytes, as sound and nothing else."""
    content = sample("front_800rpm.opus").read_bytes()
    address = send(content, "a.opus", stage="healthy").url.path
    gated(address)
    sound = visitor.get(f"{address}/sound")
    assert sound.content == content
    assert sound.headers["content-type"] == "audio/ogg"


def test_many_clips_at_once_are_all_kept(visitor, token, short_clips, cases, wait_until):
    """Twelve from as many hands: each is answered, kept and taken in once."""
    clips = list(short_clips(12))

    def send_one(number):
        return visitor.post(
            "/case/bus/clips",
            data={"form_token": token, "point": "front", "rpm": "800", "stage": "healthy"},
            files={"clip": (f"take {number}.wav", clips[number])},
            follow_redirects=False,
        ).status_code

    with ThreadPoolExecutor(12) as pool:
        assert set(pool.map(send_one, range(12))) == {303}
    wait_until(lambda: not read_waiting(cases / "bus"))
    takes = [one.taken.take for one in read_case(cases / "bus").recordings]
    assert sorted(takes) == list(range(1, 13))
