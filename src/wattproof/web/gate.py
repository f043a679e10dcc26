"""The gate before every request and every socket: right name, right origin, known browser, bounded body."""

from collections.abc import Mapping
from http.cookies import CookieError, SimpleCookie

from starlette.datastructures import Headers, MutableHeaders
from starlette.responses import PlainTextResponse, RedirectResponse
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from wattproof.web import tokens
from wattproof.web.settings import WebSettings

SAFE = frozenset({"GET", "HEAD"})
OPEN_PATHS = ("/pair", "/static/")
"""What a browser that is not paired may see."""

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
        refused = self._refusal(scope, headers)
        if refused is not None:
            await _turn_away(refused, scope, receive, send)
            return
        browser, paired, known = self._browser(headers)
        scope.setdefault("state", {})
        scope["state"] |= {"browser": browser, "paired": paired}
        if not paired and not scope["path"].startswith(OPEN_PATHS):
            await self._to_pairing(scope, receive, send)
            return
        await self._app(scope, self._bounded(receive), self._dressed(send, scope, None if known else browser))

    def _refusal(self, scope: Scope, headers: Headers) -> tuple[int, str] | None:
        if headers.get("host", "").lower() not in self._settings.hosts:
            return 421, "This name is not mine. Open the address that the terminal shows."
        origin = headers.get("origin")
        asks_to_change = scope["type"] == "websocket" or scope["method"] not in SAFE
        if asks_to_change and not self._own_origin(origin, headers):
            return 403, "Another site asked for this, not a page of the workbench."
        try:
            length = int(headers.get("content-length", "0"))
        except ValueError:
            return 400, "The length of the request is no number."
        if length > self._settings.most_body_bytes:
            return 413, f"The request is larger than {self._settings.most_body_bytes / 1e6:.0f} MB."
        return None

    def _own_origin(self, origin: str | None, headers: Headers) -> bool:
        """Tell whether it is ours: a browser says where it comes from; a script that does not must bring our header."""
        if origin is None:
            return tokens.HEADER in headers
        scheme, _, host = origin.partition("://")
        return scheme in {"http", "https"} and host.lower() == headers.get("host", "").lower()

    def _browser(self, headers: Headers) -> tuple[str, bool, bool]:
        """Give the browser's name, whether it may come in, and whether it was here before."""
        free = self._settings.pairing_code is None
        try:
            cookie = SimpleCookie(headers.get("cookie", "")).get(tokens.COOKIE)
        except CookieError:
            cookie = None
        read = None if cookie is None else tokens.read_cookie(self._settings.secret, cookie.value)
        if read is None:
            return tokens.new_browser(), free, False
        return read[0], free or read[1], True

    async def _to_pairing(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] == "websocket":
            await send({"type": "websocket.close", "code": 4401})
        elif scope["path"].startswith("/api/") or scope["method"] not in SAFE:
            await PlainTextResponse("Pair this browser first: open /pair.", 401)(scope, receive, send)
        else:
            await RedirectResponse("/pair", 303)(scope, receive, send)

    def _bounded(self, receive: Receive) -> Receive:
        """Count a body as it comes: one without a stated length is cut off all the same."""
        taken = 0

        async def counted() -> Message:
            nonlocal taken
            message = await receive()
            if message["type"] == "http.request":
                taken += len(message.get("body", b""))
                if taken > self._settings.most_body_bytes:
                    raise BodyTooLargeError
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


class BodyTooLargeError(Exception):
    """A request brought more than it may."""


def cookie_header(settings: WebSettings, browser: str, *, paired: bool) -> str:
    """Write the cookie: not for scripts, and never sent along from another site."""
    value = tokens.signed(settings.secret, browser, paired=paired)
    return f"{tokens.COOKIE}={value}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000"


async def _turn_away(refused: tuple[int, str], scope: Scope, receive: Receive, send: Send) -> None:
    status, words = refused
    if scope["type"] == "websocket":
        await send({"type": "websocket.close", "code": 4000 + status})
        return
    await PlainTextResponse(words, status)(scope, receive, send)
