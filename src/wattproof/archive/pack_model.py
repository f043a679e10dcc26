"""The documents of an evidence pack: its manifest, its signature, and what does not agree in it."""

from dataclasses import dataclass
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

PACK_SCHEMA = 1
"""Number of the layout that this version writes."""

MANIFEST, SIGNATURE, README = "manifest.json", "signature.json", "README.txt"
HOME = "session/"
"""Where the session's files stand in a pack."""

SESSION_NAME = r"^[a-z0-9][a-z0-9-]{0,119}$"
_SHA256 = "^[0-9a-f]{64}$"


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class PackedFile(_Document):
    """One file of a pack."""

    path: str
    size_bytes: int = Field(ge=0)
    sha256: str = Field(pattern=_SHA256)


class Manifest(_Document):
    """``manifest.json``: every other file of the pack with its hash; no time of day in it."""

    schema_: int = Field(default=PACK_SCHEMA, alias="schema")
    what: Literal["Wattproof evidence pack"] = "Wattproof evidence pack"
    wattproof: str = Field(description="version that measured and packed")
    versions: dict[str, str] = Field(description="of what it computed with")
    session: str = Field(pattern=SESSION_NAME, description="name of the session when it began")
    files: tuple[PackedFile, ...]
    digest: str = Field(default="0" * 64, pattern=_SHA256, description="SHA-256 of this document without its digest")


class SignatureFile(_Document):
    """``signature.json``: the tester's signature over the bytes of the manifest."""

    schema_: int = Field(default=PACK_SCHEMA, alias="schema")
    algorithm: Literal["Ed25519"] = "Ed25519"
    public_key: str = Field(pattern="^[0-9a-f]{64}$", description="the 32 bytes of the key, as hexadecimal digits")
    signature: str = Field(pattern="^[0-9a-f]{128}$", description="the 64 bytes, as hexadecimal digits")


class Finding(_Document):
    """Something in a pack that is not as it was packed, contradicts another part of it, or cannot be had again.

    Attributes
    ----------
    where : str
        A file of the pack, or what of it.
    what : str
        The kind of the trouble.
    detail : str
        The numbers: from what to what.
    """

    where: str
    what: Literal[
        "changed", "missing", "added", "rewritten", "reordered", "damaged", "contradicts", "differs", "signature"
    ]
    detail: str


@dataclass(frozen=True, kw_only=True)
class Signed:
    """What there is to say of a pack's signature.

    Attributes
    ----------
    state : str
        "none", "good" (of the key that stands beside it) or "bad".
    fingerprint : str
        Of the key it claims to be of; empty without one.
    """

    state: Literal["none", "good", "bad"]
    fingerprint: str = ""
