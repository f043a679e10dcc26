"""What a person says beside a session's figures, as a form shows and takes it: summary, pros, cons, photographs."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from wattproof.errors import FileMissingError
from wattproof.settings import edited_toml
from wattproof.tasks.run_past import need_session

if TYPE_CHECKING:
    from wattproof.archive import Archive, KeptRemarks
    from wattproof.publish import Remarks


@dataclass(frozen=True, kw_only=True)
class PhotoGiven:
    """A photograph in the form.

    Attributes
    ----------
    name, caption : str
    data : bytes or None
        A JPEG or PNG file; None: the one that is kept under this name.
    """

    name: str
    caption: str
    data: bytes | None = None


class SessionWords:
    """The words of an archive's sessions.

    Parameters
    ----------
    archive : Path
        Folder of the archive.
    """

    def __init__(self, archive: Path) -> None:
        self._archive = archive

    def show(self, session: str) -> "Remarks":
        """Give what was said last; nothing at all where nothing was."""
        from wattproof.publish import Remarks, parse_remarks

        kept = self._kept(session)
        return Remarks() if kept is None else parse_remarks(kept.words, file="words.toml")

    def photo(self, session: str, name: str) -> bytes | None:
        """Give a kept photograph, a JPEG without its camera's notes; None where there is none of that name."""
        kept = self._kept(session)
        return None if kept is None else kept.photos.get(name)

    def keep(
        self, session: str, *, summary: str, pros: Sequence[str], cons: Sequence[str], photos: Sequence[PhotoGiven]
    ) -> None:
        """Keep it as the state that counts; what was said before stays among the states.

        Raises
        ------
        UnknownFormatError, BrokenFileError
            A file is no photograph that can be shown.
        SettingsError
            A word cannot stand in a words file.
        """
        from wattproof.publish import cleaned_photo, parse_remarks

        kept = self._kept(session)
        pictures: dict[str, bytes] = {}
        said: list[dict[str, str]] = []
        for name, photo in _named(photos):
            if photo.data is not None:
                pictures[name] = cleaned_photo(photo.data, name=photo.name).jpeg
            else:
                pictures[name] = _again(kept, photo.name)
            said.append({"file": name, "caption": photo.caption})
        wanted: dict[str, Any] = {
            "summary": summary or None, "pros": list(pros) or None, "cons": list(cons) or None, "photos": said or None,
        }  # fmt: skip
        text = edited_toml("" if kept is None else kept.words, wanted)
        parse_remarks(text, file="words.toml")
        store = self._store()
        store.keep_remarks(store.open_session(session), text, pictures)

    def _kept(self, session: str) -> "KeptRemarks | None":
        store = self._store()
        need_session(store, session)  # a page's word is never taken for a path
        return store.remarks(store.open_session(session))

    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._archive)


def _named(photos: Sequence[PhotoGiven]) -> Iterator[tuple[str, PhotoGiven]]:
    """Give each photograph a name of its own: two telephones call theirs alike."""
    taken: set[str] = set()
    kept_first = sorted(photos, key=lambda photo: photo.data is not None)
    names: dict[int, str] = {}
    for photo in kept_first:
        name, number = photo.name, 1
        while name in taken:
            number += 1
            name = f"{number}-{photo.name}"
        taken.add(name)
        names[id(photo)] = name
    yield from ((names[id(photo)], photo) for photo in photos)


def _again(kept: "KeptRemarks | None", name: str) -> bytes:
    found = None if kept is None else kept.photos.get(name)
    if found is None:
        raise FileMissingError(
            f'No photograph is kept under the name "{name}".',
            why="the words of this session were changed elsewhere meanwhile",
            hint="Load the page again, and add the photograph once more.",
        )
    return found
