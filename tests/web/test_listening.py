"""Listening in the page: sounds made apart, kept beside the case, served so that players play."""

import html
import io
import re
import shutil

import av
import numpy as np
import pytest
import soundfile
from starlette.testclient import TestClient

from acoustic.casework.case_folder import read_case
from acoustic.errors import CaseError
from acoustic.output.case_sounds import CaseSound, CaseSounds, sounds_of_part
from acoustic.output.part_sounds import PartSound
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings
from acoustic.web.sound_sets import (
    SoundsAsked,
    part_asked,
    read_sound_set,
    read_sounds_asked,
    write_none_made,
    write_sound_set,
    write_sounds_asked,
)
from acoustic.web.waiting import clip_id

HOME = "http://localhost"
LSB = 2.0**-15
IDLER = "guide idler"  # the planted fault of the samples


@pytest.fixture(scope="module")
def bus(tmp_path_factory, start_case, sample):
    """Give the folder of a case with ten seconds before and after the repair, screened."""
    from acoustic.cli import main

    root = tmp_path_factory.mktemp("cases")
    folder = start_case(root / "bus")
    for name, stage in (("front_800rpm", []), ("front_800rpm_after", ["--after"])):
        samples, rate_hz = soundfile.read(sample(f"{name}.opus"), dtype="float32")
        clip = root.parent / f"{name}.wav"
        soundfile.write(clip, samples[: 10 * rate_hz], rate_hz, subtype="PCM_16")
        assert main(["case", "add", str(folder), *stage, str(clip)]) == 0
    assert main(["case", "screen", str(folder)]) == 0
    return folder


@pytest.fixture(scope="module")
def listener(bus):
    """Give somebody who listens."""
    with TestClient(make_app(PageSettings(bus.parent)), base_url=HOME) as client:
        yield client


@pytest.fixture(scope="module")
def listen_page(bus):
    """Give a function that finds the page to listen to the recording of a stage."""

    def found(stage):
        (one,) = [one for one in read_case(bus).recordings if one.taken.stage == stage]
        return f"/case/bus/clip/{clip_id(one.added.sha256)}/hear"

    return found


@pytest.fixture(scope="module")
def asked_for(listener, token_on, wait_until):
    """Give a function that asks for sounds by the form and gives the page that has them."""

    def ask(address, **told):
        token = token_on(listener.get(address))
        there = str(listener.post(address, data={"form_token": token, **told}).url)

        def come():
            page = listener.get(there)
            return None if "Making the sounds" in page.text else page

        return wait_until(come)

    return ask


@pytest.fixture(scope="module")
def idler(asked_for, listen_page):
    """Give the page with the sounds of the idler, out of the recording before."""
    return asked_for(listen_page("before"), part=IDLER)


@pytest.fixture(scope="module")
def pair(asked_for, listen_page):
    """Give the page with before and after, asked for at the recording before."""
    after = listen_page("after").split("/")[-2]
    return asked_for(listen_page("before"), other=after)


def players(page):
    """Titles and addresses of the sounds that were made, as a reader meets them."""
    pattern = r'<audio controls preload="none" src="([^"]*/sounds/[^"]*)" aria-label="([^"]*)">'
    return {html.unescape(title): address for address, title in re.findall(pattern, page.text)}


def read_sound(client, address):
    """Samples, rate and title of a sound, by a reader of its own."""
    answer = client.get(address)
    assert answer.headers["content-type"] == "audio/wav"
    with soundfile.SoundFile(io.BytesIO(answer.content)) as file:
        return file.read(dtype="float32"), file.samplerate, file.title


def test_a_recording_can_be_heard_before_anything_is_made(listener, listen_page):
    """As it came, in the browser's own player; nothing is fetched until it is played."""
    page = listener.get(listen_page("before")).text
    assert re.search(r'<audio controls preload="none" src="/case/bus/clip/\w+/sound"', page)
    assert "Turn the volume down first" in page
    assert "Headphones" in page
    assert "Nothing was asked for yet" in page
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", page)
    assert re.search(rf'<option value="{IDLER}">{IDLER} \(0\.9\d likely\)', page)


def test_the_case_leads_to_its_leading_suspect(listener, listen_page):
    """A link in the case's page; the recording and the part are chosen already."""
    assert 'href="/case/bus/hear"' in listener.get("/case/bus").text
    page = listener.get("/case/bus/hear")
    assert page.url.path == listen_page("before")
    assert f'<option value="{IDLER}" selected>' in page.text


def test_five_sounds_come_each_with_what_it_is(idler):
    """As recorded first, made last; what is changed or made says so in capitals and a frame."""
    assert list(players(idler)) == [
        "The recording as it is",
        "Guide idler alone",
        "The recording without guide idler",
        "CHANGED for a small speaker: guide idler alone",
        "MADE, not recorded: such a fault of guide idler",
    ]
    framed = re.findall(r'<figure class="sound made">\s*<p><strong>(\w+)', idler.text)
    assert framed == ["CHANGED", "MADE"]
    assert "Filtered is not proof" in idler.text
    assert "Volume down first" in idler.text


def test_alone_and_the_rest_sum_to_what_was_sent(listener, listen_page, idler):
    """Sample by sample to within rounding; the first is the recording itself."""
    sounds = [read_sound(listener, address) for address in players(idler).values()]
    sent = listener.get(listen_page("before").replace("/hear", "/sound")).content
    whole, rate_hz = soundfile.read(io.BytesIO(sent), dtype="float32")
    whole = whole[2000 : sounds[0][0].size - 2000]  # between the fades
    as_it_is, alone, without = (one[2000:-2000] for one, _, _ in sounds[:3])
    assert {rate for _, rate, _ in sounds} == {rate_hz}
    assert np.abs(as_it_is - whole).max() <= LSB
    assert np.abs(alone + without - whole).max() <= 2 * LSB
    assert np.std(alone) > 20 * LSB
    assert sounds[4][2].startswith("MADE, not recorded")  # kept in the file itself


def test_what_was_believed_of_the_case_is_made_for_its_other_recordings(asked_for, listen_page):
    """After the repair nothing of it is heard, and it says so; made is the fault of the case."""
    page = asked_for(listen_page("after"), part=IDLER)
    titles = list(players(page))
    assert titles[1] == "Where guide idler would be (nothing of it heard)"
    assert "What lies where the guide idler would sound" in page.text
    made = page.text.split("Made, not recorded: how")[1]
    assert "worn bearing, outer race" in made[:200]


def test_where_nothing_can_be_taken_out_it_says_why(bus):
    """A loose shield makes no tone to follow: the recording, and how one would sound."""
    case = read_case(bus)
    found = sounds_of_part(case, case.recordings[0], "loose shield or bracket", lambda _: None)
    assert [one.kind for one in found.sounds] == ["recorded", "made"]
    assert "makes no tone to follow" in found.missing
    assert "--" not in found.missing


def test_before_and_after_are_equally_loud(listener, pair):
    """By the meter of FFmpeg (EBU R128, which measures by ITU-R BS.1770); ears as said."""
    found = players(pair)
    before, after, both = (read_sound(listener, address)[0] for address in found.values())
    assert list(found)[2] == "Before on the left ear, after on the right"
    assert np.array_equal(both[:, 0], before)
    assert np.array_equal(both[:, 1], after)
    loudness = [metered_lufs(one, 48000) for one in (before, after)]
    assert loudness[0] == pytest.approx(loudness[1], abs=0.5)
    assert abs(20 * np.log10(np.std(before) / np.std(after))) < 6


def metered_lufs(samples, rate_hz):
    """Integrated loudness by libavfilter's ``ebur128``."""
    graph = av.filter.Graph()
    source = graph.add_abuffer(sample_rate=rate_hz, format="fltp", layout="mono", time_base=None)
    meter = graph.add("ebur128", "metadata=1")
    sink = graph.add("abuffersink")
    source.link_to(meter)
    meter.link_to(sink)
    graph.configure()
    frame = av.AudioFrame.from_ndarray(samples[None, :], format="fltp", layout="mono")
    frame.sample_rate = rate_hz
    graph.push(frame)
    graph.push(None)
    told = None
    while True:
        try:
            told = dict(graph.pull().metadata).get("lavfi.r128.I", told)
        except (av.error.EOFError, av.error.BlockingIOError):
            return float(told)


def test_sounds_that_come_while_the_page_is_made_are_in_it(bus, listener, listen_page, monkeypatch):
    """They are done just as the page looks at what waits: never neither."""
    case = read_case(bus)
    one = next(r for r in case.recordings if r.taken.stage == "before")
    asked = part_asked(case, one, "water pump")
    write_sounds_asked(bus, asked)

    def made_now(folder):
        write_none_made(folder, asked, CaseError("Made in between."))
        return read_sounds_asked(folder)

    monkeypatch.setattr("acoustic.web.sound_pages.read_sounds_asked", made_now)
    page = listener.get(f"{listen_page('before')}?part=water+pump").text
    assert "Made in between." in page
    assert "not made yet" not in page


def test_the_other_side_of_the_pair_has_the_same_sounds(listener, listen_page, pair):
    """Asked for at the recording after, they are there already: before stays before."""
    before = listen_page("before").split("/")[-2]
    page = listener.get(f"{listen_page('after')}?other={before}")
    assert players(page) == players(pair)


@pytest.mark.parametrize(
    ("asked", "first", "last"),
    [("bytes=0-1", 0, 1), ("bytes=44-99", 44, 99), ("bytes=-10", -10, -1)],
)
def test_a_player_gets_the_range_it_asks_for(listener, idler, asked, first, last):
    """206 with the bytes and their place (RFC 9110, 14.2 and 15.3.7); phones ask so first."""
    address = list(players(idler).values())[1]
    whole = listener.get(address).content
    answer = listener.get(address, headers={"Range": asked})
    assert answer.status_code == 206
    size = len(whole)
    assert answer.content == whole[first % size : last % size + 1]
    assert answer.headers["content-range"] == f"bytes {first % size}-{last % size}/{size}"


def test_a_range_beyond_the_end_is_refused_and_nothing_is_kept(listener, idler):
    """416; and no browser keeps a customer's sound."""
    address = list(players(idler).values())[1]
    answer = listener.get(address, headers={"Range": "bytes=99999999-"})
    assert answer.status_code == 416
    answer = listener.get(address)
    assert answer.headers["cache-control"] == "no-store"
    assert answer.headers["accept-ranges"] == "bytes"
    assert answer.headers["content-disposition"] == 'inline; filename="guide-idler-1-alone.wav"'


def test_nothing_but_a_sound_that_was_made_is_served(listener, bus, idler, tmp_path):
    """No traversal, no list, no other file of the set, no link out of the case."""
    address = next(iter(players(idler).values()))
    number = address.split("/")[-2]
    folder = bus / ".page" / "sounds" / number
    (folder / "9.wav").write_bytes(b"never made")
    for file in ("made.json", "9.wav", "6.wav", "..%2F1.wav", "%2e%2e%2f%2e%2e%2fcase.toml", "1"):
        assert listener.get(f"/case/bus/sounds/{number}/{file}").status_code == 404
    for strange in ("..", "%2e%2e", "0" * 16, number.upper(), "..%2f" + number):
        assert listener.get(f"/case/bus/sounds/{strange}/1.wav").status_code == 404
    outside = tmp_path / "secret.wav"
    outside.write_bytes(b"secret")
    inside = folder / "1.wav"
    kept = inside.read_bytes()
    inside.unlink()
    inside.symlink_to(outside)
    answer = listener.get(address)
    inside.unlink()
    inside.write_bytes(kept)
    assert answer.status_code == 404
    assert listener.get(address).status_code == 200


def test_asking_takes_a_form_of_ours_and_what_the_case_has(listener, token_on, listen_page, bus):
    """Without the token 403; an unknown part or recording, or one not taken alike, 400."""
    address = listen_page("before")
    assert listener.post(address, data={"part": IDLER}).status_code == 403
    token = token_on(listener.get(address))
    for told in ({"part": "flux pump"}, {"other": "0" * 16}, {"part": "../x"}, {}):
        answer = listener.post(address, data={"form_token": token, **told})
        assert answer.status_code == 400
        assert "Choose what to hear" in answer.text
    nowhere = "/case/bus/clip/0123456789abcdef/hear"
    assert listener.post(nowhere, data={"form_token": token, "part": IDLER}).status_code == 404
    assert read_sounds_asked(bus) == ()


def test_asked_for_again_nothing_is_made_anew_unless_that_is_asked(listener, token_on, idler, bus):
    """The sounds are there at once; anew they are made again."""
    address = str(idler.url).split("?")[0].replace(HOME, "")
    token = token_on(idler)
    told = {"form_token": token, "part": IDLER}
    assert players(listener.post(address, data=told)) == players(idler)
    assert read_sounds_asked(bus) == ()


def test_of_another_layout_they_are_not_these(bus):
    """A corrected layout moves the lines: what was made before is not shown as made now."""
    case = read_case(bus)
    one = case.recordings[0]
    now = part_asked(case, one, IDLER)
    layout = bus / case.file.layout
    was = layout.read_text()
    layout.write_text(was + "\n# measured again\n")
    then = part_asked(case, one, IDLER)
    layout.write_text(was)
    assert then.number != now.number
    assert read_sound_set(bus, then) is None


def test_what_was_asked_of_a_server_that_ended_is_made_by_the_next(cases, sample, wait_until):
    """And why nothing comes of it is told: here the recording was damaged meanwhile."""
    from acoustic.cli import main

    folder = cases / "bus"
    assert main(["case", "add", str(folder), str(sample("front_800rpm.opus"))]) == 0
    (one,) = read_case(folder).recordings
    asked = part_asked(read_case(folder), one, IDLER)
    write_sounds_asked(folder, asked)
    one.path.write_bytes(bytes(one.added.size_bytes))
    with TestClient(make_app(PageSettings(cases)), base_url=HOME) as client:
        wait_until(lambda: not read_sounds_asked(folder))
        address = f"/case/bus/clip/{clip_id(one.added.sha256)}/hear?part=guide+idler"
        page = client.get(address).text
    assert "No sound could be made" in page
    assert "add that file again" in page
    assert str(cases) not in page
    assert read_sounds_asked(folder) == ()


def test_an_unusable_recording_can_be_heard_and_nothing_is_taken_out(cases, sample, token_on):
    """Its page says so instead of a form that comes to nothing."""
    from acoustic.cli import main

    samples, rate_hz = soundfile.read(sample("front_800rpm.opus"), dtype="float32")
    clip = cases.parent / "clipped.wav"
    soundfile.write(clip, np.clip(100 * samples[: 4 * rate_hz], -1, 1), rate_hz, subtype="PCM_16")
    main(["case", "add", str(cases / "bus"), str(clip)])
    (one,) = read_case(cases / "bus").recordings
    assert not one.added.gate.usable
    address = f"/case/bus/clip/{clip_id(one.added.sha256)}/hear"
    with TestClient(make_app(PageSettings(cases)), base_url=HOME) as client:
        page = client.get(address)
        assert "/sound" in page.text
        assert "nothing is taken out of it" in page.text
        told = {"form_token": token_on(page), "part": IDLER}
        assert client.post(address, data=told).status_code == 400
        assert client.get("/case/bus/hear").status_code == 404


def test_the_oldest_are_let_go_and_those_that_wait_stay(cases):
    """Twelve sets at most are kept, whatever is asked for."""
    folder = cases / "bus"
    tone = PartSound("tone", np.zeros(100, np.float32), 8000.0, "a tone")
    made = CaseSounds((CaseSound("recorded", "Tone", tone),))
    asked = [SoundsAsked(f"{k:064x}", part="x") for k in range(15)]
    for one in asked:
        write_sounds_asked(folder, one)
        write_sound_set(folder, one, made)
    there = [one for one in asked if read_sound_set(folder, one) is not None]
    assert there == asked[-12:]
    write_sounds_asked(folder, asked[0])
    assert read_sounds_asked(folder) == (asked[0],)


def test_sounds_are_behind_the_access_code(bus, idler):
    """Like everything of a case."""
    address = next(iter(players(idler).values()))
    settings = PageSettings(bus.parent, access_code="ABCD-EFGH")
    with TestClient(make_app(settings), base_url=HOME) as client:
        answer = client.get(address, follow_redirects=False)
    assert (answer.status_code, answer.headers["location"]) == (303, "/enter")


def test_all_of_it_can_be_made_again(listener, asked_for, listen_page, bus, pair):
    """The folder of sounds thrown away: the page says so, and makes the same anew."""
    address = players(pair)["Before the repair"]
    was = listener.get(address).content
    shutil.rmtree(bus / ".page" / "sounds")
    assert listener.get(address).status_code == 404
    assert "were cleared away" in listener.get(str(pair.url)).text
    again = asked_for(listen_page("before"), other=listen_page("after").split("/")[-2])
    assert listener.get(players(again)["Before the repair"]).content == was
