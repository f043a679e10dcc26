"""The columns of a text table as channels: names, SI units, codes to volts, and what is doubtful about each."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import NeedsAnswerError, Notice
from wattproof.readers.contract import Answers
from wattproof.readers.text_cells import SENTINEL
from wattproof.readers.text_facts import Fact, Preamble, quantity, y_facts
from wattproof.readers.text_header import Header
from wattproof.readers.text_units import Unit, is_division, parse_unit
from wattproof.waveform import Channel


@dataclass(frozen=True, kw_only=True)
class Channels:
    """Channels with their samples in SI units, of shape (n_channels, n_samples)."""

    channels: tuple[Channel, ...]
    samples: NDArray[np.float64]
    notices: tuple[Notice, ...]


@dataclass(frozen=True, kw_only=True)
class _Told:
    """What one column's unit is, by whose word."""

    word: str
    unit: Unit | None
    answered: bool = False


def make_channels(
    samples: NDArray[np.float64],
    cells: Sequence[int],
    header: Header,
    preamble: Preamble,
    *,
    answers: Answers,
    source: str,
) -> Channels:
    """Name the columns, bring them to SI units and say what is doubtful.

    Parameters
    ----------
    samples : NDArray[np.float64] of shape (n_channels, n_samples)
        In the file's numbers; changed in place.
    cells : sequence of int
        Which cell of a row each is, counted from 0.
    header : Header
    preamble : Preamble
    answers : Answers
        ``units`` overrule the file's.
    source : str
        The file's name, for messages.

    Raises
    ------
    NeedsAnswerError
        A channel counts screen divisions and nothing says what one is, or an answer's unit is not known.
    """
    facts = y_facts(preamble)
    names, notices = _names(cells, header)
    channels: list[Channel] = []
    converted: list[str] = []
    for index, (name, cell) in enumerate(zip(names, cells, strict=True)):
        off = _off_scale(samples[index])
        told = _unit(index, name, cell, header, facts["unit"], answers, source)
        code = _code_scale(samples[index], cell, preamble, facts, told, off)
        if code is not None and code.applied:
            notices.append(_codes_notice(name, code, told))
            samples[index] = np.where(off, samples[index], code.volts(samples[index]))
        if told.unit is not None and not told.unit.is_si:
            samples[index] = np.where(off, samples[index], told.unit.convert(samples[index]))
            converted.append(f"{name} from {told.word}")
        notices += list(_sample_notices(name, samples[index], off))
        channels.append(_channel(name, told, samples[index], off, code))
    notices += list(_unit_notices(names, channels, converted))
    notices += list(_codes_unscaled(channels, samples, preamble))
    return Channels(
        channels=tuple(channels), samples=samples, notices=(*notices, *_acquisition_notices(preamble, facts))
    )


def _names(cells: Sequence[int], header: Header) -> tuple[list[str], list[Notice]]:
    names: list[str] = []
    doubled: list[str] = []
    for index, cell in enumerate(cells):
        name = header.name(cell) or str(index + 1)
        if name in names:
            doubled.append(name)
            name = next(f"{name} ({count})" for count in range(2, len(cells) + 2) if f"{name} ({count})" not in names)
        names.append(name)
    if not doubled:
        return names, []
    notice = Notice(
        code="duplicate-names",
        message=f"More than one column is named {doubled[0]!r}; numbers in brackets were added.",
        hint="Check which column is which.",
    )
    return names, [notice]


def _off_scale(values: NDArray[np.float64]) -> NDArray[np.bool_]:
    return np.abs(values) >= SENTINEL


def _unit(index: int, name: str, cell: int, header: Header, fact: Fact | None, answers: Answers, source: str) -> _Told:
    answer = answers.units.get(name, answers.units.get(str(index + 1)))
    if answer is not None:
        unit = parse_unit(answer)
        if unit is None:
            raise NeedsAnswerError(
                f"{answer!r} is no unit known here.",
                why=f"It was given for channel {name} of {source}.",
                hint="Say V, mV, A, mA, or what one of its numbers is: --unit '1=0.5 V'.",
            )
        return _Told(word=answer, unit=unit, answered=True)
    word = header.unit(cell) or _fact_value(fact, cell)
    if is_division(word):
        raise NeedsAnswerError(
            f"{source} gives channel {name} in screen divisions.",
            why="A division is no voltage without the scale that was set, and where zero stood.",
            hint=f"Say what one division is, for example --unit '{name}=0.5 V'; or export in volts.",
        )
    return _Told(word=word, unit=parse_unit(word) if word else None)


def _fact_value(fact: Fact | None, cell: int) -> str:
    """Give the value a preamble's line has for a column: its own where there is one a channel, else the one for all."""
    if fact is None:
        return ""
    if len(fact.values) == 1:
        return fact.values[0]
    return next((value for value, at in zip(fact.values, fact.cells, strict=False) if at == cell), "")


@dataclass(frozen=True, kw_only=True)
class _Codes:
    step: float
    origin: float
    code: float
    applied: bool

    def volts(self, values: NDArray[np.float64]) -> NDArray[np.float64]:
        return (values - self.code) * self.step + self.origin


def _code_scale(
    values: NDArray[np.float64],
    cell: int,
    preamble: Preamble,
    facts: Mapping[str, Fact | None],
    told: _Told,
    off: NDArray[np.bool_],
) -> _Codes | None:
    """Read step, origin and reference code of a column; applied to whole numbers that cannot be volts."""
    if told.answered:
        return None
    read = {name: quantity(_fact_value(facts[name], cell), preamble.decimal) for name in ("step", "origin", "code")}
    if read["step"] is None or read["step"][0] == 0:
        return None
    step = read["step"][0]
    good = values[~off & np.isfinite(values)]
    whole = bool(good.size) and bool(np.all(good == np.round(good))) and bool(np.any(good))
    return _Codes(
        step=step,
        origin=read["origin"][0] if read["origin"] else 0.0,
        code=read["code"][0] if read["code"] else 0.0,
        applied=whole and step != round(step),
    )


def _codes_notice(name: str, codes: _Codes, told: _Told) -> Notice:
    unit = told.unit.symbol if told.unit is not None else told.word or "of the file's unit"
    return Notice(
        code="raw-codes",
        message=f"Channel {name} holds codes; (code - {codes.code:g}) * {codes.step:.6g} + {codes.origin:g} {unit} "
        "was used, by the preamble's increment, origin and reference.",
        hint="Check it against a known voltage: makers differ in the sign of the offset.",
        numbers={"step": codes.step, "origin": codes.origin, "reference": codes.code},
    )


def _codes_unscaled(channels: Sequence[Channel], samples: NDArray[np.float64], preamble: Preamble) -> Iterator[Notice]:
    """Say where whole numbers without a unit stand under a screen scale: a formula with two signs is not guessed."""
    told = (fact for fact in preamble.facts if "div" in fact.key.lower() or "scale" in fact.key.lower())
    scale = next(told, None)
    if scale is None:
        return
    for channel, values in zip(channels, samples, strict=True):
        if channel.unit is None and np.all(values == np.round(values)) and np.ptp(values) > 0:
            yield Notice(
                code="codes-unscaled",
                message=f"Channel {channel.name} holds whole numbers, perhaps codes; line {scale.line} states "
                f"{scale.key} {' '.join(scale.values)}, but not how codes become volts. They are left as they are.",
                hint="Record two known voltages and set scale and offset in the bench file.",
            )


def _channel(
    name: str, told: _Told, values: NDArray[np.float64], off: NDArray[np.bool_], codes: _Codes | None
) -> Channel:
    full_scale = None
    if off.any():
        good = np.abs(values[~off & np.isfinite(values)])
        full_scale = float(good.max()) if good.size and good.max() > 0 else None
    step = abs(codes.step) * (told.unit.scale if told.unit is not None else 1.0) if codes is not None else None
    symbol = told.unit.symbol if told.unit is not None else told.word or None
    return Channel(name=name, unit=symbol, full_scale=full_scale, step=step)


def _sample_notices(name: str, values: NDArray[np.float64], off: NDArray[np.bool_]) -> Iterator[Notice]:
    if off.any():
        yield Notice(
            code="off-scale",
            message=f"Channel {name}: {int(off.sum())} of {values.size} samples are marked off scale.",
            hint="Choose a larger range on the recorder and capture again; these samples are no voltages.",
            numbers={"samples": int(off.sum())},
        )
    missing = int(np.count_nonzero(np.isnan(values)))
    if missing:
        first = int(np.flatnonzero(np.isnan(values))[0])
        yield Notice(
            code="nan-samples",
            message=f"Channel {name}: {missing} of {values.size} cells are blank or no number (from {first}).",
            hint="Measure a part of the record without them, or export it again.",
            numbers={"samples": missing, "first_sample": first},
        )


def _unit_notices(names: Sequence[str], channels: Sequence[Channel], converted: Sequence[str]) -> Iterator[Notice]:
    unknown = [name for name, channel in zip(names, channels, strict=True) if channel.unit is None]
    if converted:
        yield Notice(
            code="unit-converted",
            message=f"Converted to SI units: {', '.join(converted)}.",
            hint="If a unit is wrong, say the right one with --unit CHANNEL=UNIT.",
        )
    if unknown:
        yield Notice(
            code="unit-unknown",
            message=f"The file does not say the unit of {', '.join(unknown)}.",
            hint=f"Say it with --unit '{unknown[0]}=V', or give the channel's scale in the bench file.",
        )


def _acquisition_notices(preamble: Preamble, facts: Mapping[str, Fact | None]) -> Iterator[Notice]:
    kinds = " ".join(
        f"{fact.key} {' '.join(fact.values)}".lower()
        for fact in preamble.facts
        if fact is facts["type"] or "type" in fact.key.lower()
    )
    if "interp" in kinds and not any(word in kinds for word in ("interpolation off", "interpolation none")):
        yield Notice(
            code="interpolated-samples",
            message="The recorder interpolated: neighbouring samples are not independent, and hold no more bandwidth.",
            hint="Export the sampled points where the recorder allows it; noise from these is too small.",
        )
    if "peak" in kinds or "envelope" in kinds:
        yield Notice(
            code="peak-samples",
            message="The recorder kept peaks, not samples: power, distortion and noise from this record are wrong.",
            hint="Capture again with plain sampling.",
        )
    if facts["probe"] is not None:
        yield from _probe(preamble, facts["probe"])


def _probe(preamble: Preamble, fact: Fact) -> Iterator[Notice]:
    factors = {read[0] for value in fact.values if (read := quantity(value.lower().rstrip("x"), preamble.decimal))}
    for factor in sorted(factors - {0.0, 1.0}):
        yield Notice(
            code="probe-factor",
            message=f"Line {fact.line} states a probe of {factor:g}:1, but not whether the values include it. "
            f"If they do not, all volts are {factor:g} times too small and power {factor**2:g} times.",
            hint=f"Check against a known voltage; if it is left out, set the bench file's scale to {factor:g}.",
            numbers={"probe_ratio": factor, "power_ratio_if_missed": 1 / factor**2},
        )
