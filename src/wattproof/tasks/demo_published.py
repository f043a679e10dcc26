"""What the demonstration publishes of its first session: a report, two pictures, and an evidence pack."""

import textwrap
from collections.abc import Callable
from pathlib import Path

from wattproof.tasks.packing import pack
from wattproof.tasks.picturing import picture
from wattproof.tasks.proving import verify
from wattproof.tasks.publishing import report

PICTURES = ("power", "verdicts")
WIDEST = 120


def published(session: str, *, home: Path, shown: Path, say: Callable[[str], None]) -> tuple[Path, ...]:
    """Publish a session as a tester would.

    Parameters
    ----------
    session : str
    home, shown : Path
        The demonstration's folder, and what it is called in the commands that are told.
    say : callable
        Gets a line of text.

    Returns
    -------
    tuple of Path
        Report, pictures, pack.
    """
    archive, folder = home / "archive", home / "published"
    kept = f"--archive {shown / 'archive'}"
    folder.mkdir(exist_ok=True)
    say(f"\n5. Publish it:  wattproof report {session} {kept}")
    written = report(session, archive=archive, out=folder / "bittern-1")
    for paragraph in written.found:
        say("\n".join(textwrap.wrap(paragraph, WIDEST, initial_indent="  ", subsequent_indent="  ")))
    say(f"  wattproof picture {session} {' '.join(PICTURES)} {kept}")
    drawn = picture(session, PICTURES, archive=archive, out=folder)
    say(f"  wattproof pack {session} {kept}")
    packed = pack(session, archive=archive, out=_fresh(folder / "bittern-1.zip"))
    proved = verify(packed.file)
    same = sum(figure.state in {"same", "near"} for figure in proved.figures)
    say(f"  wattproof verify {shown / 'published' / packed.file.name}")
    say(f"  Measured again from the pack alone, {same} of {len(proved.figures)} figures are as published.")
    return (*(file.file for file in written.files), *drawn.files, packed.file)


def _fresh(path: Path) -> Path:
    """Make room for a demonstration's own pack of before."""
    path.unlink(missing_ok=True)
    return path
