"""The commands that make a key, and pack a session into one file that anyone can check."""

import getpass
import sys
from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def _ask(words: str) -> str | None:
    """Ask for a passphrase unseen; None where nobody is at a terminal."""
    if not sys.stdin.isatty():
        return None
    try:
        return getpass.getpass(words)
    except EOFError:
        return None


def pack(
    session: str,
    /,
    *,
    out: Path | None = None,
    sign: Path | None = None,
    archive: Path | None = None,
    json: bool = False,
) -> None:
    """Write a session as one evidence pack: captures, bench, ratings, figures and verdicts, with the hash of each.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    out
        File to write; NAME-OF-THE-SESSION.zip in this folder when left out.
    sign
        Secret key to sign the pack with, made by `wattproof key new`.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    packed = tasks.pack(session, out=out, sign=sign, archive=archive, ask=_ask, tell=progress())
    print(packed.to_json() if json else packed.text())


def key_new(file: Path, /, *, sealed: bool = False, json: bool = False) -> None:
    """Make a key to sign evidence packs with: a secret file for you, a public one for everybody.

    Parameters
    ----------
    file
        Where the secret key goes; the public one stands beside it, with .pub after its name.
    sealed
        Seal the secret key with a passphrase, which you are asked for.
    json
        Print one JSON object instead.
    """
    made = tasks.key_new(file, sealed=sealed, ask=_ask)
    print(made.model_dump_json(indent=2) if json else made.text())
