"""The command that draws pictures of a session."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def picture(
    session: str,
    names: tuple[str, ...] = (),
    /,
    *,
    shape: str = "wide",
    paper: str = "light",
    format: str = "png",
    out: Path = Path("pictures"),
    archive: Path | None = None,
    json: bool = False,
) -> None:
    """Draw charts and result cards of a session for a video, a forum or a telephone; without names, list what there is.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    names
        Pictures to draw, or "all"; the names that there are, when left out.
    shape
        wide (1920 by 1080 pixels), tall (1080 by 1920) or square (1080 by 1080).
    paper
        light, dark, none (clear, to lie on a light ground) or none-dark (clear, to lie on a dark one).
    format
        png, svg or pdf.
    out
        Folder to write to; made where there is none. A picture drawn before under the same name is replaced.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.picture(
        session, names, shape=shape, paper=paper, format=format, out=out, archive=archive, tell=progress()
    )
    print(found.to_json() if json else found.text())
