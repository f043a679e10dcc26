"""The command that writes the pages of the whole archive."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def site(
    out: Path,
    /,
    *,
    archive: Path | None = None,
    title: str = "",
    leave_out: tuple[str, ...] = (),
    json: bool = False,
) -> None:
    """Write the whole archive as a folder of pages: a list, a table side by side, a page an amplifier, all reports.

    Parameters
    ----------
    out
        The folder; made where it is not there. Sessions that have not changed are not made again.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    title
        What the site is called.
    leave_out
        A session that is not published: its name, or a part that no other has.
    json
        Print one JSON object instead.
    """
    made = tasks.site(out, archive=archive, title=title, leave_out=leave_out, tell=progress())
    print(made.model_dump_json(indent=2) if json else made.text())
