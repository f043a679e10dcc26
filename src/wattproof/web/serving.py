"""The workbench as a server: where it listens, what it is called, and what it says on the terminal."""

import secrets
import socket
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from wattproof import tasks
from wattproof.errors import RefusedError
from wattproof.web import tokens
from wattproof.web.app import create_app
from wattproof.web.settings import WebSettings

PORT = 8412
LAST_PORT = 65535
LOOPBACK = "127.0.0.1"
CODE_DIGITS = 8


@dataclass(frozen=True, kw_only=True)
class Served:
    """Where the workbench is.

    Attributes
    ----------
    addresses : tuple of str
        To open in a browser; the first on this machine.
    pairing_code : str or None
        What a browser must say first; None where none must.
    token_file : Path
        Where scripts find the token that lets them change things.
    """

    addresses: tuple[str, ...]
    pairing_code: str | None
    token_file: Path


def serve(
    *,
    archive: Path | None = None,
    port: int | None = None,
    lan: bool = False,
    tell: Callable[[Served], None],
) -> None:
    """Serve the workbench until somebody ends it.

    Parameters
    ----------
    archive : Path or None
        Folder of the archive.
    port : int or None
        Where to listen; when left out the usual one, or any that is free where that is taken.
    lan : bool
        Also answer other machines of this network, once they have said a code.
    tell : callable
        Gets, once it listens, where.

    Raises
    ------
    RefusedError
        The port is taken.
    """
    import uvicorn

    from wattproof.web.ending import GRACE_S, PromptServer

    listener = _listener(port, LOOPBACK if not lan else "0.0.0.0")
    taken: int = listener.getsockname()[1]
    names = [LOOPBACK, "localhost", *(_own_addresses() if lan else ())]
    code = _code() if lan else None
    place = tasks.Workbench(archive)
    settings = WebSettings(
        archive=place.archive,
        secret=place.secret(),
        hosts=frozenset(f"{name}:{taken}" for name in names),
        pairing_code=code,
    )
    config = uvicorn.Config(
        create_app(settings),
        log_level="warning",
        ws_per_message_deflate=False,
        access_log=False,
        server_header=False,
        timeout_graceful_shutdown=GRACE_S,
    )
    addresses = tuple(f"http://{name}:{taken}/" for name in names if name != "localhost")
    token_file = place.keep_token(tokens.script_token(settings.secret))
    tell(Served(addresses=addresses, pairing_code=code, token_file=token_file))
    with suppress(KeyboardInterrupt):  # which is how it ends
        PromptServer(config).run(sockets=[listener])


def _listener(port: int | None, host: str) -> socket.socket:
    why = "a port is a number from 0 to 65535"
    for wanted in (PORT, 0) if port is None else (port,):
        if not 0 <= wanted <= LAST_PORT:
            break
        try:
            return socket.create_server((host, wanted))
        except OSError as error:
            why = error.strerror or str(error)
    raise RefusedError(
        f"The workbench cannot listen on port {PORT if port is None else port}.",
        why=why,
        hint=f"Leave --port out, or name another from 1024 to {LAST_PORT}.",
    )


def _own_addresses() -> list[str]:
    """Give this machine's addresses and name in its network."""
    name = socket.gethostname().lower()
    found = {name, f"{name}.local"}
    with suppress(OSError):
        found |= {str(info[4][0]) for info in socket.getaddrinfo(name, None, socket.AF_INET)}
    with suppress(OSError), socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        probe.connect(("192.0.2.1", 9))  # no packet is sent: it only tells which way one would go
        found.add(str(probe.getsockname()[0]))
    return sorted(found - {LOOPBACK}, key=lambda one: (not one[0].isdigit(), one))


def _code() -> str:
    digits = "".join(str(secrets.randbelow(10)) for _ in range(CODE_DIGITS))
    return f"{digits[:4]}-{digits[4:]}"
