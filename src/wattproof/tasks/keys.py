"""`key_new`: a tester's own key to sign evidence packs with."""

from collections.abc import Callable
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.errors import KeyFileError

Ask = Callable[[str], str | None]
"""Puts a question for a passphrase to the person, unseen; None where nobody can be asked."""


class KeyMade(BaseModel):
    """What `wattproof key new` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    secret_file: Path
    public_file: Path
    fingerprint: str
    sealed: bool

    def text(self) -> str:
        """Write where the two files are, and what the key is told by."""
        from wattproof.report import key_text

        return key_text(
            secret=str(self.secret_file), public=str(self.public_file), fingerprint=self.fingerprint, sealed=self.sealed
        )


def key_new(file: Path, *, sealed: bool = False, ask: Ask | None = None) -> KeyMade:
    """Make a key to sign evidence packs with: a secret file for you, a public one for everybody.

    Parameters
    ----------
    file : Path
        Where the secret key goes; the public one stands beside it, with .pub after its name.
    sealed : bool
        Seal the secret key with a passphrase.
    ask : callable or None
        Asks the person for the passphrase.

    Raises
    ------
    KeyFileError
        A file of that name is there already, or the passphrase was not typed twice alike.
    """
    from wattproof.archive import new_key

    made = new_key(file, passphrase=_new_passphrase(ask) if sealed else None)
    return KeyMade(
        secret_file=made.secret_file, public_file=made.public_file, fingerprint=made.fingerprint, sealed=sealed
    )


def _new_passphrase(ask: Ask | None) -> str:
    first = ask("Passphrase for the new key: ") if ask else None
    if not first:
        raise KeyFileError(
            "A sealed key needs a passphrase.",
            why="nobody could be asked for it, or nothing was typed",
            hint="Run it at a terminal and type one, or leave --sealed out.",
        )
    if ask is None or ask("The same passphrase again: ") != first:
        raise KeyFileError(
            "The two passphrases differ.", why="a typing mistake could never be undone", hint="Run it again."
        )
    return first
