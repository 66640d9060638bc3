"""The application as a whole: what every address does."""

from starlette.routing import Route
from starlette.testclient import TestClient

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
    posts = [one for one in app.routes if isinstance(one, Route) and "POST" in one.methods]
    assert len(posts) >= 2
    with TestClient(app, base_url=visitor.base_url) as client:
        for route in posts:
            path = route.path.replace("{case}", "bus")
            assert client.post(path, data={"code": "x"}).status_code == 403, route.path
