"""`report`: a session as a page, a print and a post that strangers can follow down to the captures."""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.errors import FileMissingError, SettingsError
from wattproof.tasks.files import refuse_overwriting, shown_name, text_of, write_bytes
from wattproof.tasks.published import kept_words, published_session

if TYPE_CHECKING:
    from wattproof.archive import Archive, Session
    from wattproof.publish import Document

ReportFormat = Literal["html", "pdf", "md"]
FORMATS: tuple[ReportFormat, ...] = ("html", "pdf", "md")
_LARGEST_PHOTO_BYTES = 100_000_000


class ReportFile(BaseModel):
    """One file that was written."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: ReportFormat
    file: Path
    size_bytes: int


class Reported(BaseModel):
    """What `wattproof report` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    title: str
    found: tuple[str, ...] = Field(description="the opening of the report, paragraph by paragraph")
    sections: tuple[str, ...]
    photos: int = Field(description="photographs that are shown")
    files: tuple[ReportFile, ...]

    def text(self) -> str:
        """Write what was found, and where the report is."""
        files = (f"  {one.file}  {one.size_bytes / 1e3:.0f} kB" for one in self.files)
        return "\n".join([self.title, "", *self.found, "", *files])

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


def report(
    session: str,
    *,
    archive: Path | None = None,
    out: Path | None = None,
    words: Path | None = None,
    format: tuple[str, ...] = FORMATS,
    dated: bool = False,
    tell: Callable[[str], None] | None = None,
) -> Reported:
    """Write a session's report: one page, a PDF and a post, all of the same content.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    archive : Path or None
        Folder of the archive.
    out : Path or None
        Where to write, without an ending; the session's name in this folder when left out.
    words : Path or None
        words.toml: summary, pros, cons and photographs; kept in the session, so that the next report has them too.
    format : tuple of str
        Which of html, pdf and md to write.
    dated : bool
        Say in the report when it was made; the same session gives the same bytes when left out.
    tell : callable or None
        Gets a line for what takes a while.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept file is not what its hash says.
    SettingsError
        No such format; or the words file is wrong.
    InputError
        A photograph is missing, damaged or none.
    """
    from wattproof.archive import Archive, default_root
    from wattproof.publish import plain_words, session_document

    wanted = _wanted(format)
    store = Archive(archive or default_root())
    found = store.open_session(session)
    stem = _stem(out, found.id)
    files = {one: stem.with_name(f"{stem.name}.{one}") for one in wanted}
    _need_folder(stem.parent)
    said = None if words is None else _said(words)
    refuse_overwriting(files.values(), given=(words, *(said.photos.values() if said else ())))
    if said is not None:
        _keep(store, found, said, tell)
    generated = datetime.now().astimezone() if dated else None
    document = session_document(published_session(store, found, generated=generated, tell=tell))
    return Reported(
        session=found.id,
        title=f"{document.title}, {document.subtitle}",
        found=tuple(plain_words(paragraph.words) for paragraph in document.lead),
        sections=tuple(section.title for section in document.sections),
        photos=len(kept_words(store, found)[1]),
        files=tuple(_write(document, one, path, tell) for one, path in files.items()),
    )


def _wanted(formats: tuple[str, ...]) -> tuple[ReportFormat, ...]:
    strangers = [one for one in formats if one not in FORMATS]
    if strangers or not formats:
        raise SettingsError(
            f'There is no report in the format "{strangers[0]}".' if strangers else "No format is named.",
            why=f"a report is written as {', '.join(FORMATS)}",
            hint="Leave --format out for all three, or name one: --format html",
        )
    return tuple(one for one in FORMATS if one in formats)


def _stem(out: Path | None, session: str) -> Path:
    """Give the files' common name; an ending that we add ourselves is taken off first."""
    if out is None:
        return Path(session)
    return out.with_suffix("") if out.suffix.lower().removeprefix(".") in FORMATS else out


def _need_folder(folder: Path) -> None:
    """Refuse before the work what would fail after it."""
    if not folder.is_dir():
        raise FileMissingError(
            f"There is no folder {folder}.", why="the report is to be written there", hint="Make it, or change --out."
        )


@dataclass(frozen=True, kw_only=True)
class _Said:
    """A words file and where its photographs are, by the name it calls them."""

    text: str
    photos: Mapping[str, Path]


def _said(path: Path) -> _Said:
    from wattproof.publish import parse_remarks

    text = text_of(path)
    remarks = parse_remarks(text, file=shown_name(path))
    return _Said(text=text, photos={photo.file: path.parent / photo.file for photo in remarks.photos})


def _keep(store: "Archive", session: "Session", said: _Said, tell: Callable[[str], None] | None) -> None:
    """Clean all photographs before the first thing is kept."""
    from wattproof.publish import cleaned_photo

    photos = {}
    for name, path in said.photos.items():
        if tell is not None:
            tell(f"photograph {name}")
        photos[name] = cleaned_photo(_bytes_of(path), name=name).jpeg
    store.keep_remarks(session, said.text, photos)


def _bytes_of(path: Path) -> bytes:
    try:
        with path.open("rb") as file:
            return file.read(_LARGEST_PHOTO_BYTES)
    except OSError as error:
        raise FileMissingError(
            f"Cannot read the photograph {path}.",
            why=error.strerror or str(error),
            hint="Name it as it lies beside the words file, and check that it may be read.",
        ) from error


def _write(document: "Document", wanted: ReportFormat, path: Path, tell: Callable[[str], None] | None) -> ReportFile:
    from wattproof.publish import document_html, document_markdown, document_pdf

    if tell is not None:
        tell(f"report as {wanted}")
    if wanted == "pdf":
        data = document_pdf(document)
    else:
        data = (document_html if wanted == "html" else document_markdown)(document).encode("utf-8")
    write_bytes(path, data)
    return ReportFile(format=wanted, file=path, size_bytes=len(data))
