"""What a person says beside a session's figures, with photographs: every state they were ever in, the newest counts.

A state is a folder that appears whole or not at all and is never written over, so that no word that was typed is lost.
"""

import hashlib
import re
import secrets
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from pydantic import AwareDatetime, BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.archive.captures import sweep_session
from wattproof.archive.disk import discard_folder, explained, publish_folder, sha256_of, sweep, write_new
from wattproof.archive.documents import encode, read_document
from wattproof.archive.model import SCHEMA, Session
from wattproof.archive.names import PART
from wattproof.errors import ArchiveError

WORDS = "words.toml"
_INDEX = "remarks.json"
_STATE = re.compile(r"\d{4,}")
_TRIES = 64


class _Document(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class PhotoFile(_Document):
    """A photograph in the state's folder."""

    said: str = Field(description="the file as the words name it")
    kept: str = Field(pattern=r"^photo-\d{2,}\.jpg$", description="its name here")
    sha256: str = Field(pattern="^[0-9a-f]{64}$")


class RemarksFile(_Document):
    """``remarks/0001/remarks.json``: what stands beside it, by hash."""

    schema_: int = Field(default=SCHEMA, alias="schema")
    wattproof: str
    at: AwareDatetime
    words_sha256: str = Field(pattern="^[0-9a-f]{64}$")
    photos: tuple[PhotoFile, ...]

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


@dataclass(frozen=True, kw_only=True)
class KeptRemarks:
    """The newest state.

    Attributes
    ----------
    words : str
        The file as it was typed.
    photos : mapping of str to bytes
        JPEG by the name that the words call it.
    """

    words: str
    photos: Mapping[str, bytes]


def keep_remarks(session: Session, words: str, photos: Mapping[str, bytes], *, at: datetime) -> None:
    """Keep words and photographs as the state that counts; those that are kept already make no new one."""
    if _is_kept(session, KeptRemarks(words=words, photos=dict(photos))):
        return
    files = {f"photo-{number:02d}.jpg": data for number, data in enumerate(photos.values(), start=1)}
    index = RemarksFile(
        wattproof=__version__,
        at=at,
        words_sha256=_sha256(words.encode()),
        photos=tuple(
            PhotoFile(said=said, kept=kept, sha256=_sha256(data))
            for said, (kept, data) in zip(photos, files.items(), strict=True)
        ),
    )
    home = session.folder / "remarks"
    with explained("keep the words", home):
        sweep_session(session)
        home.mkdir(exist_ok=True)
        sweep(home)
        if not _published(home, {WORDS: words.encode(), _INDEX: encode(index), **files}):
            raise ArchiveError(
                f"Found no free number for the words in {home}.",
                why=f"{_TRIES} in a row were taken by other programs",
                hint="Repeat the command.",
            )


def _is_kept(session: Session, said: KeptRemarks) -> bool:
    try:
        return read_remarks(session) == said
    except ArchiveError:  # damaged: what is given now heals it
        return False


def _published(home: Path, files: Mapping[str, bytes]) -> bool:
    aside = home / f"{PART}{secrets.token_hex(4)}-state"
    try:
        aside.mkdir()
        for name, data in files.items():
            write_new(aside / name, data)
        first = max((int(folder.name) for folder in remarks_folders(home.parent)), default=0) + 1
        return any(publish_folder(aside, home / f"{number:04d}") for number in range(first, first + _TRIES))
    finally:
        discard_folder(aside)


def read_remarks(session: Session) -> KeptRemarks | None:
    """Read the newest state; None where nothing was ever said.

    Raises
    ------
    ArchiveError
        A file of it is missing, or is not what was kept.
    """
    folder = _newest(session)
    if folder is None:
        return None
    index = read_document("remarks", folder / _INDEX, RemarksFile)
    words = _sound(folder / WORDS, index.words_sha256).decode("utf-8")
    photos = {photo.said: _sound(folder / photo.kept, photo.sha256) for photo in index.photos}
    return KeptRemarks(words=words, photos=photos)


def remarks_folders(session_folder: Path) -> Sequence[Path]:
    """List the folders of all states, oldest first."""
    home = session_folder / "remarks"
    found = [folder for folder in home.glob("*") if folder.is_dir() and _STATE.fullmatch(folder.name)]
    return sorted(found, key=lambda folder: int(folder.name))


def check_remarks(session: Session) -> Iterator[tuple[Path, str]]:
    """List what is not as it was kept, in any state, and how."""
    for folder in remarks_folders(session.folder):
        try:
            index = read_document("remarks", folder / _INDEX, RemarksFile)
        except ArchiveError as error:
            yield folder / _INDEX, error.why
            continue
        expected = {WORDS: index.words_sha256, **{photo.kept: photo.sha256 for photo in index.photos}}
        for name, sha256 in expected.items():
            path = folder / name
            with explained("read what was kept", path):
                found = sha256_of(path) if path.is_file() else "none: it is missing"
            if found != sha256:
                yield path, f"SHA-256 {found[:12]}..., not {sha256[:12]}..."


def _newest(session: Session) -> Path | None:
    folders = remarks_folders(session.folder)
    return folders[-1] if folders else None


def _sound(path: Path, sha256: str) -> bytes:
    with explained("read what was kept", path):
        data = path.read_bytes()
    if _sha256(data) != sha256:
        raise ArchiveError(
            f"{path} is not what was kept.",
            why=f"its SHA-256 begins {_sha256(data)[:12]}, not {sha256[:12]}",
            hint="Restore it from a backup, or give the words and photographs again with --words.",
        )
    return data


def _sha256(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()
