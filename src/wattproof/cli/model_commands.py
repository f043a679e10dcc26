"""The commands that fit an amplifier's behaviour and tell what follows from it."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def model(
    session: str,
    /,
    *,
    archive: Path | None = None,
    output: str | None = None,
    driven: int | None = None,
    json: bool = False,
) -> None:
    """Fit a model of the amplifier's behaviour to a session's figures: rail, resistance, limits, knee and losses.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    output
        One output only; all of them, taken for alike, when left out.
    driven
        Outputs driven at once in the captures to use; what most captures have when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.model(session, archive=archive, output=output, driven=driven, tell=progress())
    print(found.to_json() if json else found.text())


def predict(
    session: str,
    /,
    *,
    load: float | None = None,
    supply: float | None = None,
    thd: float = 1.0,
    cable_mohm: float = 0.0,
    source_mohm: float = 0.0,
    archive: Path | None = None,
    output: str | None = None,
    driven: int | None = None,
    json: bool = False,
) -> None:
    """Predict power, supply current, efficiency and heat under conditions that were not measured, or refuse.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    load
        Ohms at each output; the lowest load of the captures when left out.
    supply
        Volts at the amplifier's terminals, or of the source where --cable-mohm or --source-mohm is given; the highest
        of the captures when left out.
    thd
        Limit of distortion in per cent.
    cable_mohm
        Resistance of both leads together, milliohms.
    source_mohm
        Inner resistance of battery or power supply, milliohms.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    output
        One output only; all of them, taken for alike, when left out.
    driven
        Outputs driven at once; what most captures have when left out.
    json
        Print one JSON object instead.
    """
    found = tasks.predict(
        session,
        load=load,
        supply=supply,
        thd=thd,
        cable_mohm=cable_mohm,
        source_mohm=source_mohm,
        archive=archive,
        output=output,
        driven=driven,
        tell=progress(),
    )
    print(found.to_json() if json else found.text())
