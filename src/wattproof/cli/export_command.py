"""The command that gives data out to other programs."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def export(
    session: str | None = None,
    /,
    *,
    out: Path | None = None,
    all: bool = False,
    tables_only: bool = False,
    archive: Path | None = None,
    json: bool = False,
) -> None:
    """Write a session, or the whole archive, as tables, objects and recordings for other programs.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    out
        Folder to make; SESSION-data, or archive-data, here when left out. An earlier export in it is replaced.
    all
        Every session of the archive, in one set of tables.
    tables_only
        Leave the recordings out.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    made = tasks.export(session, out=out, all=all, tables_only=tables_only, archive=archive, tell=progress())
    print(made.model_dump_json(indent=2) if json else made.text())
