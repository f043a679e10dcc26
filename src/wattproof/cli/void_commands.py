"""The commands that mark a capture as void and take that back."""

from pathlib import Path

from wattproof import tasks


def session_void(
    session: str, number: int, /, *, why: str = "", archive: Path | None = None, json: bool = False
) -> None:
    """Mark a capture as void: it is kept, but no figure is made of it.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    number
        Number of the capture.
    why
        What is wrong with it; without a reason it is refused.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.session_void(session, number, why=why, archive=archive)
    print(found.model_dump_json(indent=2) if json else found.text())


def session_unvoid(session: str, number: int, /, *, archive: Path | None = None, json: bool = False) -> None:
    """Take back that a capture is void; the history keeps what was said of it.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    number
        Number of the capture.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.session_unvoid(session, number, archive=archive)
    print(found.model_dump_json(indent=2) if json else found.text())
