"""The parts around the recorder, made as the bench file says: worked by hand, or spoken to."""

from pathlib import Path

from wattproof.bench import Bench, PartSettings
from wattproof.capture.contract import LoadPart, MeterPart, Operator, SupplyPart
from wattproof.capture.driver import Driver
from wattproof.capture.instrument import Instrument, Kind, parse_instrument
from wattproof.capture.link import SerialLine
from wattproof.capture.load import WiredLoad
from wattproof.capture.manual import ManualLoad, ManualMeter, ManualSupply
from wattproof.capture.meter import WiredMeter
from wattproof.capture.scope import Scope
from wattproof.capture.supply import WiredSupply
from wattproof.capture.wire import open_wire
from wattproof.errors import FileMissingError, RigError, SettingsError


def make_supply(settings: PartSettings, *, operator: Operator | None, folder: Path) -> SupplyPart:
    """Make the supply of ``[rig.supply]``.

    Parameters
    ----------
    settings : PartSettings
    operator : Operator or None
        Who works it, where it is worked by hand.
    folder : Path
        Where the bench file lies: the instrument's file is looked for there.

    Raises
    ------
    RigError
        It is simulated (the rig's plug-in makes those), or the bench file lacks what it needs.
    WireError
        It does not answer, or is another instrument.
    SettingsError, FileMissingError
        The instrument's file is faulty or not there.
    """
    if settings.kind == "manual":
        return ManualSupply(operator, name=settings.name)
    words, driver = _spoken(settings, "supply", folder)
    if words.supply is None:
        raise _wrong_kind(words, "supply")
    try:
        return WiredSupply(driver, words.supply, settings)
    except RigError:
        driver.close()
        raise


def make_load(settings: PartSettings, bench: Bench, *, operator: Operator | None, folder: Path) -> LoadPart:
    """Make the load of ``[rig.load]``.

    Parameters
    ----------
    settings : PartSettings
    bench : Bench
        Whose loads it connects.
    operator, folder
        As for `make_supply`.

    Raises
    ------
    RigError, WireError, SettingsError, FileMissingError
        As for `make_supply`.
    """
    if settings.kind == "manual":
        return ManualLoad(operator)
    words, driver = _spoken(settings, "load", folder)
    if words.load is None:
        raise _wrong_kind(words, "load")
    return WiredLoad(driver, words.load, bench.loads)


def make_meter(settings: PartSettings, *, operator: Operator | None, folder: Path) -> MeterPart:
    """Make one meter of ``[[rig.meters]]``.

    Parameters
    ----------
    settings : PartSettings
    operator, folder
        As for `make_supply`.

    Raises
    ------
    RigError, WireError, SettingsError, FileMissingError
        As for `make_supply`.
    """
    if settings.quantity is None:
        raise RigError(
            f"The bench file does not say what {settings.name or 'a meter'} reads.",
            hint='Write quantity = "temperature", or what it reads, under its [[rig.meters]].',
        )
    if settings.kind == "manual":
        return ManualMeter(operator, quantity=settings.quantity, name=settings.name)
    words, driver = _spoken(settings, "meter", folder)
    if words.meter is None:
        raise _wrong_kind(words, "meter")
    return WiredMeter(driver, words.meter, settings.quantity)


def open_scope(settings: PartSettings, *, folder: Path) -> Scope:
    """Open an oscilloscope whose records are read as captures.

    Parameters
    ----------
    settings : PartSettings
        Its kind, address and instrument.
    folder : Path
        Where the instrument's file lies.

    Raises
    ------
    RigError, WireError, SettingsError, FileMissingError
        As for `make_supply`.
    """
    words, driver = _spoken(settings, "scope", folder)
    if words.scope is None:
        raise _wrong_kind(words, "scope")
    return Scope(driver, words.scope)


def read_instrument(path: Path) -> Instrument:
    """Read an instrument's file.

    Parameters
    ----------
    path : Path

    Raises
    ------
    FileMissingError
        No such file.
    SettingsError
        It is faulty: every fault with its line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except OSError as error:
        raise FileMissingError(
            f"Cannot read the instrument's file {path}.",
            why=error.strerror or str(error),
            hint="Lay it beside the bench file, or correct instrument in the bench file.",
        ) from error
    except UnicodeDecodeError as error:
        raise SettingsError(
            f"{path} is no text file that a person wrote.", why=str(error), hint="Save it as UTF-8 text."
        ) from error
    return parse_instrument(text, file=path.name)


def _spoken(settings: PartSettings, kind: Kind, folder: Path) -> tuple[Instrument, Driver]:
    """Read the instrument's file and open the wire to it; it must be of the kind that is wanted."""
    if settings.kind == "simulated":
        raise RigError(
            f"A simulated {kind} belongs to a simulated rig.",
            why=f'the bench file says kind = "simulated" for the {kind} of another rig',
            hint='Write kind = "manual" or "scpi" there, or kind = "simulated" under [rig].',
        )
    if settings.address is None or settings.instrument is None:
        lacking = "address" if settings.address is None else "instrument"
        example = '"TCPIP::192.168.1.20::5025::SOCKET"' if lacking == "address" else f'"my-{kind}.toml"'
        raise RigError(
            f"The bench file does not say how to speak to the {kind}.",
            why=f"{lacking} is missing from its table",
            hint=f"Add {lacking} = {example}.",
        )
    words = read_instrument(folder / settings.instrument)
    if words.kind != kind:
        raise _wrong_kind(words, kind)
    wire = open_wire(
        settings.address,
        name=settings.name or words.name,
        timeout_s=settings.timeout_s,
        line_end=words.line_end,
        answer_end=words.answer_end,
        serial=SerialLine(**words.serial.model_dump()),
    )
    return words, Driver(wire, words, name=settings.name)


def _wrong_kind(words: Instrument, kind: Kind) -> RigError:
    return RigError(
        f"{words.name} is no {kind}.",
        why=f'its file says kind = "{words.kind}"',
        hint=f"Name the file of a {kind} in the bench file.",
    )
