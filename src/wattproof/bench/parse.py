"""The bench file: text to a checked `Bench`, or one error with all its faults."""

from collections.abc import Iterator, Mapping
from typing import Any

from wattproof.bench.model import Bench
from wattproof.settings import Clash, parse_settings


def parse_bench(text: str, *, file: str) -> Bench:
    r"""Read the text of a `bench.toml`.

    Parameters
    ----------
    text : str
        Content of the file.
    file : str
        Its name, for messages.

    Returns
    -------
    Bench

    Raises
    ------
    SettingsError
        A wrong key, unit, type or value, two parts that contradict each other, or no TOML: each with its line,
        what is wrong and what would be right, all at once.

    Examples
    --------
    >>> parse_bench('[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.03\n', file="bench.toml").loads[0].resistance_ohm
    4.03
    """
    return parse_settings(text, Bench, file=file, clashes=_clashes)


def _clashes(data: Mapping[str, Any]) -> Iterator[Clash]:
    yield from _channels_twice(_tables(data, "channels"))
    yield from _loads_twice(_tables(data, "loads"))
    yield from _meters_twice(_tables(data, "meters"))


def _tables(data: Mapping[str, Any], key: str) -> list[Mapping[str, Any]]:
    """Give the tables under a key; what is no table there is somebody else's complaint."""
    found = data.get(key)
    if not isinstance(found, list):
        return []
    return [table if isinstance(table, Mapping) else {} for table in found]


def _channels_twice(channels: list[Mapping[str, Any]]) -> Iterator[Clash]:
    roles: dict[tuple[str, str], int] = {}
    inputs: dict[str, int] = {}
    for number, channel in enumerate(channels):
        role, given = channel.get("role"), channel.get("input")
        output = channel.get("output", "A")
        if isinstance(role, str) and isinstance(output, str):
            first = roles.setdefault((role, output), number)
            if first != number:
                what = f'channel {number + 1} records {role} of output "{output}", as channel {first + 1} does'
                yield Clash(("channels", number), what, "give them different roles or outputs, or delete one")
        if isinstance(given, str | int):
            first = inputs.setdefault(repr(given), number)
            if first != number:
                what = f"channel {number + 1} takes input {given}, as channel {first + 1} does"
                yield Clash(("channels", number, "input"), what, "one input records one quantity: correct the number")


def _loads_twice(loads: list[Mapping[str, Any]]) -> Iterator[Clash]:
    names: dict[str, int] = {}
    for number, load in enumerate(loads):
        name = load.get("name")
        if isinstance(name, str) and names.setdefault(name, number) != number:
            what = f'load {number + 1} is named "{name}", as load {names[name] + 1} is'
            yield Clash(("loads", number, "name"), what, "give every load its own name")


def _meters_twice(meters: list[Mapping[str, Any]]) -> Iterator[Clash]:
    for number, meter in enumerate(meters):
        for earlier, other in enumerate(meters[:number]):
            same = [meter.get(key) == other.get(key) is not None for key in ("name", "quantity")]
            if all(same) and _overlap(meter.get("frequency_hz"), other.get("frequency_hz")):
                what = (
                    f'meter {number + 1} is "{meter["name"]}" for {meter["quantity"]}, as meter {earlier + 1} is, '
                    "and their bands overlap"
                )
                cure = "give them different names, or bands in frequency_hz that do not overlap"
                yield Clash(("meters", number), what, cure)


def _overlap(first: object, second: object) -> bool:
    """Say whether two bands share frequencies; one left out, or one that is no band, shares all of them."""
    bands = [band for band in (first, second) if isinstance(band, list) and len(band) == 2]
    if len(bands) < 2 or not all(isinstance(end, int | float) for band in bands for end in band):
        return True
    return bool(max(band[0] for band in bands) < min(band[1] for band in bands))
