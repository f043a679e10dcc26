"""A session as one file: every part of its evidence byte for byte, and a manifest with the hash of each."""

import errno
import hashlib
import os
import secrets
import zipfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path

from wattproof import __version__
from wattproof.archive.disk import explained, flush_folder, need_free, sha256_of
from wattproof.archive.documents import encode
from wattproof.archive.figures import figures_path
from wattproof.archive.model import Session
from wattproof.archive.models import model_path, need_models
from wattproof.archive.names import PART
from wattproof.archive.pack_keys import SigningKey, fingerprint
from wattproof.archive.pack_model import HOME, MANIFEST, README, SIGNATURE, Manifest, PackedFile
from wattproof.archive.pack_names import belongs, in_order, is_deflated
from wattproof.archive.pack_zip import read_entries
from wattproof.archive.remarks import remarks_folders
from wattproof.archive.verdicts import need_verdicts, verdicts_path
from wattproof.archive.verify import changes
from wattproof.errors import ArchiveError, PackError

_CHUNK_BYTES = 1 << 20
_FIRST_DAY = (1980, 1, 1, 0, 0, 0)
_RIGHTS = 0o100644 << 16

_READ_ME = """\
This is an evidence pack: a bench session of one amplifier as a single file.

session/            the session: captures as they were recorded, the bench with its calibration, the amplifier with
                    the maker's ratings, every figure with its uncertainty, the verdicts
manifest.json       the SHA-256 of every file here but itself and the signature
signature.json      if there is one: the tester's signature over manifest.json (Ed25519)

To check it, leave this file packed, install Wattproof (a Python package) and run:

    wattproof verify PACK.zip --key TESTER.pub

It hashes every file, checks the signature, measures all captures again, judges the ratings again, and prints what was
published beside what it finds. Without a signature a pack proves that its parts fit each other, not who made it.
"""


@dataclass(frozen=True, kw_only=True)
class WrittenPack:
    """What became of a session: the pack's file, its manifest, its size."""

    path: Path
    manifest: Manifest
    size_bytes: int
    signed_by: str


def evidence_files(session: Session) -> dict[str, Path]:
    """List what of a session's folder is evidence, by its path there; drawings, locks and the half-written are not."""
    with explained("list the session's files", session.folder):
        paths = [path for path in session.folder.rglob("*") if path.is_file()]
    named = {path.relative_to(session.folder).as_posix(): path for path in paths}
    said = [folder.relative_to(session.folder).as_posix() for folder in remarks_folders(session.folder)]
    withdrawn = tuple(f"{folder}/" for folder in said[:-1])  # words and photographs that a later state replaced
    stale = {path.name for path in (model_path(session), verdicts_path(session)) if not is_current(session, path)}
    return {
        name: path
        for name, path in sorted(named.items())
        if belongs(name) and name not in stale and not name.startswith(withdrawn)
    }


def is_current(session: Session, path: Path) -> bool:
    """Tell whether a model or verdicts are there and of the figures that stand."""
    if not path.exists() or not figures_path(session).exists():
        return False
    document = need_models(session) if path == model_path(session) else need_verdicts(session)
    with explained("read the figures", figures_path(session)):
        return document.figures_sha256 == sha256_of(figures_path(session))


def write_pack(
    session: Session, target: Path, *, versions: Mapping[str, str], key: SigningKey | None = None
) -> WrittenPack:
    """Write a session as an evidence pack, whole or not at all; a file that is there is never replaced by another.

    The same session gives the same bytes on the same machine, whenever it is packed.

    Raises
    ------
    ArchiveError
        A file of the session is not what its hash says, or changes meanwhile.
    PackError
        There is another file of that name, or the system refuses.
    """
    _need_sound(session)
    files = {f"{HOME}{name}": path for name, path in evidence_files(session).items()}
    manifest = _manifest(session, files, versions)
    own = {README: _READ_ME.encode(), MANIFEST: encode(manifest)}
    if key is not None:
        own[SIGNATURE] = encode(key.sign(own[MANIFEST]))
    with _told(target), _aside(target, sum(file.size_bytes for file in manifest.files)) as aside:
        _write(aside, files, own, manifest)
        with aside.open("rb") as file:
            read_entries(file)  # what could not be opened again is not given out
        if target.exists() and not _same(aside, target):
            raise _in_the_way(target)
        aside.replace(target)
        flush_folder(target.parent)
        size = target.stat().st_size
    signed_by = "" if key is None else fingerprint(key.public)
    return WrittenPack(path=target, manifest=manifest, size_bytes=size, signed_by=signed_by)


def _need_sound(session: Session) -> None:
    """Refuse to pack what would not verify; what a killed process left half-written is no part of a pack."""
    wrong = [change for change in changes(session) if change.what not in {"half-written", "renamed"}]
    if wrong:
        told = "; ".join(f"{change.path}: {change.what}. {change.detail}" for change in wrong[:3])
        raise ArchiveError(
            f"Session {session.id} is not as it was written, so that its pack would prove nothing.",
            why=told + (f"; {len(wrong) - 3} more" if len(wrong) > 3 else ""),
            hint="Put the files back as they were, or measure the session again where its figures were edited.",
        )


def _manifest(session: Session, files: Mapping[str, Path], versions: Mapping[str, str]) -> Manifest:
    packed = []
    for name, path in files.items():
        with explained("read a file of the session", path):
            packed.append(PackedFile(path=name, size_bytes=path.stat().st_size, sha256=sha256_of(path)))
    read_me = _READ_ME.encode()
    packed.append(PackedFile(path=README, size_bytes=len(read_me), sha256=hashlib.sha256(read_me).hexdigest()))
    return with_digest(
        Manifest(
            wattproof=__version__,
            versions=dict(sorted(versions.items())),
            session=session.record.id,
            files=tuple(sorted(packed, key=lambda file: file.path)),
        )
    )


def with_digest(manifest: Manifest) -> Manifest:
    """Give a manifest with the hash of all else that it says."""
    digest = hashlib.sha256(encode(manifest, leave_out={"digest": True})).hexdigest()
    return manifest.model_copy(update={"digest": digest})


def _write(aside: Path, files: Mapping[str, Path], own: Mapping[str, bytes], manifest: Manifest) -> None:
    wanted = {file.path: file.sha256 for file in manifest.files}
    with aside.open("xb") as file:
        with zipfile.ZipFile(file, "w", allowZip64=True) as pack:
            for name in in_order((*files, *own)):
                size = len(own[name]) if name in own else files[name].stat().st_size
                found = _put(pack, name, size, [own[name]] if name in own else _blocks(files[name]))
                if wanted.get(name, found) != found:
                    raise ArchiveError(
                        f"{files[name]} changed while it was packed.",
                        why="its bytes are not those that were hashed a moment ago",
                        hint="Pack the session again when nothing writes to it.",
                    )
        file.flush()
        os.fsync(file.fileno())


def _put(pack: zipfile.ZipFile, name: str, size_bytes: int, blocks: Iterable[bytes]) -> str:
    """Write one file into the ZIP, without any time or right of its own; give its hash."""
    info = zipfile.ZipInfo(name, date_time=_FIRST_DAY)
    info.create_system, info.external_attr, info.file_size = 3, _RIGHTS, size_bytes
    info.compress_type = zipfile.ZIP_DEFLATED if is_deflated(name) else zipfile.ZIP_STORED
    digest = hashlib.sha256()
    with pack.open(info, "w") as entry:
        for block in blocks:
            entry.write(block)
            digest.update(block)
    return digest.hexdigest()


def _blocks(path: Path) -> Iterator[bytes]:
    with path.open("rb") as file:
        while block := file.read(_CHUNK_BYTES):
            yield block


@contextmanager
def _told(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise PackError(
            f"Cannot write {target}.",
            why=error.strerror or str(error),
            hint="Free some space there, or name a folder that exists and is yours.",
        ) from error


@contextmanager
def _aside(target: Path, wanted_bytes: int) -> Iterator[Path]:
    """Hand out a name beside the target to write to; it is gone afterwards, however it ends."""
    if target.is_dir():
        raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
    need_free(target.parent, wanted_bytes)
    aside = target.with_name(f"{PART}{secrets.token_hex(4)}-{target.name}")
    try:
        yield aside
    finally:
        with suppress(OSError):
            aside.unlink(missing_ok=True)


def _same(one: Path, other: Path) -> bool:
    return other.is_file() and one.stat().st_size == other.stat().st_size and sha256_of(one) == sha256_of(other)


def _in_the_way(target: Path) -> PackError:
    return PackError(
        f"There is another file {target} already.",
        why="a pack may have been given to others, so that one never replaces another file",
        hint="Name another file with --out, or move that one away.",
    )
