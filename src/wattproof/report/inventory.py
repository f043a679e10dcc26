"""The amplifier and the bench as a page lists them: facts and tables in words."""

from collections.abc import Sequence

from wattproof.amplifier import Amplifier, Rating
from wattproof.bench import Bench, BenchChannel, Limits, Load, Meter
from wattproof.measure import CapturedChannel
from wattproof.report import words
from wattproof.report.conditions import sized

Facts = list[tuple[str, str]]
Lines = list[tuple[str, ...]]

HEADS: dict[str, tuple[str, ...]] = words.HEADS
_POWER_NEEDS = {"load_ohm": "load", "supply_v": "supply voltage", "thd_percent": "distortion"}
_NONE = "–"


def amplifier_facts(amplifier: Amplifier) -> Facts:
    """List what the amplifier file states, without what it leaves out."""
    size = " × ".join(f"{side:g}" for side in amplifier.size_mm or ())
    controls = ", ".join(f"{name} {position}" for name, position in amplifier.controls.items())
    price = f"{amplifier.price.amount:g} {amplifier.price.currency}" if amplifier.price else None
    return _stated(
        ("Maker", amplifier.maker),
        ("Model", amplifier.model),
        ("Class", amplifier.class_),
        ("Supply inside", None if amplifier.supply == "unknown" else amplifier.supply),
        ("Outputs", ", ".join(amplifier.outputs)),
        ("Fuse", _with(amplifier.fuse_a, "A")),
        ("Lowest load", _with(amplifier.minimum_load_ohm, "ohm")),
        ("Size", size and f"{size} mm"),
        ("Mass", _with(amplifier.mass_kg, "kg")),
        ("Price", price),
        ("Controls", controls),
        ("Notes", amplifier.notes),
    )


def _stated(*pairs: tuple[str, str | None]) -> Facts:
    return [(name, text) for name, text in pairs if text]


def _with(value: float | None, unit: str) -> str:
    return "" if value is None else f"{value:g} {unit}"


def rating_lines(amplifier: Amplifier) -> Lines:
    """List the maker's ratings with the conditions stated beside them, and those a power needs but has not."""
    return [_rating(rating) for rating in amplifier.ratings]


def _rating(rating: Rating) -> tuple[str, ...]:
    stated = [
        _with(rating.load_ohm, "ohm"),
        _with(rating.supply_v, "V"),
        _with(rating.thd_percent, "% distortion"),
        _with(rating.frequency_hz, "Hz"),
        _with(rating.channels_driven, "driven"),
        "" if rating.bridged is None else ("bridged" if rating.bridged else "not bridged"),
        _with(rating.seconds, "s"),
        rating.note or "",
    ]
    needs = _POWER_NEEDS if rating.quantity == "power" else {}
    missing = ", ".join(name for key, name in needs.items() if getattr(rating, key) is None)
    name = words.RATINGS.get(rating.quantity, rating.quantity.replace("_", " ").capitalize())
    conditions = ", ".join(filter(None, stated))
    return name, f"{rating.value:g} {rating.unit}", conditions or _NONE, missing or _NONE, rating.source or _NONE


def bench_facts(bench: Bench) -> Facts:
    """List the bench's name, supply and limits."""
    supply = [_with(bench.supply.nominal_v, "V"), _with(bench.supply.max_current_a, "A at most")]
    return _stated(
        ("Name", bench.name), ("Supply", ", ".join(filter(None, supply))), ("Limits", _limits_text(bench.limits))
    )


def _limits_text(limits: Limits) -> str:
    low, high = limits.supply_voltage_v or (None, None)
    said = [
        ("load", _with(limits.load_voltage_v, "V")),
        ("DC", _with(limits.load_dc_v, "V")),
        ("supply", "" if low is None else f"{low:g} to {high:g} V"),
        ("supply", _with(limits.supply_current_a, "A")),
        ("temperature", _with(limits.temperature_c, "°C")),
        ("full power", _with(limits.full_power_s, "s")),
    ]
    return ", ".join(f"{name} {text}" for name, text in said if text)


def bench_tables(bench: Bench) -> list[tuple[str, tuple[str, ...], Lines]]:
    """Give channels with their calibration, loads and meters as (title, heads, lines)."""
    return [
        (words.PAGE["calibration"], HEADS["calibration"], [_channel(channel) for channel in bench.channels]),
        (words.PAGE["loads"], HEADS["loads"], [_load(load) for load in bench.loads]),
        (words.PAGE["meters"], HEADS["meters"], [_meter(meter) for meter in bench.meters]),
    ]


def _channel(channel: BenchChannel) -> tuple[str, ...]:
    whose = f" {channel.output}" if channel.role.startswith("load") else ""
    return (
        f"{words.ROLES[channel.role]}{whose}",
        str(channel.input),
        f"{channel.scale:g}",
        f"{100 * channel.scale_u:.2g} %" if channel.scale_u else _NONE,
        f"{1e6 * channel.skew_s:g} µs" if channel.skew_s else _NONE,
        channel.calibrated.isoformat() if channel.calibrated else "no date",
    )


def _load(load: Load) -> tuple[str, ...]:
    return (
        load.name,
        f"{load.resistance_ohm:g} ohm",
        _with(load.resistance_u_ohm or None, "ohm") or _NONE,
        f"{1e6 * load.tempco_per_k:g} ppm/K" if load.tempco_per_k else _NONE,
        f"{1e6 * load.inductance_h:g} µH" if load.inductance_h else _NONE,
        _with(load.continuous_w, "W") or _NONE,
    )


def _meter(meter: Meter) -> tuple[str, ...]:
    low, high = meter.frequency_hz or (None, None)
    accuracy = f"{meter.percent_of_reading:g} % of reading + {meter.digits:g} × {meter.resolution:g}"
    band = _NONE if low is None else f"{low:g} to {high:g} Hz"
    return meter.name, words.ROLES.get(meter.quantity, meter.quantity), accuracy, band


def captured_lines(channels: Sequence[CapturedChannel]) -> Lines:
    """List the channels of a capture as they were used."""
    return [
        (
            words.ROLES.get(channel.role, channel.role) + (f" {channel.output}" if channel.output else ""),
            channel.name,
            sized(channel.peak, words.ROLE_UNITS.get(channel.role, "")),
            f"{channel.clipped}",
        )
        for channel in channels
    ]
