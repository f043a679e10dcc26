"""An evidence pack from a stranger: opened, hashed and only then unpacked into a folder of its own."""

import hashlib
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError

from wattproof.archive.disk import need_free
from wattproof.archive.documents import encode
from wattproof.archive.pack_keys import check_signature
from wattproof.archive.pack_model import (
    HOME,
    MANIFEST,
    PACK_SCHEMA,
    SIGNATURE,
    Finding,
    Manifest,
    SignatureFile,
    Signed,
)
from wattproof.archive.pack_names import AS_PUBLISHED, in_order, is_deflated, shown
from wattproof.archive.pack_write import with_digest
from wattproof.archive.pack_zip import Entry, read_entries, stream
from wattproof.errors import PackError

LARGEST_DOCUMENT_BYTES = 256 << 20
"""What a JSON or TOML file of a pack may have at most: it is read into memory."""
LARGEST_MANIFEST_BYTES = 8 << 20

Model = TypeVar("Model", bound=BaseModel)


class _Head(BaseModel):
    model_config = ConfigDict(extra="ignore")

    schema_: int = Field(alias="schema")


@dataclass(frozen=True, kw_only=True)
class OpenedPack:
    """A pack that is safe to unpack; nothing of it was written anywhere yet.

    Attributes
    ----------
    path : Path
    manifest : Manifest
    signed : Signed
    findings : tuple of Finding
        What its hashes, its signature and its order say.
    entries : tuple of Entry
        The files that the manifest names, whether their bytes are those it tells or not.
    """

    path: Path
    manifest: Manifest
    signed: Signed
    findings: tuple[Finding, ...]
    entries: tuple[Entry, ...]

    def unpack(self, folder: Path) -> Path:
        """Write the session into a folder, under its own name, and give that folder.

        Raises
        ------
        PackError
            It cannot be unpacked, or the disk refuses.
        """
        home = folder / self.manifest.session
        wanted = [entry for entry in self.entries if entry.name.startswith(HOME)]
        with _read(self.path) as file, _written(folder):
            need_free(folder, sum(entry.size_bytes for entry in wanted))
            (home / "captures").mkdir(parents=True)
            for entry in wanted:
                path = home / entry.name.removeprefix(HOME)
                path.parent.mkdir(parents=True, exist_ok=True)
                with path.open("xb") as out:
                    for piece in stream(file, entry):
                        out.write(piece)
        return home


def open_pack(path: Path) -> OpenedPack:
    """Open a pack: refuse what could do harm, then hash every file and check the signature. Nothing is written.

    Raises
    ------
    PackError
        It is no pack, a broken one, one that is built to do harm, or of a newer version.
    """
    with _read(path) as file:
        entries = read_entries(file)
        _check_documents(entries)
        by_name = {entry.name: entry for entry in entries}
        if MANIFEST not in by_name:
            raise PackError(
                f"{path.name} is no evidence pack.", why=f"it holds no {MANIFEST}", hint="Name the pack itself."
            )
        raw = _whole(file, by_name[MANIFEST])
        manifest = _parsed(raw, Manifest, MANIFEST)
        signed = _signed(file, by_name, raw)
        findings = (
            *_manifest_findings(manifest, raw),
            *_signature_findings(signed),
            *_file_findings(file, manifest, by_name),
            *_form_findings(entries),
        )
    listed = {packed.path for packed in manifest.files}
    return OpenedPack(
        path=path,
        manifest=manifest,
        signed=signed,
        findings=findings,
        entries=tuple(entry for entry in entries if entry.name in listed),
    )


@contextmanager
def _read(path: Path) -> Iterator[BinaryIO]:
    try:
        if not path.is_file():  # a pipe would be waited for without end
            raise FileNotFoundError(2, "it is no plain file" if path.exists() else "there is no file of that name")
        with path.open("rb") as file:
            yield file
    except (OSError, ValueError) as error:
        raise PackError(
            f"Cannot read {path}.",
            why=getattr(error, "strerror", None) or str(error),
            hint="Check the name, and that you may read it.",
        ) from error


@contextmanager
def _written(folder: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise PackError(
            "The pack cannot be unpacked.",
            why=f"{folder}: {error.strerror or error}",
            hint="Free some space for temporary files, or set TMPDIR to a folder that has it.",
        ) from error


def _check_documents(entries: tuple[Entry, ...]) -> None:
    for entry in entries:
        most = LARGEST_MANIFEST_BYTES if entry.name in {MANIFEST, SIGNATURE} else LARGEST_DOCUMENT_BYTES
        document = entry.name.endswith((".json", ".toml", ".jsonl", ".txt")) and "/original." not in entry.name
        if document and entry.size_bytes > most:
            raise PackError(
                f"{shown(entry.name)} is larger than it can be.",
                why=f"it has {entry.size_bytes} bytes, at most {most} are read",
                hint=AS_PUBLISHED,
            )


def _whole(file: BinaryIO, entry: Entry) -> bytes:
    return b"".join(stream(file, entry))


def _parsed(raw: bytes, model: type[Model], name: str) -> Model:
    try:
        if _Head.model_validate_json(raw).schema_ > PACK_SCHEMA:
            raise PackError(
                "The pack was written by a newer Wattproof.",
                why=f"this version knows packs up to schema {PACK_SCHEMA}",
                hint="Install a newer Wattproof and verify it again.",
            )
        return model.model_validate_json(raw)
    except ValidationError as error:
        first = error.errors()[0]
        place = ".".join(str(part) for part in first["loc"]) or "the whole"
        raise PackError(
            f"The pack's {name} cannot be read.", why=f"{shown(place)}: {shown(first['msg'])}", hint=AS_PUBLISHED
        ) from error


def _signed(file: BinaryIO, entries: dict[str, Entry], manifest: bytes) -> Signed:
    if SIGNATURE not in entries:
        return Signed(state="none")
    return check_signature(_parsed(_whole(file, entries[SIGNATURE]), SignatureFile, SIGNATURE), manifest)


def _manifest_findings(manifest: Manifest, raw: bytes) -> Iterator[Finding]:
    right = with_digest(manifest).digest
    if right != manifest.digest:
        detail = f"its digest is {manifest.digest[:12]}..., what it says hashes to {right[:12]}...: it was edited"
        yield Finding(where=MANIFEST, what="changed", detail=detail)
    elif encode(manifest) != raw:
        yield Finding(where=MANIFEST, what="rewritten", detail="it says the same in other bytes than were packed")
    names = [packed.path for packed in manifest.files]
    if names != sorted(set(names)):
        yield Finding(where=MANIFEST, what="reordered", detail="its files are not in order, or one stands there twice")


def _signature_findings(signed: Signed) -> Iterator[Finding]:
    if signed.state == "bad":
        detail = f"it is not that of key {signed.fingerprint} over this manifest: one of them was changed"
        yield Finding(where=SIGNATURE, what="signature", detail=detail)


def _file_findings(file: BinaryIO, manifest: Manifest, entries: dict[str, Entry]) -> Iterator[Finding]:
    listed = {packed.path: packed for packed in manifest.files}
    for name, entry in entries.items():
        if name in {MANIFEST, SIGNATURE}:
            continue
        digest, size = hashlib.sha256(), 0
        for piece in stream(file, entry):
            digest.update(piece)
            size += len(piece)
        packed, found = listed.get(name), digest.hexdigest()
        if packed is None:
            yield Finding(where=name, what="added", detail="the manifest does not know it; it was left aside")
        elif (packed.size_bytes, packed.sha256) != (size, found):
            detail = f"SHA-256 {found[:12]}..., not {packed.sha256[:12]}... ({size} bytes, {packed.size_bytes} packed)"
            yield Finding(where=name, what="changed", detail=detail)
    for name in sorted(listed.keys() - entries.keys()):
        yield Finding(where=name, what="missing", detail="the manifest names it, and the pack does not hold it")


def _form_findings(entries: tuple[Entry, ...]) -> Iterator[Finding]:
    """Find what only another program can have done to the ZIP; what the files say is not touched by it."""
    names = [entry.name for entry in sorted(entries, key=lambda entry: entry.at)]
    if names != in_order(names) or names != [entry.name for entry in entries]:
        yield Finding(where="the ZIP", what="reordered", detail="its files are not in the order of a pack")
    odd = [e.name for e in entries if not e.plain or e.deflated != is_deflated(e.name)]
    if odd:
        detail = f"{len(odd)} of its files carry a time, rights or a form that a pack never has, {shown(odd[0])} first"
        yield Finding(where="the ZIP", what="rewritten", detail=detail)
