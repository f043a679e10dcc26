"""Power into the load and the load itself: mean of v*i, V²/R beside it, volt-amperes, impedance."""

import numpy as np

from wattproof.measure.model import Condition, Figure
from wattproof.measure.output import SteadyOutput
from wattproof.quantity import Uncertain


def power_figures(output: SteadyOutput) -> list[Figure]:
    """Every power and load figure the channels allow; without a current channel only V²/R of a named load."""
    square = voltage_square(output)
    if "load_current" not in output.tracks:
        resistance = load_resistance(output)
        if square is None or resistance is None:
            return []
        return [output.figure("load_power_v2r", square / resistance, "W", basis="v^2/r")]
    if square is None:
        return []
    power, apparent = load_power(output), square**0.5 * load_current(output)
    if not output.has_current:
        return [output.figure("load_power", power, "W", basis="v*i")]
    resistance = load_resistance(output)
    impedance, angle = load_impedance(output)
    extra: dict[str, Condition] = {"load_ohm": round(float(impedance * np.cos(angle)), 4)}
    return [
        output.figure("load_power", power, "W", basis="v*i", **extra),
        output.figure("load_power_v2r", square / resistance, "W", basis="v^2/r", **extra),
        output.figure("apparent_power", apparent, "VA", **extra),
        output.figure("power_factor", power / apparent, "1", **extra),
        output.figure("load_impedance", impedance * _ratio(output), "ohm", phase_rad=round(angle, 6)),
        output.figure("load_resistance", resistance, "ohm", phase_rad=round(angle, 6)),
    ]


def voltage_square(output: SteadyOutput) -> Uncertain | None:
    """Mean square of the load voltage in the band, V²; None without a scale."""
    if output.main == "unassigned":
        return None
    level = output.scale(output.main) * output.noise_factor(output.main) * output.repeatability
    level = level * output.counted_noise(output.main)
    return output.mean_square(output.main) * level * level


def load_current(output: SteadyOutput) -> Uncertain:
    """Give the current into the load in the band, A rms."""
    amps = float(np.sqrt(output.mean_square("load_current")))
    factors = output.scale("load_current") * output.noise_factor("load_current") * output.counted_noise("load_current")
    return amps * factors * output.repeatability


def _ratio(output: SteadyOutput) -> Uncertain:
    """Uncertain factor 1 of volts over amperes."""
    return output.scale(output.main) / output.scale("load_current") * _ratio_noise(output)


def _ratio_noise(output: SteadyOutput) -> Uncertain:
    return output.noise_factor(output.main) / output.noise_factor("load_current")


def _second_order(output: SteadyOutput) -> Uncertain:
    """Uncertain factor 1: what a skew does to the cosine of a small angle, where its first order vanishes."""
    volts, amps = output.tracks[output.main], output.tracks["load_current"]
    skew_u_s = float(np.hypot(volts.calibration.skew_u_s, amps.calibration.skew_u_s))
    lost = (2 * np.pi * output.fit.frequency_hz * skew_u_s) ** 2 * float(np.sqrt(3)) / 2
    source = f"bench {output.record.bench.name}: skew squared {output.output}"
    return output.record.ledger.source(source, 1.0, lost, label="skew, second order", kind="B")


def load_impedance(output: SteadyOutput) -> tuple[float, float]:
    """Magnitude (ohm) and angle (rad) of the load at the fundamental, as the amplifier's terminals see it."""
    ratio = output.phasors(output.main)[0] / output.phasors("load_current")[0]
    return float(np.abs(ratio)), float(np.angle(ratio))


def load_resistance(output: SteadyOutput) -> Uncertain | None:
    """Resistance of the load: from v and i where the current is recorded, else the named load's; None without both."""
    if "load_current" not in output.tracks:
        return None if output.record.load is None else output.record.load_resistance(output.record.load)
    impedance, angle = load_impedance(output)
    turned = angle + 2 * np.pi * output.fit.frequency_hz * relative_skew(output)
    # noise across the phasor tilts it: the whole impedance's share counts, not its real part's
    scales = output.scale(output.main) / output.scale("load_current")
    return (impedance * _cos(turned) * _second_order(output) + impedance * (_ratio_noise(output) - 1)) * scales


def load_power(output: SteadyOutput) -> Uncertain | None:
    """Power into the load, W: the mean of v*i where the current is recorded, else V²/R of the named load."""
    if "load_current" not in output.tracks:
        square, resistance = voltage_square(output), load_resistance(output)
        return None if square is None or resistance is None else square / resistance
    v, i = output.phasors(output.main), output.phasors("load_current")
    omega = 2 * np.pi * output.fit.frequency_hz * np.arange(1, v.size + 1)
    per_second = -float((omega * (v * i.conj()).imag)[output.in_band].sum() / 2)
    watts = true_power_w(output) + per_second * relative_skew(output)
    # noise in quadrature counts too, so its share is of the volt-amperes, not of the power
    volt_amperes = float(np.abs(v[0] * i[0])) / 2
    noise = volt_amperes * (output.noise_factor(output.main) * output.noise_factor("load_current") - 1)
    factors = output.scale(output.main) * output.scale("load_current") * output.repeatability * output.repeatability
    return (watts * _second_order(output) + noise) * factors


def true_power_w(output: SteadyOutput) -> float:
    """Mean of v*i in the band: the harmonics' powers and what v and i share beside them, W."""
    v, i = output.phasors(output.main), output.phasors("load_current")
    return float((v * i.conj()).real[output.in_band].sum() / 2) + output.shared_in_band


def relative_skew(output: SteadyOutput) -> Uncertain:
    """Doubt of the time between volts and amperes, s: positive turns the load's angle forward."""
    volts = output.record.skew_error(output.tracks[output.main])
    amps = output.record.skew_error(output.tracks["load_current"])
    return volts - amps


def _cos(number: Uncertain) -> Uncertain:
    if isinstance(number, float):
        return float(np.cos(number))
    from GTC import cos

    return cos(number)
