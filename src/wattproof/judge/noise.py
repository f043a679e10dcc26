"""Rated noise and signal over noise: re 1 W or re rated power, A-weighted or not."""

from math import sqrt

from wattproof.amplifier import Rating
from wattproof.judge.model import Judgement, Reading
from wattproof.judge.powers import number_in
from wattproof.judge.readings import STANDARD_OHM
from wattproof.judge.shaped import figures_named, found_as_it_is, not_measured, plain, where_of
from wattproof.judge.weighing import Case, Found, weigh
from wattproof.quantity import Ledger

_NAMES = {True: "noise_rms_a", False: "noise_rms"}
_STEP = "Capture five seconds without signal, the input terminated, and the load connected."


def judge_snr(case: Case) -> list[Judgement]:
    """Judge a rated signal-to-noise ratio under each reference and weighting it may mean."""
    claim = case.claim(10 ** (case.rating.value / 20), "V/V", "at least")
    return [
        weigh(claim, _snr(case, volts, said, weighted=weighted), case.rule)
        for volts, said in _references(case)
        for weighted in _weightings(case.rating)
    ]


def judge_noise(case: Case) -> list[Judgement]:
    """Judge a rated noise voltage, A-weighted and not."""
    claim = case.claim(case.rating.value_si, "V", "at most")
    found = []
    for weighted in _weightings(case.rating):
        reading = Reading(words=_weighting(weighted), assumed=(_weighting(weighted),))
        figure = next(figures_named(case.results, _NAMES[weighted]), None)
        one = (
            not_measured(reading, "no idle capture holds it", _STEP)
            if figure is None
            else found_as_it_is(figure, reading)
        )
        found.append(weigh(claim, one, case.rule))
    return found


def _weightings(rating: Rating) -> tuple[bool, ...]:
    """Give A-weighted first, which makers favour; it alone where the unit or the note says so."""
    stated = rating.unit in {"dBA", "dB(A)"} or "A-weighted" in (rating.note or "")
    return (True,) if stated else (True, False)


def _references(case: Case) -> list[tuple[float, str]]:
    """Give the reference voltages: 1 W into 4 ohm, as the trade's standard has it; and each stated rated power."""
    load_ohm = case.rating.load_ohm or STANDARD_OHM
    found = [(sqrt(load_ohm), f"re 1 W into {load_ohm:g} ohm")]
    powers = [one for one in case.amplifier.ratings if one.quantity == "power" and one.load_ohm is not None]
    if powers:
        largest = max(powers, key=lambda one: one.target_voltage_v or 0.0)
        volts = largest.target_voltage_v or 0.0
        found.append((volts, f"re the rated {largest.value:g} {largest.unit} into {largest.load_ohm:g} ohm"))
    return found


def _snr(case: Case, volts: float, said: str, *, weighted: bool) -> Found:
    words = f"{said}, {_weighting(weighted)}"
    reading = Reading(words=words, assumed=(said, _weighting(weighted)))
    figures = list(figures_named(case.results, _NAMES[weighted]))
    if not figures:
        return not_measured(reading, "no idle capture holds the noise", _STEP)
    # several outputs: the noisiest one bounds what may be said of the amplifier
    figure = max(figures, key=lambda one: (number_in(one, "frequency_hz") is None, one.value))
    if figure.value <= 0:
        return not_measured(reading, "the noise read is 0", _STEP)
    ledger = Ledger()
    ratio = ledger.quantity(volts / ledger.restore(figure), unit="V/V")
    return Found(reading=reading, measured=plain(figure), name=figure.name, where=where_of(figure), corrected=ratio)


def _weighting(weighted: bool) -> str:
    return "A-weighted" if weighted else "unweighted, in the band measured"
