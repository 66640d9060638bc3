"""What every request passes before a page sees it, and what every answer carries.

In the order of passing: headers that forbid the browser what we never ask of it, the name we
are reached under, how often, how large, who it is and whether the request was ours.
"""

from __future__ import annotations

import math
from urllib.parse import urlsplit

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.middleware import Middleware
from starlette.requests import cookie_parser
from starlette.responses import HTMLResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from acoustic.output.page_pieces import element, render
from acoustic.web.admission import Admission
from acoustic.web.rates import RateLimit
from acoustic.web.settings import Limits, PageSettings

POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; "
    "media-src 'self' blob:; connect-src 'self'; form-action 'self'; base-uri 'none'; "
    "frame-ancestors 'none'"
)
HEADERS = {
    "Content-Security-Policy": POLICY,
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "same-origin",  # no-referrer would send forms without their origin
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
    "Permissions-Policy": "microphone=(self), camera=(), geolocation=()",
    "Cache-Control": "no-store",
}
STATIC, ENTER, SEND = "/static/", "/enter", "/send/"
"""Places open without the access code: looks, the code's own form, links of customers."""

CLIPS, PACK = "/clips", "/pack"
"""Addresses that end so take recordings or a packed file; all others take a form."""

TOKEN_HEADER = "x-form-token"  # noqa: S105 - the name of a header
_SAFE_METHODS = frozenset({"GET", "HEAD", "OPTIONS"})
_COOKIE = "visitor"


def safety_of(settings: PageSettings, admission: Admission) -> list[Middleware]:
    """Everything a request passes, in order."""
    return [
        Middleware(SafeHeaders),
        Middleware(OwnHosts, hosts=settings.hosts),
        Middleware(Rates, limits=settings.limits),
        Middleware(BodySizes, limits=settings.limits),
        Middleware(Visitors, admission=admission, secure=settings.secure),
    ]


def most_bytes(limits: Limits, path: str) -> int:
    """Largest body an address takes. [bytes]"""
    return limits.clip_bytes if path.endswith((CLIPS, PACK)) else limits.form_bytes


def set_visitor(response_headers: MutableHeaders, number: str, secure: bool) -> None:
    """Let the browser keep a visitor's number; no script and no other site gets at it."""
    words = f"{_COOKIE}={number}; Path=/; HttpOnly; SameSite=Strict"
    response_headers.append("Set-Cookie", words + ("; Secure" if secure else ""))


class SafeHeaders:
    """Puts the safe headers on every answer that does not set its own."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, and mark the answer."""

        async def marked(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in HEADERS.items():
                    headers.setdefault(name, value)
            await send(message)

        await self.app(scope, receive, marked)


class OwnHosts:
    """Refuses requests under a name that is not ours: a stranger's site may point one at us."""

    def __init__(self, app: ASGIApp, hosts: frozenset[str]) -> None:
        self.app, self.hosts = app, hosts

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what comes under our own name."""
        if scope["type"] == "http" and _host_of(Headers(scope=scope)) not in self.hosts:
            said = "This page is not served under that name. Use the address shown at the start."
            await refusal(400, said)(scope, receive, send)
            return
        await self.app(scope, receive, send)


class Rates:
    """Answers 429 to an address that asks too often."""

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app = app
        self._all = RateLimit(limits.requests_per_minute)
        self._uploads = RateLimit(limits.uploads_per_minute)
        self._codes = RateLimit(limits.codes_per_minute)

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on what comes at a fair pace."""
        wait = self._wait_s(scope) if scope["type"] == "http" else 0.0
        if wait:
            seconds = math.ceil(wait)
            answer = refusal(429, f"Too many requests at once. Try again in {seconds} s.")
            answer.headers["Retry-After"] = str(seconds)
            await answer(scope, receive, send)
            return
        await self.app(scope, receive, send)

    def _wait_s(self, scope: Scope) -> float:
        who, path = (scope.get("client") or ("",))[0], scope["path"]
        wait = 0.0 if path.startswith(STATIC) else self._all.wait_s(who)
        if scope["method"] == "POST" and path.endswith((CLIPS, PACK)):
            wait = max(wait, self._uploads.wait_s(who))
        if scope["method"] == "POST" and path == ENTER:
            wait = max(wait, self._codes.wait_s(who))
        return wait


class BodySizes:
    """Answers 413 to a body that is too large: by what it says, and by what really comes."""

    def __init__(self, app: ASGIApp, limits: Limits) -> None:
        self.app, self.limits = app, limits

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on, counting."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        most = most_bytes(self.limits, scope["path"])
        said = too_large(most)
        if int(_digits(Headers(scope=scope).get("content-length", "0"))) > most:
            await refusal(413, said)(scope, receive, send)
            return
        await self.app(scope, _counted(receive, most, said), send)


def too_large(most: int) -> str:
    """What to say of a body above the cap."""
    return (
        f"This is too large: at most {most / 1e6:g} MB are taken. Record for a shorter time, or "
        "send the sound alone instead of a video."
    )


class Visitors:
    """Tells visitors apart, asks for the access code, refuses requests other sites made."""

    def __init__(self, app: ASGIApp, admission: Admission, secure: bool) -> None:
        self.app, self.admission, self.secure = app, admission, secure

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Pass on with the visitor's number, or send to the door."""
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        headers, path = Headers(scope=scope), scope["path"]
        if scope["method"] not in _SAFE_METHODS and not _is_ours(headers):
            said = "This was sent from another site and is refused. Open the page itself."
            await refusal(403, said)(scope, receive, send)
            return
        known = cookie_parser(headers.get("cookie", "")).get(_COOKIE, "")
        number = known or self.admission.new_number()
        scope.setdefault("state", {})["visitor"] = number
        open_to_all = path == ENTER or path.startswith((STATIC, SEND))
        app: ASGIApp = self.app
        if not open_to_all and not self.admission.is_admitted(number):
            app = RedirectResponse(ENTER, status_code=303)

        async def numbered(message: Message) -> None:
            if message["type"] == "http.response.start" and not known:
                headers = MutableHeaders(scope=message)
                if "set-cookie" not in headers and not path.startswith(STATIC):
                    set_visitor(headers, number, self.secure)
            await send(message)

        await app(scope, receive, numbered)


def refusal(status: int, sentence: str) -> HTMLResponse:
    """A small page that says why not."""
    body = element("body", element("main", element("h1", "Not done"), element("p", sentence)))
    head = (
        '<meta charset="utf-8"><meta name="viewport" content="width=device-width, '
        'initial-scale=1"><title>Not done</title><link rel="stylesheet" href="/static/page.css">'
    )
    page = f'<!doctype html>\n<html lang="en"><head>{head}</head>{render(body)}</html>\n'
    return HTMLResponse(page, status)


def _is_ours(headers: Headers) -> bool:
    """Whether our own page sent this, as far as the browser tells."""
    if headers.get("sec-fetch-site", "same-origin") not in {"same-origin", "none"}:
        return False
    origin = headers.get("origin")
    return origin is None or urlsplit(origin).netloc.lower() == headers.get("host", "").lower()


def _host_of(headers: Headers) -> str:
    host = headers.get("host", "").strip().lower()
    if host.startswith("["):
        return host.split("]")[0] + "]"
    return host.split(":")[0]


def _digits(text: str) -> str:
    return text if text.isascii() and text.isdigit() else "0"


def _counted(receive: Receive, most: int, said: str) -> Receive:
    came = 0

    async def counted() -> Message:
        nonlocal came
        message = await receive()
        came += len(message.get("body", b""))
        if came > most:
            raise HTTPException(413, said)
        return message

    return counted
