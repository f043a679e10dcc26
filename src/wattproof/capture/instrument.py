"""The file a person writes for an instrument: what to say to it, and how to read what it says."""

import re
from collections.abc import Iterator, Mapping
from string import Formatter
from typing import Annotated, Any, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from wattproof.settings import Clash, Number, Part, Whole, Words, custom_fault, parse_settings

Kind = Literal["supply", "load", "meter", "scope"]


def _as_list(value: object) -> object:
    """Let one command stand without brackets."""
    return [value] if isinstance(value, str) else value


def _pattern(text: str) -> str:
    """Refuse what is no regular expression, and more than one group, of which nobody could say which is meant."""
    try:
        groups = re.compile(text).groups
    except re.error as error:
        raise custom_fault(f'"{text}" is no regular expression: {error}', 'write one, as in "ON|1"') from error
    if groups > 1:
        raise custom_fault(f'"{text}" has {groups} groups', "put parentheses around the number only, (?:...) elsewhere")
    return text


def _plain_template(text: str) -> str:
    """Refuse braces that no placeholder fits."""
    try:
        names = [name for _text, name, _spec, _conversion in Formatter().parse(text) if name is not None]
    except ValueError as error:
        raise custom_fault(f'"{text}": {error}', "write a placeholder as {volts:.3f}, a brace itself twice") from error
    if any(not name.isidentifier() for name in names):
        raise custom_fault(f'"{text}" has a placeholder without a plain name', "write it as {volts:.3f}")
    return text


def _ascii(end: str) -> str:
    if end.isascii():
        return end
    raise custom_fault(f"{end!r} is no line end", 'write "\\n", "\\r", "\\r\\n" or ";" as its manual says')


Pattern = Annotated[Words, AfterValidator(_pattern)]
Template = Annotated[Words, AfterValidator(_plain_template)]
Commands = Annotated[tuple[Template, ...], BeforeValidator(_as_list)]
LineEnd = Annotated[str, Field(strict=True, max_length=2), AfterValidator(_ascii)]


class Ask(Part):
    """A question whose answer is a number."""

    ask: Template = Field(examples=["MEASure:VOLTage?"])
    pattern: Pattern | None = Field(
        default=None,
        description="regular expression with one group around the number; left out: the only number in the answer",
        examples=["VOLT ([-+.0-9Ee]+)"],
    )
    field: Whole | None = Field(
        default=None, ge=1, description="which of the answer's fields between commas, counted from 1", examples=[5]
    )
    scale: Number = Field(default=1.0, description="SI units per unit of the answer", examples=[0.001])
    offset: Number = Field(default=0.0, description="SI units, added after scaling", examples=[-17.78])


class AskState(Part):
    """A question that is answered with yes or no."""

    ask: Template = Field(examples=["OUTPut?"])
    yes: Pattern = Field(description="the whole answer that means yes, letters large or small", examples=["1|ON"])
    no: Pattern | None = Field(
        default=None, description="the whole answer that means no; left out: any other", examples=["0|OFF"]
    )


class ErrorQueue(Part):
    """How the instrument is asked what it did not understand."""

    ask: Template = Field(examples=["SYSTem:ERRor?"])
    none: Pattern = Field(description="how an answer begins that means: no error", examples=["[+-]?0(?![0-9])"])
    most: Whole = Field(default=20, ge=1, le=1000, description="asked at most so often")


class SerialSettings(Part):
    """How a serial line is set; left out for sockets and USB."""

    baud_rate: Whole = Field(default=9600, ge=50, le=4_000_000, examples=[19200])
    data_bits: Whole = Field(default=8, ge=5, le=8)
    parity: Literal["none", "even", "odd"] = "none"
    stop_bits: Literal[1, 2] = 1


class SupplyWords(Part):
    """What a supply is told and asked."""

    set_volts: Commands = Field(examples=[["VOLTage {volts:.3f}"]])
    set_limit: Commands = Field(default=(), description="its current limit", examples=[["CURRent {limit_a:.2f}"]])
    over_voltage: Commands = Field(
        default=(),
        description="its own shut-down above a voltage",
        examples=[["VOLTage:PROTection {over_voltage_v:.2f}"]],
    )
    over_voltage_ratio: Number = Field(default=1.1, gt=1, le=2, description="that voltage over the set one, V/V")
    over_current: Commands = Field(
        default=(),
        description="its own shut-down above a current",
        examples=[["CURRent:PROTection {over_current_a:.2f}"]],
    )
    over_current_ratio: Number = Field(default=1.0, ge=1, le=2, description="that current over the limit, A/A")
    watchdog: Commands = Field(
        default=(),
        description="its own time-out: it opens the output when it hears nothing for so long",
        examples=[["SYSTem:WATChdog {watchdog_s:.1f}"]],
    )
    feed: Commands = Field(
        default=(), description="what keeps the watchdog from biting", examples=[["SYSTem:WATChdog:FEED"]]
    )
    on: Commands = Field(min_length=1, examples=[["OUTPut ON"]])
    off: Commands = Field(min_length=1, examples=[["OUTPut OFF"]])
    is_on: AskState | None = Field(default=None, examples=[{"ask": "OUTPut?", "yes": "1|ON"}])
    set_volts_said: Ask | None = Field(
        default=None, description="asks back the set voltage, V", examples=[{"ask": "VOLTage?"}]
    )
    volts: Ask | None = Field(
        default=None, description="asks the measured voltage, V", examples=[{"ask": "MEASure:VOLTage?"}]
    )
    amps: Ask | None = Field(
        default=None, description="asks the measured current, A", examples=[{"ask": "MEASure:CURRent?"}]
    )


class Relay(Part):
    """How a relay box connects one load."""

    load: Words = Field(description="name of a load of the bench file", examples=["4 ohm"])
    close: Commands = Field(min_length=1, examples=[["ROUTe:CLOSe (@1)"]])
    said: Pattern | None = Field(
        default=None, description="the whole answer to state while it is connected", examples=["1,0,0"]
    )


class LoadWords(Part):
    """What a load is told and asked: a relay box that knows loads by name, or an electronic load."""

    none: Commands = Field(min_length=1, description="disconnects every load", examples=[["ROUTe:OPEN:ALL"]])
    none_said: Pattern | None = Field(
        default=None, description="the whole answer to state while nothing is connected", examples=["0,0,0"]
    )
    state: Template | None = Field(default=None, description="asks what is connected", examples=["ROUTe:CLOSe?"])
    relays: tuple[Relay, ...] = ()
    set_ohm: Commands = Field(
        default=(), description="electronic load: its resistance", examples=[["RESistance {resistance_ohm:.3f}"]]
    )
    on: Commands = Field(default=(), description="electronic load: connects it", examples=[["INPut ON"]])
    set_ohm_said: Ask | None = Field(
        default=None, description="asks back the set resistance, ohm", examples=[{"ask": "RESistance?"}]
    )
    range_ohm: tuple[Number, Number] | None = Field(
        default=None, description="electronic load: lowest and highest resistance, ohm", examples=[[0.5, 100]]
    )


class MeterWords(Part):
    """What a meter is asked."""

    read: Ask = Field(description="one reading, SI unit; temperature in degrees Celsius", examples=[{"ask": "READ?"}])


class ScopeWords(Part):
    """What an oscilloscope is told and asked: volts = (code - y_reference) * y_increment_v + y_offset_v."""

    arm: Commands = Field(default=(), description="begins one acquisition", examples=[["SINGle"]])
    done: AskState | None = Field(
        default=None, description="asks whether it is complete", examples=[{"ask": "ACQuire:DONE?", "yes": "1"}]
    )
    done_within_s: Number = Field(default=10.0, gt=0, le=3600, description="seconds")
    channels: tuple[Words, ...] = Field(min_length=1, examples=[["1", "2"]])
    select: Commands = Field(
        default=(), description="chooses the channel to read", examples=[["WAVeform:SOURce {channel}"]]
    )
    data: Template = Field(description="asks for the samples", examples=["WAVeform:DATA?"])
    header: Literal["block", "none"] = Field(
        default="block", description="block: IEEE 488.2; none: bare bytes, as many as points says"
    )
    numbers: Literal["int8", "uint8", "int16", "uint16", "int32", "uint32", "float32", "float64"] = "int8"
    byte_order: Literal["big", "little"] = "big"
    increment_s: Ask = Field(description="asks seconds between samples", examples=[{"ask": "WAVeform:XINCrement?"}])
    points: Ask | None = Field(
        default=None, description="asks the number of samples", examples=[{"ask": "WAVeform:POINts?"}]
    )
    y_increment_v: Ask | None = Field(
        default=None, description="asks volts per code; left out: 1", examples=[{"ask": "WAVeform:YINCrement?"}]
    )
    y_reference: Ask | None = Field(
        default=None, description="asks the code of y_offset_v; left out: 0", examples=[{"ask": "WAVeform:YREFerence?"}]
    )
    y_offset_v: Ask | None = Field(
        default=None, description="asks volts at that code; left out: 0", examples=[{"ask": "WAVeform:YORigin?"}]
    )


class Instrument(Part):
    """An instrument's words, from its TOML file."""

    name: Words = Field(description="for messages", examples=["Plum bench supply"])
    kind: Kind = Field(examples=["supply"])
    line_end: LineEnd = Field(default="\n", min_length=1, description="ends each command", examples=["\r\n"])
    answer_end: LineEnd = Field(
        default="\n", description="ends each answer; empty: an answer ends when the line falls quiet"
    )
    identity: Annotated[str, Field(strict=True)] = Field(
        default="*IDN?", description="asked first; empty where the instrument knows no such question"
    )
    identity_says: Words | None = Field(
        default=None, description="what must be in the answer, letters large or small", examples=["PLUM"]
    )
    begin: Commands = Field(default=(), description="said once, after the identity", examples=[["*CLS"]])
    end: Commands = Field(default=(), description="said last, when it is let go of", examples=[["SYSTem:LOCal"]])
    settle_s: Number = Field(default=0.0, ge=0, le=60, description="wait after each switching, seconds")
    errors: ErrorQueue | None = None
    serial: SerialSettings = SerialSettings()
    supply: SupplyWords | None = None
    load: LoadWords | None = None
    meter: MeterWords | None = None
    scope: ScopeWords | None = None


def parse_instrument(text: str, *, file: str) -> Instrument:
    """Read the text of an instrument's file.

    Parameters
    ----------
    text : str
        Content of the file.
    file : str
        Its name, for messages.

    Raises
    ------
    SettingsError
        With every fault, its line and its cure.
    """
    return parse_settings(text, Instrument, file=file, clashes=_clashes)


KNOWN: dict[tuple[str, ...], tuple[str, ...]] = {
    ("supply", "set_volts"): ("volts",),
    ("supply", "set_limit"): ("limit_a",),
    ("supply", "over_voltage"): ("over_voltage_v",),
    ("supply", "over_current"): ("over_current_a",),
    ("supply", "watchdog"): ("watchdog_s",),
    ("load", "set_ohm"): ("resistance_ohm",),
    ("scope", "select"): ("channel",),
}
"""Named values that may stand in a command; everywhere else none may."""

_TEXT_VALUES = {"channel"}
_MODELS: dict[str | int, type[Part]] = {
    "supply": SupplyWords,
    "load": LoadWords,
    "meter": MeterWords,
    "scope": ScopeWords,
}


def _clashes(data: Mapping[str, Any]) -> Iterator[Clash]:
    yield from _placeholders(data, ())
    yield from _tables(data)
    yield from _supply(_table(data, "supply"))
    yield from _load(_table(data, "load"))
    yield from _scope(_table(data, "scope"))


def _table(data: Mapping[str, Any], key: str) -> Mapping[str, Any]:
    found = data.get(key)
    return found if isinstance(found, Mapping) else {}


def _placeholders(part: object, path: tuple[str | int, ...]) -> Iterator[Clash]:
    """Look at every text of the file but the patterns and names, which are no commands."""
    if isinstance(part, Mapping):
        for key, inner in part.items():
            if key not in _NO_COMMANDS:
                yield from _placeholders(inner, (*path, key))
    elif isinstance(part, list):
        for number, inner in enumerate(part):
            yield from _placeholders(inner, (*path, number))
    elif isinstance(part, str):
        yield from _placeholders_of(part, path)


_NO_COMMANDS = {"name", "kind", "pattern", "yes", "no", "none_said", "said", "identity_says", "line_end", "answer_end"}


def _placeholders_of(text: str, path: tuple[str | int, ...]) -> Iterator[Clash]:
    if len(path) > 1 and path[0] in _MODELS and path[1] not in _MODELS[path[0]].model_fields:
        return  # the key is told; what belongs in it nobody knows
    known = KNOWN.get(tuple(step for step in path if isinstance(step, str))[:2], ())
    try:
        found = [(name, spec) for _text, name, spec, _conversion in Formatter().parse(text) if name is not None]
    except ValueError:
        return  # the field's own validator tells
    for name, spec in found:
        if not name.isidentifier():
            continue  # so does it here
        if name not in known:
            listed = " or ".join(f"{{{one}}}" for one in known)
            cure = f"write {listed}" if known else "write the command without a placeholder"
            yield Clash(path, f'{{{name}}} in "{text}" is no value that is known here', cure)
        elif name not in _TEXT_VALUES and not _formats(spec or ""):
            yield Clash(path, f'"{spec}" in "{text}" is no number format', f"write it as {{{name}:.3f}}")


def _formats(spec: str) -> bool:
    try:
        return bool(format(12.5, spec))
    except ValueError:
        return False


def _tables(data: Mapping[str, Any]) -> Iterator[Clash]:
    kind = data.get("kind")
    kinds = ("supply", "load", "meter", "scope")
    if kind not in kinds:
        return
    if kind not in data:
        yield Clash(("kind",), f'kind is "{kind}" and there is no table [{kind}]', f"add [{kind}] with its commands")
    for other in kinds:
        if other != kind and other in data:
            yield Clash((other,), f"[{other}] stands in the file of a {kind}", "write a file for each instrument")


def _supply(words: Mapping[str, Any]) -> Iterator[Clash]:
    if "watchdog" in words and "feed" not in words and not {"is_on", "volts"} & words.keys():
        yield Clash(
            ("supply", "watchdog"),
            "nothing is said that would keep the watchdog from biting",
            "add feed, or is_on or volts, which are asked about twice a second",
        )
    if "feed" in words and "watchdog" not in words:
        yield Clash(("supply", "feed"), "feed is written without watchdog", "add watchdog, or delete feed")


def _load(words: Mapping[str, Any]) -> Iterator[Clash]:
    if words and not {"relays", "set_ohm"} & words.keys():
        yield Clash(("load",), "no load can be connected", "add [[load.relays]], or set_ohm for an electronic load")
    if {"relays", "set_ohm"} <= words.keys():
        yield Clash(("load", "set_ohm"), "relays and set_ohm exclude each other", "delete one of them")
    if "state" not in words and "none_said" in words:
        yield Clash(("load", "none_said"), "none_said is the answer to state, which is not written", "add state")


def _scope(words: Mapping[str, Any]) -> Iterator[Clash]:
    if words.get("header") == "none" and "points" not in words:
        yield Clash(
            ("scope", "header"),
            "bare bytes without a header end nowhere: only their number says where",
            'add points = { ask = "..." }, or header = "block" where the samples come as a block',
        )
    several = isinstance(words.get("channels"), list) and len(words["channels"]) > 1
    if several and "select" not in words:
        yield Clash(
            ("scope", "channels"),
            "several channels, and nothing that chooses between them",
            'add select = "WAVeform:SOURce {channel}", as the instrument has it',
        )
