"""How often the 95 % intervals hold the truth: simulated benches whose true errors are drawn from what they state.

    python tools/coverage.py 1000 2031        benches and seed

Every bench gets its own scales, offsets, skews and load, each off by an error drawn from the uncertainty that its
bench file states; the recorder adds white noise. What the figures then say is held against what was put in.
"""

import argparse
import math
from collections.abc import Iterator

import numpy as np

from wattproof.bench import Bench, BenchChannel, Load
from wattproof.measure import Figure, lay_on_bench, measure
from wattproof.testing import Capture, Harmonic, Recorder, Source, SteadyTruth, inductance_for_angle, steady_tone

ROLES = ("load_voltage", "load_current", "drive_voltage", "supply_voltage", "supply_current")
SCALES = dict(zip(ROLES, (42.0, -30.0, 3.5, 20.0, 125.0), strict=True))
TYPICAL = dict(zip(ROLES, (20.0, 5.0, 1.0, 14.0, 9.0), strict=True))


def stated_channel(role: str, number: int, rng: np.random.Generator) -> BenchChannel:
    """Draw what a bench file would say of a channel."""
    return BenchChannel(
        input=number,
        role=role,
        scale=SCALES[role],
        scale_u=float(10 ** rng.uniform(-4, -2.5)),
        offset=float(rng.normal(0, 0.01)) * TYPICAL[role],
        offset_u=float(10 ** rng.uniform(-5, -3.5)) * TYPICAL[role],
        skew_s=float(rng.normal(0, 20e-6)),
        skew_u_s=float(10 ** rng.uniform(-7, -5.5)),
    )


def true_channel(stated: BenchChannel, rng: np.random.Generator) -> BenchChannel:
    """Draw what the channel truly is, from what is stated of it."""
    return stated.model_copy(
        update={
            "scale": stated.scale * (1 + rng.normal(0, stated.scale_u)),
            "offset": stated.offset + rng.normal(0, stated.offset_u),
            "skew_s": stated.skew_s + rng.normal(0, stated.skew_u_s),
        }
    )


def drawn_bench(rng: np.random.Generator, rate_hz: float) -> tuple[Capture[SteadyTruth], Bench, Load]:
    """Draw a bench, its true errors, and a capture made on it; give the capture and the bench as it is stated."""
    tone_hz = float(rng.choice([47.0, 97.0, 397.0, 997.0]))
    seconds = float(max(rng.uniform(0.08, 0.4), rng.uniform(3.2, 12) / tone_hz))
    load_u = float(10 ** rng.uniform(-3.5, -2.3))
    load = Load(name="drawn", resistance_ohm=4.0, resistance_u_ohm=4.0 * load_u)
    stated = tuple(stated_channel(role, number, rng) for number, role in enumerate(ROLES, start=1))
    true = tuple(true_channel(channel, rng) for channel in stated)
    ohm = 4.0 * (1 + rng.normal(0, load_u))
    angle = float(rng.choice([0.0, 0.3, 0.8]))
    noise = {role: TYPICAL[role] * float(10 ** rng.uniform(-5, -2)) for role in ROLES}
    thd = float(10 ** rng.uniform(-2.5, -1))
    capture = steady_tone(
        tone_hz=tone_hz * (1 + rng.normal(0, 1e-3)),
        load_v_rms=20.0,
        harmonics=[Harmonic(2, 0.3 * thd, float(rng.uniform(0, 6))), Harmonic(3, thd, float(rng.uniform(0, 6)))],
        phase_rad=float(rng.uniform(-3, 3)),
        resistance_ohm=ohm,
        inductance_h=inductance_for_angle(resistance_ohm=ohm, angle_rad=angle, tone_hz=tone_hz),
        source=Source(ripple=float(rng.uniform(0.05, 0.6)), resistance_ohm=float(rng.uniform(0.005, 0.03))),
        wiring=true,
        recorder=Recorder(rate_hz=rate_hz, seconds=seconds, noise_rms=noise, seed=int(rng.integers(2**31))),
    )
    return capture, Bench(name="drawn", channels=stated, loads=(load,)), load


def truths(truth: SteadyTruth) -> dict[str, float]:
    """What each figure ought to say."""
    supply = truth.supply
    return {
        "fundamental_frequency": truth.tone_hz,
        "load_voltage_rms": math.sqrt(truth.load_v_rms**2 - truth.dc_v**2),
        "load_current_rms": truth.load_i_rms,
        "load_power": truth.load_power_w,
        "power_factor": truth.power_factor,
        "load_resistance": truth.resistance_ohm,
        "dc_offset": truth.dc_v,
        "thd_f": truth.thd_f,
        "harmonic_3": truth.harmonics[1].ratio,
        "gain": truth.gain,
        "supply_voltage": supply.voltage_v,
        "supply_current": supply.current_a,
        "supply_power": supply.power_w,
        "efficiency": truth.efficiency,
        "heat": supply.power_w - truth.load_power_w,
        "source_resistance": supply.source_resistance_ohm,
    }


def above_floor(figure: Figure) -> bool:
    """Say whether a distortion stands clear of what noise alone would read; other figures always do."""
    floor = figure.conditions.get("floor")
    return not isinstance(floor, float) or figure.value > 3 * floor


def trials(benches: int, seed: int, rate_hz: float) -> Iterator[tuple[str, bool, float]]:
    """Give (figure, held, error over u) of every figure of every bench."""
    for number in range(benches):
        capture, bench, load = drawn_bench(np.random.default_rng([seed, number]), rate_hz)
        record, _ = lay_on_bench(capture.recording, bench=bench, load=load)
        result = measure(record, kind="steady")
        for name, true in truths(capture.truth).items():
            figure = result.figure(name) or result.figure(name, None)
            if figure is not None and above_floor(figure):
                low, high = figure.interval95
                yield name, low <= true <= high, (figure.value - true) / figure.u
        without = bench.model_copy(update={"channels": tuple(c for c in bench.channels if c.role != "load_current")})
        if capture.truth.load_angle_rad < 1e-9:
            record, _ = lay_on_bench(capture.recording, bench=without, load=load)
            figure = measure(record, kind="steady").figure("load_power_v2r")
            if figure is not None:
                low, high = figure.interval95
                true = capture.truth.load_power_v2r_w
                yield "load_power_v2r, named load", low <= true <= high, (figure.value - true) / figure.u


def table(benches: int, seed: int, rate_hz: float = 48_000.0) -> dict[str, tuple[int, int, float]]:
    """Count (held, trials) and the rms of error over u, by figure."""
    counts: dict[str, list[float]] = {}
    held: dict[str, int] = {}
    for name, inside, sigmas in trials(benches, seed, rate_hz):
        counts.setdefault(name, []).append(sigmas)
        held[name] = held.get(name, 0) + inside
    return {name: (held[name], len(z), float(np.sqrt(np.mean(np.square(z))))) for name, z in counts.items()}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0] if __doc__ else None)
    parser.add_argument("benches", type=int, nargs="?", default=1000)
    parser.add_argument("seed", type=int, nargs="?", default=2031)
    asked = parser.parse_args()
    print("| figure | benches | held | rms of error / u |\n|---|---|---|---|")
    for name, (held, count, rms) in table(asked.benches, asked.seed).items():
        print(f"| {name} | {count} | {held / count:.1%} | {rms:.2f} |")


if __name__ == "__main__":
    main()
