"""The gate before every request and every socket: right name, right origin, known browser, bounded body."""

import asyncio
from collections.abc import Mapping
from dataclasses import dataclass
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.exceptions import HTTPException
from starlette.responses import JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wattproof.web import tokens
from wattproof.web.settings import WebSettings

SAFE = frozenset({"GET", "HEAD"})
API = "/api/"
OURS = frozenset({"", "none", "same-origin"})
"""What a browser says of a request that no other site's page caused."""

_POLICY = (
    "default-src 'none'; script-src 'self'; style-src 'self'; style-src-attr 'unsafe-inline'; "
    "img-src 'self' data: blob:; media-src 'self'; font-src 'self'; connect-src 'self'; form-action 'self'; "
    "frame-src 'self'; frame-ancestors 'none'; base-uri 'none'; manifest-src 'self'"
)
_HEADERS: Mapping[str, str] = {
    "content-security-policy": _POLICY,
    "x-content-type-options": "nosniff",
    "referrer-policy": "same-origin",
    "cross-origin-opener-policy": "same-origin",
    "cross-origin-resource-policy": "same-origin",
    "permissions-policy": "camera=(), microphone=(), geolocation=()",
    "x-frame-options": "DENY",
}


@dataclass(frozen=True, kw_only=True)
class Visitor:
    """Who asks.

    Attributes
    ----------
    browser : str
        A name that nobody else has; all scripts that bring the archive's token share one.
    paired : bool
        Whether it may come in.
    known : bool
        Whether it brought a name that we gave.
    script : bool
        Whether it brought the token for scripts.
    """

    browser: str
    paired: bool
    known: bool
    script: bool


class Gate:
    """Lets in what may come in.

    A name that is not ours is another site whose address was bent to this machine; an origin that is not ours is
    another site's form or script. Both are turned away before any route sees them.
    """

    def __init__(self, app: ASGIApp, settings: WebSettings) -> None:
        self._app, self._settings = app, settings

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Look at a request, then hand it on or turn it away."""
        if scope["type"] == "lifespan":
            await self._app(scope, receive, send)
            return
        headers = Headers(scope=scope)
        who = self._visitor(headers)
        refused = self._refusal(scope, headers, who)
        if refused is not None:
            await _turn_away(*refused, scope, receive, self._dressed(send, scope, None))
            return
        scope.setdefault("state", {})
        scope["state"] |= {"browser": who.browser, "paired": who.paired, "script": who.script}
        dressed = self._dressed(send, scope, None if who.known else who.browser)
        if not who.paired and not _open(scope["path"]):
            await _to_pairing(scope, receive, dressed)
            return
        await self._app(scope, self._bounded(receive, self._most_bytes(headers, who)), dressed)

    def _refusal(self, scope: Scope, headers: Headers, who: Visitor) -> tuple[int, str] | None:
        names = headers.getlist("host")
        if len(names) != 1 or names[0].lower() not in self._settings.hosts:
            return 421, "This name is not mine. Open the address that the terminal shows."
        asks_to_change = scope["type"] == "websocket" or scope["method"] not in SAFE
        if asks_to_change and not _own_origin(headers, who):
            return 403, "Another site asked for this, not a page of the workbench; a script brings its token."
        if scope["path"].startswith(API) and headers.get("sec-fetch-site", "") not in OURS:
            return 403, "A page of another site asked for this."
        length = headers.get("content-length", "0")
        if not (length.isascii() and length.isdecimal() and len(length) < 20):
            return 400, "The length of the request is no number."
        most = self._most_bytes(headers, who)
        if int(length) > most:
            return 413, f"The request is larger than {most / 1e6:g} MB."
        return None

    def _most_bytes(self, headers: Headers, who: Visitor) -> int:
        """Give how much may come: files go to the disk as they come, all else is held in memory."""
        if not who.paired:
            return self._settings.most_stranger_bytes
        files = headers.get("content-type", "").lower().startswith("multipart/form-data")
        most = self._settings.most_body_bytes
        return most if files else min(most, self._settings.most_text_bytes)

    def _visitor(self, headers: Headers) -> Visitor:
        """Tell who it is by its cookie, or by the token for scripts."""
        free = self._settings.pairing_code is None
        if tokens.same(headers.get(tokens.HEADER, ""), tokens.script_token(self._settings.secret)):
            return Visitor(browser=tokens.SCRIPTS, paired=True, known=True, script=True)
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(tokens.COOKIE)
        except CookieError:
            cookie = None
        read = None if cookie is None else tokens.read_cookie(self._settings.secret, cookie.value)
        if read is None:
            return Visitor(browser=tokens.new_browser(), paired=free, known=False, script=False)
        return Visitor(browser=read[0], paired=free or read[1], known=True, script=False)

    def _bounded(self, receive: Receive, most_bytes: int) -> Receive:
        """Count a body as it comes: one without a stated length, or that never comes, is cut off all the same."""
        taken, whole = 0, False

        async def counted() -> Message:
            nonlocal taken, whole
            try:
                async with asyncio.timeout(None if whole else self._settings.longest_silence_s):
                    message = await receive()
            except TimeoutError:
                raise HTTPException(408, "Nothing came any more.", {"connection": "close"}) from None
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                whole = not message.get("more_body", False)
                if taken > most_bytes:
                    raise BodyTooLargeError(most_bytes)
            else:
                whole = True  # a socket speaks when it likes
            return message

        return counted

    def _dressed(self, send: Send, scope: Scope, new_browser: str | None) -> Send:
        """Give every answer its policy, and a browser that was not here before its cookie."""

        async def dressed(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = MutableHeaders(scope=message)
                for name, value in _HEADERS.items():
                    headers.setdefault(name, value)
                if not scope["path"].startswith("/static/"):
                    headers.setdefault("cache-control", "no-store")
                if new_browser is not None and "set-cookie" not in headers:
                    headers.append("set-cookie", cookie_header(self._settings, new_browser, paired=False))
            await send(message)

        return dressed


class BodyTooLargeError(HTTPException):
    """A request brought more than it may."""

    def __init__(self, most_bytes: int) -> None:
        super().__init__(413)
        self.most_bytes = most_bytes


def cookie_header(settings: WebSettings, browser: str, *, paired: bool) -> str:
    """Write the cookie: not for scripts, and never sent along from another site."""
    value = tokens.signed(settings.secret, browser, paired=paired)
    return f"{tokens.COOKIE}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000"


def _own_origin(headers: Headers, who: Visitor) -> bool:
    """Tell whether it is ours: a browser says where it comes from; what does not must bring the token for scripts."""
    origins = headers.getlist("origin")
    if not origins:
        return who.script
    scheme, _, host = origins[0].partition("://")
    return len(origins) == 1 and scheme in {"http", "https"} and host.lower() == headers.get("host", "").lower()


def _open(path: str) -> bool:
    """Tell what a browser that is not paired may see."""
    return path == "/pair" or path.startswith("/static/")


async def _to_pairing(scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket" or scope["path"].startswith(API) or scope["method"] not in SAFE:
        await _turn_away(401, "Pair this browser first: open /pair. A script brings its token.", scope, receive, send)
    else:
        await RedirectResponse("/pair", 303)(scope, receive, send)


async def _turn_away(status: int, words: str, scope: Scope, receive: Receive, send: Send) -> None:
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4000 + status})
        return
    answer: Response = PlainTextResponse(words, status)
    if scope["path"].startswith(API):
        answer = JSONResponse({"error": {"code": "page", "message": words, "why": "", "hint": ""}}, status)
    await answer(scope, receive, send)
