"""Who a browser is, and that a form is ours: signed cookies and tokens, made of the archive's secret."""

import hashlib
import hmac
import secrets

COOKIE = "wattproof"
FORM_FIELD = "form_token"
HEADER = "x-wattproof-token"
SCRIPTS = "scripts"
"""The name under which all scripts come that bring the archive's token: no browser is ever called so."""


def new_browser() -> str:
    """Make a name for a browser that was not here before."""
    return secrets.token_urlsafe(18)


def signed(secret: bytes, name: str, *, paired: bool) -> str:
    """Write a cookie that only we can write."""
    body = f"{name}.{'paired' if paired else 'here'}"
    return f"{body}.{_mac(secret, b'cookie', body)}"


def read_cookie(secret: bytes, cookie: str) -> tuple[str, bool] | None:
    """Give the browser's name and whether it is paired; None of a cookie that is not ours."""
    body, _, mac = cookie.rpartition(".")
    if not hmac.compare_digest(mac.encode(), _mac(secret, b"cookie", body).encode()):
        return None
    name, _, state = body.rpartition(".")
    return name, state == "paired"


def form_token(secret: bytes, name: str) -> str:
    """Give the token that every form of this browser carries."""
    return _mac(secret, b"form", name)


def script_token(secret: bytes) -> str:
    """Give the token by which a script on this machine says that it may change things."""
    return _mac(secret, b"script", SCRIPTS)


def same(one: str, other: str) -> bool:
    """Compare two secrets in a time that does not depend on where they differ."""
    return hmac.compare_digest(one.encode("utf-8", "surrogatepass"), other.encode("utf-8", "surrogatepass"))


def _mac(secret: bytes, purpose: bytes, text: str) -> str:
    return hmac.new(secret, purpose + b"\0" + text.encode(), hashlib.sha256).hexdigest()
