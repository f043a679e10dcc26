"""The command that weighs a maker's ratings."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def judge(session: str, /, *, archive: Path | None = None, json: bool = False) -> None:
    """Judge the maker's ratings by a session's figures: meets, falls short, cannot tell.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.judge(session, archive=archive, tell=progress())
    print(found.to_json() if json else found.text())
