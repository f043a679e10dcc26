"""The command that lays sessions side by side."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def compare(
    sessions: list[str],
    /,
    *,
    archive: Path | None = None,
    load: tuple[float, ...] = (),
    supply: float | None = None,
    thd: tuple[float, ...] = (1.0, 10.0),
    driven: int | None = None,
    json: bool = False,
) -> None:
    """Lay sessions side by side on common terms, and tell which differences can be told.

    Parameters
    ----------
    sessions
        Names of two or more sessions, or parts of names that no other session has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    load
        Load in ohms; the loads that all sessions have when left out.
    supply
        Volts at the amplifier's terminals; 14.4, or what the sessions share, when left out.
    thd
        Limit of distortion in per cent; 1 and 10 when left out.
    driven
        Outputs driven at once; the most that all sessions drove when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.compare(sessions, archive=archive, load=load, supply=supply, thd=thd, driven=driven, tell=progress())
    print(found.to_json() if json else found.text(), end="\n" if json else "")
