"""The commands of papers: the files that are written once and used by many sessions."""

from pathlib import Path

from wattproof import tasks


def paper_keep(
    kind: str, file: Path, /, *, name: str | None = None, archive: Path | None = None, json: bool = False
) -> None:
    """Keep an amplifier file, a bench file or a run sheet in the archive; its states before are kept too.

    Parameters
    ----------
    kind
        amplifier, bench, sheet or words.
    file
        The file as it is now.
    name
        What to call it; told from what it says when left out.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    kept = tasks.paper_keep(kind, file, name=name, archive=archive)
    print(kept.model_dump_json(indent=2) if json else f"Kept as {kept.kind} {kept.name}, state {kept.number}.")


def paper_list(*, archive: Path | None = None, json: bool = False) -> None:
    """List the papers kept in the archive.

    Parameters
    ----------
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.paper_list(archive=archive)
    print(found.model_dump_json(indent=2) if json else found.text())


def paper_show(
    kind: str, name: str, /, *, number: int | None = None, archive: Path | None = None, json: bool = False
) -> None:
    """Show what a paper says: now, or in one of its states before.

    Parameters
    ----------
    kind
        amplifier, bench, sheet or words.
    name
        What it is called.
    number
        Which state; the one that counts when left out.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    shown = tasks.paper_show(kind, name, number=number, archive=archive)
    print(shown.model_dump_json(indent=2) if json else shown.text, end="\n" if json else "")


def paper_back(
    kind: str, name: str, /, *, to: int | None = None, archive: Path | None = None, json: bool = False
) -> None:
    """Take back a paper's last change, or go to any of its states; nothing is deleted.

    Parameters
    ----------
    kind
        amplifier, bench, sheet or words.
    name
        What it is called.
    to
        Which state is to count; the one before the present one when left out.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    shown = tasks.paper_back(kind, name, to=to, archive=archive)
    print(shown.model_dump_json(indent=2) if json else f"{shown.kind} {shown.name} is back at state {shown.number}.")
