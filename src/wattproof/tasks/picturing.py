"""`picture`: single charts and cards of a session as files for a video, a forum or a telephone."""

import json
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.errors import FileMissingError, SettingsError
from wattproof.tasks.files import write_bytes
from wattproof.tasks.published import published_session

if TYPE_CHECKING:
    from wattproof.publish import Format, Look, Picture

_CHOICES = {
    "shape": ("wide", "tall", "square"),
    "paper": ("light", "dark", "none", "none-dark"),
    "format": ("png", "svg", "pdf"),
}


class _Answer(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)


class PictureNamed(_Answer):
    """A picture that can be drawn."""

    name: str
    shows: str


class Pictured(_Answer):
    """What `wattproof picture` answers."""

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    session: str
    pictures: tuple[PictureNamed, ...] = Field(description="all that can be drawn of the session")
    files: tuple[Path, ...] = Field(default=(), description="what was drawn")

    def text(self) -> str:
        """List the files that were drawn; where none was asked for, the names that can be."""
        if self.files:
            return "\n".join(f"{file}" for file in self.files)
        if not self.pictures:
            return f"Session {self.session} has no picture yet: its captures show nothing that can be drawn."
        width = max(len(picture.name) for picture in self.pictures)
        lines = [f"{picture.name:<{width}}  {picture.shows}" for picture in self.pictures]
        return "\n".join([f"Pictures of {self.session}; name one or more, or all:", *lines])

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


def picture(
    session: str,
    names: Sequence[str] = (),
    *,
    shape: str = "wide",
    paper: str = "light",
    format: str = "png",
    out: Path = Path("pictures"),
    archive: Path | None = None,
    tell: Callable[[str], None] | None = None,
) -> Pictured:
    """Draw charts and result cards of a session for a video, a forum or a telephone; without names, list what there is.

    Parameters
    ----------
    session : str
        Name of the session, or a part of it that no other session has.
    names : sequence of str
        Pictures to draw, or "all".
    shape : str
        "wide" (1920 by 1080), "tall" (1080 by 1920) or "square" (1080 by 1080 pixels).
    paper : str
        "light", "dark", "none" (clear, to lie on a light ground) or "none-dark" (clear, to lie on a dark one).
    format : str
        "png", "svg" or "pdf".
    out : Path
        Folder to write to; made where there is none. A picture drawn before under the same name is replaced.
    archive : Path or None
        Folder of the archive.
    tell : callable or None
        Gets a line before each capture that is measured and each picture that is drawn.

    Raises
    ------
    ArchiveError
        There is no such session, or a kept capture is not what its hash says.
    SettingsError
        There is no such shape, paper or format.
    UsageError
        There is no picture of such a name.
    FileMissingError
        The folder cannot be made or written to.
    """
    from wattproof.archive import Archive, default_root
    from wattproof.publish import Look, chosen_pictures, session_pictures

    chosen: dict[str, Any] = {"shape": shape, "paper": paper, "format": format}
    _refuse_unknown(**chosen)
    store = Archive(archive or default_root())
    found = store.open_session(session)
    pictures = session_pictures(published_session(store, found, tell=tell))
    wanted = chosen_pictures(pictures, tuple(names))
    look = Look(shape=chosen["shape"], paper=chosen["paper"])
    files = _drawn(wanted, session=found.id, look=look, form=chosen["format"], out=out, tell=tell)
    return Pictured(
        session=found.id,
        pictures=tuple(
            PictureNamed(name=one.name, shows=", ".join(filter(None, (one.around.title, one.of)))) for one in pictures
        ),
        files=tuple(files),
    )


def _refuse_unknown(**given: str) -> None:
    for name, value in given.items():
        if value not in _CHOICES[name]:
            raise SettingsError(
                f'There is no {name} "{value}".',
                why=f"there are {', '.join(_CHOICES[name])}",
                hint=f"Give one of them: --{name} {_CHOICES[name][0]}.",
            )


def _drawn(
    pictures: Iterable["Picture"],
    *,
    session: str,
    look: "Look",
    form: "Format",
    out: Path,
    tell: Callable[[str], None] | None,
) -> list[Path]:
    from wattproof.publish import draw_picture, picture_bytes

    written: list[Path] = []
    for one in pictures:
        _make(out)
        if tell is not None:
            tell(f"drawing {one.name}")
        pages = draw_picture(one, look)
        for number, page in enumerate(pages, start=1):
            place = f"-{number}" if len(pages) > 1 else ""
            file = out / f"{session}-{one.name}-{look.shape}-{look.paper}{place}.{form}"
            write_bytes(file, picture_bytes(page, form=form))
            written.append(file)
    return written


def _make(folder: Path) -> None:
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise FileMissingError(
            f"Cannot make the folder {folder}.",
            why=error.strerror or str(error),
            hint="Name a folder that is yours: --out pictures.",
        ) from error
