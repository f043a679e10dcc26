"""The command that looks at a maker's ratings before any bench."""

from pathlib import Path

from wattproof import tasks


def plausible(amplifier: Path, /, *, json: bool = False) -> None:
    """Look at a maker's ratings without a bench: fuse, volts, capacitors, and the sheet against itself.

    Parameters
    ----------
    amplifier
        The amplifier's file, amplifier.toml.
    json
        Print one JSON object instead.
    """
    found = tasks.plausible(amplifier)
    print(found.to_json() if json else found.text(), end="\n" if json else "")
