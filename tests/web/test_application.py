"""The application as a whole: what every address does."""

from datetime import UTC, datetime

import pytest
from starlette.routing import Route
from starlette.testclient import TestClient

from acoustic.casework.customer_links import LinkWish, days_from, write_link
from acoustic.web.application import make_app
from acoustic.web.settings import PageSettings


def test_the_list_shows_the_cases_there_are(visitor, cases, start_case):
    """Each by its title with a link; one started meanwhile is there at the next look."""
    first = visitor.get("/")
    assert first.status_code == 200
    assert '<a href="/case/bus">Library bus</a>' in first.text
    start_case(cases / "2026" / "bus 7", title="<script>alert(1)</script>")
    second = visitor.get("/").text
    assert '<a href="/case/2026~2fbus~207">&lt;script&gt;alert(1)&lt;/script&gt;</a>' in second


def test_every_address_that_changes_something_wants_the_token(visitor, cases):
    """A form without the token of our own page is refused wherever it is sent."""
    app = make_app(PageSettings(cases))
    now = datetime.now(UTC)
    secret, _ = write_link(cases / "bus", LinkWish(days_from(now, 1)), now)
    posts = [one for one in app.routes if isinstance(one, Route) and "POST" in one.methods]
    assert len(posts) >= 10
    with TestClient(app, base_url=visitor.base_url) as client:
        for route in posts:
            path = route.path.replace("{case}", "bus").replace("{secret}", secret)
            assert client.post(path, data={"code": "x"}).status_code == 403, route.path
            forged = {"form_token": "0" * 64}
            assert client.post(path, data=forged).status_code == 403, route.path


@pytest.mark.parametrize(
    "address",
    [
        "/static/../../../etc/passwd",
        "/static/%2e%2e/%2e%2e/settings.py",
        "/case/..~2fcases",
        "/case/~2e~2e",
        "/case/~2e~2e~2fcases~2fbus",
        "/case/bus~2f~2e~2e~2fbus",
        "/case/~00",
        "/case/~ff",
        "/case/~2facoustic-page",
        "/case/bus/clip/..%2f..%2fcase.toml",
        "/case/bus/clip/case.toml/sound",
        "/case/bus/case.toml",
        "/case/bus/history.jsonl",
        "/.acoustic-page/secret",
    ],
)
def test_nothing_outside_the_cases_is_served(visitor, address):
    """Names that lead up, aside or into files are answered as if there were nothing."""
    visitor.get("/")
    answer = visitor.get(address)
    assert answer.status_code == 404
    assert "root:" not in answer.text
    assert "case/1" not in answer.text


def test_a_case_linked_in_from_outside_is_not_served(visitor, cases, start_case, tmp_path):
    """A link in the folder of cases leads nowhere out of it."""
    start_case(tmp_path / "elsewhere")
    (cases / "linked").symlink_to(tmp_path / "elsewhere", target_is_directory=True)
    assert visitor.get("/case/linked").status_code == 404


def test_a_page_that_is_not_there_says_so_in_a_sentence(visitor):
    """With the looks of all pages, and no trace of the program."""
    answer = visitor.get("/nowhere")
    assert answer.status_code == 404
    assert "There is no such page." in answer.text
    assert "Traceback" not in answer.text
