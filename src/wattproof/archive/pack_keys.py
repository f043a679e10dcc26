"""A tester's own keys: one that signs, kept secret, and one that all may have, told by its fingerprint."""

import hashlib
import os
import re
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from wattproof.archive.pack_model import SignatureFile, Signed
from wattproof.errors import KeyFileError

if TYPE_CHECKING:
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

Ask = Callable[[str], str | None]
"""Puts a question for a passphrase to the person; None where nobody can be asked."""

PASSPHRASE = "WATTPROOF_KEY_PASSPHRASE"
_PURPOSE = b"Wattproof evidence pack, manifest:\n"
"""Goes before what is signed, so that a signature made for something else never fits a pack."""

_FINGERPRINT = re.compile(r"[0-9a-fA-F]{64}")
_DIGITS = re.compile(r"[0-9a-fA-F]*")
_LARGEST_KEY_BYTES = 1 << 16


@dataclass(frozen=True, kw_only=True)
class SigningKey:
    """A key that signs; made by `read_signing_key`."""

    secret: "Ed25519PrivateKey" = field(repr=False)
    public: bytes

    def sign(self, manifest: bytes) -> SignatureFile:
        """Sign the bytes of a manifest; the same bytes give the same signature."""
        signature = self.secret.sign(_PURPOSE + manifest)
        return SignatureFile(public_key=self.public.hex(), signature=signature.hex())


@dataclass(frozen=True, kw_only=True)
class KeyPair:
    """Two new files, and by what the public one is told."""

    secret_file: Path
    public_file: Path
    fingerprint: str


def fingerprint(public: bytes) -> str:
    """Give what a public key is told by: SHA-256 of its 32 bytes, in groups of eight hexadecimal digits.

    Examples
    --------
    >>> fingerprint(bytes(32))[:26]
    '66687aad f862bd77 6c8fc18b'
    """
    digits = hashlib.sha256(public).hexdigest()
    return " ".join(digits[n : n + 8] for n in range(0, 64, 8))


def new_key(path: Path, *, passphrase: str | None) -> KeyPair:
    """Make a key for signing and its public half beside it; neither ever replaces a file.

    Raises
    ------
    KeyFileError
        One of the names is taken, or the folder may not be written.
    """
    from cryptography.hazmat.primitives import serialization
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey

    public_path = path.with_name(f"{path.name}.pub")
    for taken in (path, public_path):
        if taken.exists() or taken.is_symlink():
            raise _taken(taken)
    secret = Ed25519PrivateKey.generate()
    sealed = serialization.BestAvailableEncryption(passphrase.encode()) if passphrase else serialization.NoEncryption()
    data = secret.private_bytes(serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, sealed)
    shared = secret.public_key().public_bytes(
        serialization.Encoding.PEM, serialization.PublicFormat.SubjectPublicKeyInfo
    )
    _write_new(path, data, mode=0o600)
    _write_new(public_path, shared, mode=0o644)
    return KeyPair(
        secret_file=path, public_file=public_path, fingerprint=fingerprint(secret.public_key().public_bytes_raw())
    )


def _write_new(path: Path, data: bytes, *, mode: int) -> None:
    try:
        descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), mode)
        with os.fdopen(descriptor, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
    except FileExistsError as error:
        raise _taken(path) from error
    except OSError as error:
        raise KeyFileError(
            f"Cannot write {path}.", why=error.strerror or str(error), hint="Name a folder that exists and is yours."
        ) from error


def _taken(path: Path) -> KeyFileError:
    return KeyFileError(
        f"There is a file {path} already.",
        why="a key is never written over: what it has signed could not be signed again",
        hint="Use that key, or name another file for the new one.",
    )


def read_signing_key(path: Path, *, ask: Ask | None) -> SigningKey:
    """Read a key that signs; the person is asked for its passphrase where it has one.

    Raises
    ------
    KeyFileError
        It cannot be read, is no Ed25519 key, or the passphrase is missing or wrong.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
    from cryptography.hazmat.primitives.serialization import load_pem_private_key

    data = _bytes_of(path)
    sealed = b"ENCRYPTED" in data
    passphrase = _passphrase(path, ask) if sealed else None
    try:
        secret = load_pem_private_key(data, passphrase)
    except (ValueError, TypeError, UnsupportedAlgorithm) as error:
        raise KeyFileError(
            f"Cannot use the key in {path}.",
            why="the passphrase is wrong, or the file is damaged" if sealed else "it holds no private key",
            hint="Type the passphrase again." if sealed else "Name the file without .pub that wattproof key new made.",
        ) from error
    if not isinstance(secret, Ed25519PrivateKey):
        raise _other_kind(path)
    return SigningKey(secret=secret, public=secret.public_key().public_bytes_raw())


def _passphrase(path: Path, ask: Ask | None) -> bytes:
    given = os.environ.get(PASSPHRASE) or (ask(f"Passphrase of {path.name}: ") if ask else None)
    if not given:
        raise KeyFileError(
            f"The key in {path} needs its passphrase.",
            why="nobody could be asked for it, or nothing was typed",
            hint=f"Run it at a terminal, or set {PASSPHRASE}.",
        )
    return given.encode()


def read_public_fingerprint(words: str) -> str:
    """Give the fingerprint of a public key that is named by its file or by the fingerprint itself.

    Raises
    ------
    KeyFileError
        It is neither.
    """
    from cryptography.exceptions import UnsupportedAlgorithm
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
    from cryptography.hazmat.primitives.serialization import load_pem_public_key

    digits = re.sub(r"[\s:-]", "", words)
    if _FINGERPRINT.fullmatch(digits):
        return " ".join(digits.lower()[n : n + 8] for n in range(0, 64, 8))
    path = Path(words)
    if _DIGITS.fullmatch(digits) and not path.exists():
        raise KeyFileError(
            f"{words!r} is no whole fingerprint, and no file of that name is here.",
            why=f"a fingerprint has 64 hexadecimal digits, and this has {len(digits)}",
            hint="Give all of it, in quotation marks where it holds spaces, or name the tester's .pub file.",
        )
    try:
        public = load_pem_public_key(_bytes_of(path))
    except (ValueError, UnsupportedAlgorithm) as error:
        raise KeyFileError(
            f"{path} holds no public key.",
            why="a public key is a short text that begins with BEGIN PUBLIC KEY",
            hint="Name the tester's .pub file, or give the fingerprint that the tester publishes.",
        ) from error
    if not isinstance(public, Ed25519PublicKey):
        raise _other_kind(path)
    return fingerprint(public.public_bytes_raw())


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            data = file.read(_LARGEST_KEY_BYTES + 1)
    except (OSError, ValueError) as error:
        raise KeyFileError(
            f"Cannot read a key from {path}.",
            why=getattr(error, "strerror", None) or str(error),
            hint="Check the name, and that you may read it.",
        ) from error
    return data[:_LARGEST_KEY_BYTES]


def _other_kind(path: Path) -> KeyFileError:
    return KeyFileError(
        f"{path} holds a key of another kind.",
        why="packs are signed by Ed25519 keys",
        hint="Make one: wattproof key new FILE",
    )


def check_signature(signature: SignatureFile, manifest: bytes) -> Signed:
    """Say whether a signature is that of the key beside it over these bytes; whose key it is, it cannot know."""
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    public = bytes.fromhex(signature.public_key)
    try:
        Ed25519PublicKey.from_public_bytes(public).verify(bytes.fromhex(signature.signature), _PURPOSE + manifest)
    except (InvalidSignature, ValueError):
        return Signed(state="bad", fingerprint=fingerprint(public))
    return Signed(state="good", fingerprint=fingerprint(public))
