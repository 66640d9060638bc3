"""What every request passes: headers, names, rates, sizes, the code, forged requests.

The points are those of OWASP's cheat sheets on file upload, session management and
cross-site request forgery, https://cheatsheetseries.owasp.org (from memory).
"""

import re

import pytest
from starlette.testclient import TestClient

from acoustic.web.application import make_app
from acoustic.web.rates import RateLimit
from acoustic.web.settings import Limits, PageSettings

CODE = "ABCD-EFGH"
HOME = "http://localhost"


@pytest.fixture
def guarded(cases):
    """Give a visitor of a page that asks for the access code."""
    settings = PageSettings(cases, access_code=CODE, secure=True)
    with TestClient(make_app(settings), base_url="https://localhost") as client:
        yield client


def come_in(client, token_on, code=CODE):
    """Give the access code."""
    token = token_on(client.get("/enter"))
    return client.post("/enter", data={"code": code, "form_token": token})


def test_every_answer_forbids_what_we_never_ask_of_a_browser(visitor):
    """No script or style but our own files, no frame, no guess at types, nothing kept."""
    for address in ("/", "/nowhere", "/static/page.css"):
        headers = visitor.get(address).headers
        policy = headers["content-security-policy"]
        assert policy.startswith("default-src 'none'")
        assert "unsafe" not in policy
        assert "frame-ancestors 'none'" in policy
        assert headers["x-content-type-options"] == "nosniff"
        assert headers["cache-control"] == "no-store"


@pytest.mark.parametrize(
    "address",
    ["/", "/new", "/case/bus", "/case/bus/step/2", "/case/bus/other", "/case/bus/checks",
     "/case/bus/found", "/address", "/enter"],
)  # fmt: skip
def test_no_page_has_script_or_style_inside(visitor, address):
    """Else the policy would have to allow it, and a name could bring one in."""
    page = visitor.get(address).text
    assert not re.search(r"<style|\sstyle=|\son\w+=|javascript:", page)
    assert all('src="/static/' in one for one in re.findall(r"<script[^>]*>", page))
    assert not re.search(r"(?:src|href|action)=[\"'](?:https?:)?//", page)


@pytest.mark.parametrize("host", ["evil.example", "localhost.evil.example", "127.0.0.1.nip.io", ""])
def test_a_strange_name_is_refused(visitor, host):
    """A stranger's site may point its name at this machine."""
    assert visitor.get("/", headers={"Host": host}).status_code == 400


@pytest.mark.parametrize(
    "headers",
    [{"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"},
     {"Sec-Fetch-Site": "same-site"}, {"Origin": "http://localhost:9999"}],
)  # fmt: skip
def test_a_form_sent_from_another_site_is_refused(visitor, token, headers):
    """Also with a token that holds: the browser says where it comes from."""
    told = {"text": "x", "form_token": token}
    assert visitor.post("/case/bus/note", data=told, headers=headers).status_code == 403
    assert visitor.post("/case/bus/note", data=told).status_code == 200


def test_the_token_of_one_visitor_is_worth_nothing_to_another(visitor, cases, token):
    """It is bound to the number in the cookie."""
    with TestClient(make_app(PageSettings(cases)), base_url=HOME) as other:
        other.get("/")
        told = {"text": "x", "form_token": token}
        assert other.post("/case/bus/note", data=told).status_code == 403


def test_the_cookie_is_out_of_reach(guarded):
    """No script reads it, no other site sends it, it travels encrypted only."""
    cookie = guarded.get("/enter").headers["set-cookie"]
    assert re.fullmatch(r"visitor=[\w-]{32}; Path=/; HttpOnly; SameSite=Strict; Secure", cookie)


def test_without_the_code_nothing_is_seen(guarded):
    """Every page leads to the door; its looks and the links of customers are open."""
    for address in ("/", "/case/bus", "/case/bus/now", "/case/bus/events", "/address"):
        answer = guarded.get(address, follow_redirects=False)
        assert (answer.status_code, answer.headers["location"]) == (303, "/enter")
    assert guarded.post("/case/bus/note", follow_redirects=False).status_code == 303
    assert guarded.get("/static/page.css").status_code == 200
    assert "Library bus" not in guarded.get("/enter").text


@pytest.mark.parametrize("typed", [CODE, "abcdefgh", " abcd efgh "])
def test_the_code_lets_in_under_a_new_number(guarded, token_on, typed):
    """As it is typed on a phone; the number from before is worth nothing (session fixation)."""
    guarded.get("/enter")
    before = guarded.cookies["visitor"]
    assert "Library bus" in come_in(guarded, token_on, typed).text
    assert guarded.cookies["visitor"] != before
    guarded.cookies.clear()
    guarded.cookies.set("visitor", before)
    assert guarded.get("/", follow_redirects=False).status_code == 303


def test_a_wrong_code_is_refused_and_soon_not_even_tried(guarded, token_on):
    """403, and 429 after a few, with the time to wait."""
    answers = [come_in(guarded, token_on, "WRONGONE") for _ in range(8)]
    assert answers[0].status_code == 403
    assert "not the code" in answers[0].text
    assert answers[-1].status_code == 429
    assert int(answers[-1].headers["retry-after"]) >= 1
    assert come_in(guarded, token_on).status_code == 429


def test_signing_out_holds_at_once(guarded, token_on):
    """The number that was admitted opens nothing any more, kept or not."""
    come_in(guarded, token_on)
    admitted = guarded.cookies["visitor"]
    page = guarded.get("/")
    guarded.post("/leave", data={"form_token": token_on(page)})
    guarded.cookies.clear()
    guarded.cookies.set("visitor", admitted)
    assert guarded.get("/", follow_redirects=False).status_code == 303


def test_who_is_in_stays_in_over_a_restart_and_until_the_time_is_up(cases, token_on):
    """A form half filled in is still good after the server was started again."""
    settings = PageSettings(cases, access_code=CODE)
    with TestClient(make_app(settings), base_url=HOME) as client:
        come_in(client, token_on)
        number = client.cookies["visitor"]
        form = token_on(client.get("/case/bus"))
    for again, lets_in in (
        (settings, True),
        (PageSettings(cases, access_code="WXYZ-2345"), False),
        (PageSettings(cases, access_code=CODE, limits=Limits(session_s=0.0)), True),
    ):
        with TestClient(make_app(again), base_url=HOME, cookies={"visitor": number}) as client:
            assert (client.get("/", follow_redirects=False).status_code == 200) == lets_in
            if lets_in:
                told = {"text": "still here", "form_token": form}
                assert client.post("/case/bus/note", data=told).status_code == 200
    spent = PageSettings(cases, access_code=CODE, limits=Limits(session_s=0.0))
    with TestClient(make_app(spent), base_url=HOME) as client:
        assert "Access code" in come_in(client, token_on).text


def test_too_large_a_form_is_refused_by_what_it_says(visitor, token):
    """413, before it is read."""
    told = {"text": "x" * 1_100_000, "form_token": token}
    answer = visitor.post("/case/bus/note", data=told)
    assert answer.status_code == 413
    assert "at most 1 MB" in answer.text


def test_too_large_a_form_is_refused_while_it_comes(visitor, token):
    """413, though it did not say how large it is."""
    came = []

    def body():
        yield f"form_token={token}&text=".encode()
        for _ in range(100):
            came.append(1)
            yield b"x" * 100_000

    headers = {"Content-Type": "application/x-www-form-urlencoded"}
    answer = visitor.post("/case/bus/note", content=body(), headers=headers)
    assert answer.status_code == 413


def test_a_length_that_is_no_number_is_no_way_round(visitor, token):
    """What comes is counted, whatever the header says."""
    headers = {
        "Content-Type": "application/x-www-form-urlencoded",
        "Content-Length": "-5",
    }
    body = f"form_token={token}&text={'x' * 1_100_000}".encode()
    assert visitor.post("/case/bus/note", content=body, headers=headers).status_code == 413


def test_more_fields_than_a_form_has_are_refused(visitor, token):
    """400: nobody fills in so many."""
    told = {f"field{k}": "x" for k in range(500)}
    answer = visitor.post("/case/bus/note", data={**told, "form_token": token})
    assert answer.status_code == 400


def test_asking_too_often_is_answered_429(cases):
    """By address; another is not held up."""
    limits = Limits(requests_per_minute=5)
    with TestClient(make_app(PageSettings(cases, limits=limits)), base_url=HOME) as client:
        codes = [client.get("/").status_code for _ in range(7)]
        assert codes == [200] * 5 + [429] * 2
        assert client.get("/static/page.css").status_code == 200


def test_the_measure_of_a_rate_fills_again_evenly(monkeypatch):
    """Six a minute: after ten seconds one more, and no other address pays for it."""
    now = [100.0]
    monkeypatch.setattr("acoustic.web.rates.time.monotonic", lambda: now[0])
    limit = RateLimit(6)
    assert [limit.wait_s("a") for _ in range(6)] == [0.0] * 6
    assert limit.wait_s("a") == pytest.approx(10.0)
    assert limit.wait_s("b") == 0.0
    now[0] += 10.0
    assert limit.wait_s("a") == 0.0
    assert limit.wait_s("a") == pytest.approx(10.0)
