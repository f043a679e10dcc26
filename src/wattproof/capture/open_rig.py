"""From the bench file's `[rig]` to a rig: the plug-in of that kind, and the parts around it."""

from collections.abc import Callable
from functools import partial
from importlib.metadata import EntryPoint, entry_points
from pathlib import Path
from typing import TypeVar

from wattproof.bench import Bench, RigSettings
from wattproof.capture.absent import AbsentPart
from wattproof.capture.contract import LoadPart, MeterPart, Operator, Parts, SupplyPart
from wattproof.capture.parts import make_load, make_meter, make_supply
from wattproof.capture.rig import BenchRig
from wattproof.errors import RigError, WattproofError

GROUP = "wattproof.rigs"

NO_RIG = """[rig]
kind = "audio"          # or "simulated"
sample_rate_hz = 96000
drive_outputs = { A = 1 }
drive_v_full_scale = 2.0

[rig.supply]
kind = "manual"         # or "scpi", with address and instrument

[rig.load]
kind = "manual\""""
"""What a bench file lacks that has no rig."""

Part = TypeVar("Part")


def open_rig(bench: Bench, *, operator: Operator | None, folder: Path) -> BenchRig:
    """Open the rig of a bench file; close it whatever happens: it is a context manager.

    A part that cannot be opened is no error here: it fails its check, together with all others that do, and raises
    its error when it is used.

    Parameters
    ----------
    bench : Bench
        Its ``[rig]`` says what plays, records, feeds and loads.
    operator : Operator or None
        Who works the parts that are worked by hand.
    folder : Path
        Where the bench file lies, for files it names.

    Returns
    -------
    BenchRig
        A `Rig`.

    Raises
    ------
    RigError
        The bench file has no ``[rig]``, or no plug-in is installed for its kind.
    """
    rig = bench.rig
    if rig is None:
        raise RigError(
            f'The bench "{bench.name}" has no rig, so it can only measure files.',
            why="Its bench file has no [rig].",
            hint=f"Add these lines, changed to what stands there:\n{NO_RIG}",
        )
    plug_in = _plug_in(rig)
    return BenchRig(_completed(_opened(plug_in, bench, rig, folder), bench, rig, operator, folder))


def _plug_in(rig: RigSettings) -> EntryPoint:
    known = {entry.name: entry for entry in entry_points(group=GROUP)}
    if rig.kind not in known:
        raise RigError(
            f'There is no rig of kind "{rig.kind}".',
            why=f"Those there are: {', '.join(sorted(known)) or 'none'}.",
            hint="Write one of them as kind under [rig], or install the plug-in that brings it.",
        )
    return known[rig.kind]


def _opened(plug_in: EntryPoint, bench: Bench, rig: RigSettings, folder: Path) -> Parts:
    try:
        parts: Parts = plug_in.load()(bench, folder)
    except WattproofError as error:
        return Parts(recorder=AbsentPart("recorder", error, rate_hz=rig.sample_rate_hz))
    except ImportError as error:
        raise RigError(
            f'The rig of kind "{rig.kind}" cannot be loaded.',
            why=f"{plug_in.value}: {error}",
            hint="Install what it needs, or the plug-in anew.",
        ) from error
    return parts


def _completed(parts: Parts, bench: Bench, rig: RigSettings, operator: Operator | None, folder: Path) -> Parts:
    """Add the parts that the plug-in has left to us."""
    supply: SupplyPart | None = parts.supply
    load: LoadPart | None = parts.load
    meters: dict[str, MeterPart] = dict(parts.meters)
    if supply is None:
        supply = _or_absent("supply", partial(make_supply, rig.supply, operator=operator, folder=folder))
    if load is None:
        load = _or_absent("load", partial(make_load, rig.load, bench, operator=operator, folder=folder))
    for one in rig.meters:
        quantity = one.quantity or one.name or "meter"
        if quantity not in meters:
            make = partial(make_meter, one, operator=operator, folder=folder)
            meters[quantity] = _or_absent(f"meter {quantity}", make)
    return Parts(recorder=parts.recorder, supply=supply, load=load, meters=meters)


def _or_absent(part: str, make: Callable[[], Part]) -> Part | AbsentPart:
    try:
        return make()
    except WattproofError as error:
        return AbsentPart(part, error)
