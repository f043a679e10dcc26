"""Which load a word names, and how well its resistance is known."""

import re
from math import hypot, pi, sqrt
from typing import NamedTuple

from wattproof.bench.model import Bench, Load
from wattproof.quantity import Ledger, Uncertain
from wattproof.settings import nearest

OPEN_WORDS = frozenset({"open", "none", "no load"})
"""What stands for nothing connected to the output."""

_OHMS = re.compile(r"(\d+(?:[.,]\d+)?)\s*(?:ohms?|[ΩΩ]|R)?", re.IGNORECASE)


class NamedLoad(NamedTuple):
    """A load as it was named: `calibrated` where the bench file holds it, nominal where plain ohms were written."""

    load: Load
    calibrated: bool


class UnknownLoad(NamedTuple):
    """A word that names no load: what would be right."""

    cure: str


def find_load(bench: Bench, words: str) -> NamedLoad | UnknownLoad:
    """Find the load of a name, or make a nominal one of plain ohms.

    Examples
    --------
    >>> find_load(Bench(), "4 ohm").load.resistance_ohm, find_load(Bench(), "4").calibrated
    (4.0, False)
    """
    named = next((load for load in bench.loads if load.name == words), None)
    if named is not None:
        return NamedLoad(named, True)
    match = _OHMS.fullmatch(words.strip())
    if match and float(match[1].replace(",", ".")) > 0:
        return NamedLoad(Load(name=words, resistance_ohm=float(match[1].replace(",", "."))), False)
    names = [load.name for load in bench.loads]
    close = nearest(words, names)
    listed = f"the bench's loads are {', '.join(names)}" if names else "the bench file has no [[loads]]"
    return UnknownLoad(f'write "{close}"' if close else f'{listed}; plain ohms such as "4 ohm", or "open", will do too')


def resistance_of(load: Load, *, bench_name: str, ledger: Ledger) -> Uncertain:
    """Give the resistance of a load with its calibration's and its heating's doubt, ohm.

    Heating is taken as one-sided: the resistance lies between cold and the largest rise; the cold value is kept, so
    the rectangular half width is the whole rise (JCGM 100, 4.3.7 and F.2.4.5, on the safe side).
    """
    source = f"bench {bench_name}: load {load.name} {load.resistance_ohm:g} ohm"
    label = f"resistance of {load.name}"
    cold = ledger.source(source, load.resistance_ohm, load.resistance_u_ohm, label=label, kind="B")
    rise = abs(load.tempco_per_k) * (load.rise_k or 0.0) / sqrt(3)
    return cold * (1 + ledger.source(f"{source} heating", 0.0, rise, label=f"heating of {load.name}", kind="B"))


def power_factor_of(load: Load, frequency_hz: float | None) -> float:
    """Give R/|Z| of a load with its inductance, W/VA; 1 where the frequency is not known."""
    reactance_ohm = 2 * pi * (frequency_hz or 0.0) * load.inductance_h
    return load.resistance_ohm / hypot(load.resistance_ohm, reactance_ohm)
