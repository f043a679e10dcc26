"""How often the model's 95 % intervals hold the truth of the simulated amplifiers, and how wide they are.

    python tools/model_coverage.py 300 2031          cases over all five, and seed
    python tools/model_coverage.py 300 2031 --one    fitted to one supply voltage only

A case is a bench day: true steady states into three loads at two supply voltages, read by a bench whose scales are each
off by an error drawn from what it states, with noise. A fourth load at a third voltage is predicted.
"""

import argparse
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from math import sqrt

import numpy as np

from wattproof.errors import BeyondDataError
from wattproof.fit import Asked, BehaviourModel, Prediction, fit_behaviour, predict
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.quantity import BudgetLine

SOURCE_OHM = 0.005
"""Of the simulated supply and its leads."""
NOISE_U = 8e-4
Row = Sequence[float]
Truths = Mapping[str, Sequence[Row]]


@dataclass(kw_only=True)
class Bench:
    """Scales as they are stated and as they are: relative errors by channel."""

    rng: np.random.Generator
    stated: dict[str, float] = field(default_factory=dict)
    errors: dict[str, float] = field(default_factory=dict)

    def error(self, channel: str) -> float:
        """Give what a channel's readings are multiplied with, drawn once."""
        if channel not in self.stated:
            self.stated[channel] = float(10 ** self.rng.uniform(-3, -2.3))
            self.errors[channel] = float(self.rng.normal(0, self.stated[channel]))
        return 1 + self.errors[channel]

    def figure(self, name: str, value: float, channels: Sequence[str], origin: str, **more: object) -> Figure:
        """Give a figure with the budget of the channels it moves with, and noise."""
        parts = [(f"bench: scale of {channel}", self.stated[channel], "B") for channel in channels]
        parts.append((f"{origin}: noise of {name} {more.get('output')}", NOISE_U, "A"))
        read = value * (1 + self.rng.normal(0, NOISE_U))
        budget = tuple(BudgetLine(source=s, label=s, u=u * abs(read), type=t) for s, u, t in parts)
        u = abs(read) * sqrt(sum(part[1] ** 2 for part in parts))
        return Figure(name=name, value=read, u=u, unit="W", budget=budget, origin=f"{origin} 1-2 s", **more)


def ramp(rows: Sequence[Row], outputs: Sequence[str], bench: Bench) -> CaptureResult:
    """Give what measuring a ramp into one load at one voltage would give."""
    ohm, volt = rows[0][:2]
    file = f"ramp-{ohm:g}-{volt:g}.wav"
    figures, curve = [], []
    for number, (_, _, thd, power, supply_v, supply_a, supply_w) in enumerate(rows):
        read_v, read_a = supply_v * bench.error("supply_voltage"), supply_a * bench.error("supply_current")
        read_w = supply_w * bench.error("supply_voltage") * bench.error("supply_current")
        for output in outputs:
            volts, amps = bench.error(f"load_voltage {output}"), bench.error(f"load_current {output}")
            conditions = {"load_ohm": ohm * volts / amps, "supply_v": read_v, "thd_n": thd, "basis": "v*i"}
            channels = (f"load_voltage {output}", f"load_current {output}")
            if thd > 0:
                name = f"power_at_thd_{100 * thd:.0f}"
                read = power * volts * amps
                figures.append(bench.figure(name, read, channels, file, output=output, conditions=conditions))
            curve.append(
                CurvePoint(
                    t_s=float(number), output=output, load_power=power * volts * amps,
                    load_current_rms=sqrt(power / ohm) * amps, supply_voltage=read_v, supply_current=read_a,
                    supply_power=read_w * (1 + bench.rng.normal(0, NOISE_U)),
                )
            )  # fmt: skip
        if thd == 0.01:
            channels = ("supply_voltage", "supply_current", f"load_voltage {outputs[0]}", f"load_current {outputs[0]}")
            figures.append(bench.figure("efficiency", len(outputs) * power / read_w, channels, file, output=None))
    return CaptureResult(file=file, kind="ramp", figures=tuple(figures), curve=tuple(curve))


def idle(row: Row, bench: Bench) -> CaptureResult:
    """Give what measuring an idle capture would give."""
    read_w = row[6] * bench.error("supply_voltage") * bench.error("supply_current")
    channels = ("supply_voltage", "supply_current")
    figure = bench.figure("supply_power", read_w, channels, "idle.wav", output=None)
    read_v = bench.figure(
        "supply_voltage", row[4] * bench.error("supply_voltage"), channels[:1], "idle.wav", output=None
    )
    return CaptureResult(file="idle.wav", kind="idle", figures=(figure, read_v))


@dataclass(frozen=True, kw_only=True)
class Case:
    """One prediction beside the truth: None where it was refused."""

    name: str
    model: BehaviourModel
    target: Row
    prediction: Prediction | None

    @property
    def true_w(self) -> float:
        """Of one output."""
        return self.target[3]

    def held(self, name: str) -> bool:
        """Whether the interval holds the truth."""
        estimate = getattr(self.prediction, name)
        true = {"power": self.target[3], "supply_current": self.target[5], "supply_voltage": self.target[4]}[name]
        return estimate.low <= true <= estimate.high

    @property
    def is_inside(self) -> bool:
        """Whether the supply voltage lies between those measured."""
        return all(note.code != "supply-beyond-data" for note in self.prediction.notes)

    @property
    def half_width(self) -> float:
        """Of the power's interval, relative."""
        power = self.prediction.power
        return (power.high - power.low) / 2 / power.value


OUTPUTS = {"redstart-4": ("A", "B", "C", "D")}


def cases(truths: Truths, n: int, seed: int, *, one_supply: bool = False) -> Iterator[Case]:
    """Draw so many cases, the amplifiers in turn."""
    rng = np.random.default_rng(seed)
    names = list(truths)
    for number in range(n):
        name = names[number % len(names)]
        yield _case(name, truths[name], rng, one_supply=one_supply)


def _case(name: str, rows: Sequence[Row], rng: np.random.Generator, *, one_supply: bool) -> Case:
    all_ohms = sorted({row[0] for row in rows if row[0] > 0})
    all_volts = sorted({row[1] for row in rows})
    bench, outputs = Bench(rng=rng), OUTPUTS.get(name, ("A",))
    ohms = sorted(rng.choice(all_ohms, 3, replace=False))
    volts = sorted(rng.choice(all_volts, 1 if one_supply else 2, replace=False))
    # what a tester asks: a load between those measured or next to them, a supply voltage half a volt off at most
    asked_ohms = [ohm for ohm in all_ohms if ohm not in ohms and 0.8 * ohms[0] <= ohm <= 1.6 * ohms[-1]]
    reach = 2.0 if one_supply else 0.65
    asked_volts = [v for v in all_volts if v not in volts and volts[0] - reach <= v <= volts[-1] + reach]
    if not asked_ohms or not asked_volts:  # nothing left to ask: another day
        return _case(name, rows, rng, one_supply=one_supply)
    pairs = [(ohm, volt) for ohm in ohms for volt in volts]
    ramps = [ramp([r for r in rows if (r[0], r[1]) == pair], outputs, bench) for pair in pairs]
    quiet = next(row for row in rows if row[0] == 0 and row[1] == volts[-1])
    model = fit_behaviour([*ramps, idle(quiet, bench)], amplifier=name)
    wanted = (rng.choice(asked_ohms), rng.choice(asked_volts), rng.choice([0.01, 0.03, 0.1]))
    target = next(row for row in rows if tuple(row[:3]) == wanted)
    at_source = rng.random() < 0.5
    asked = Asked(
        load_ohm=target[0],
        supply_v=target[4] + SOURCE_OHM * target[5] if at_source else target[4],
        source_ohm=SOURCE_OHM if at_source else 0.0,
        thd_n=target[2],
        driven=len(outputs),
    )
    try:
        return Case(name=name, model=model, target=target, prediction=predict(model, asked))
    except BeyondDataError:
        return Case(name=name, model=model, target=target, prediction=None)


def told(found: Sequence[Case]) -> str:
    """Give a line for each amplifier and one for all."""
    by_name: dict[str, list[Case]] = defaultdict(list)
    for case in found:
        by_name[case.name].append(case)
    lines = [
        f"{'':14}{'cases':>6}{'refused':>8}{'power held':>12}{'current held':>14}{'half width: median, 95 %':>28}"
        f"{'under ±5 % inside':>20}"
    ]
    for name, some in [*by_name.items(), ("all", list(found))]:
        made = [case for case in some if case.prediction is not None]
        widths = [case.half_width for case in made]
        inside = [case.half_width < 0.05 for case in made if case.is_inside]
        powers = sum(case.held("power") for case in made) / len(made)
        currents = sum(case.held("supply_current") for case in made) / len(made)
        wide = f"±{100 * np.median(widths):.1f} %, ±{100 * np.quantile(widths, 0.95):.1f} %"
        lines.append(
            f"{name:14}{len(some):6}{len(some) - len(made):8}{100 * powers:10.1f} %{100 * currents:12.1f} %{wide:>28}"
            f"{sum(inside):8} of {len(inside)}"
        )
    return "\n".join(lines)


def main() -> None:
    from model_truths import truths

    from wattproof.sim.collection import COLLECTION

    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("n", type=int, nargs="?", default=300)
    parser.add_argument("seed", type=int, nargs="?", default=2031)
    parser.add_argument("--one", action="store_true", help="one supply voltage only")
    parser.add_argument("--misses", action="store_true", help="show the cases whose interval missed")
    given = parser.parse_args()
    found = list(cases({name: truths(name) for name in COLLECTION}, given.n, given.seed, one_supply=given.one))
    print(told(found))
    for case in found if given.misses else ():
        if case.prediction is not None and not case.held("power"):
            power, model = case.prediction.power, case.model
            off = 100 * (power.value / case.true_w - 1)
            print(
                f"{case.name} {case.target[:3]} from {model.load_ohm} {model.supply_v}: {off:+.1f} % "
                f"±{100 * case.half_width:.1f} %; widening {model.widening:.4f}, scatter {model.scatter:.4f}, "
                + ", ".join(f"{p.name} {p.value}" for p in model.parameters[:5])
            )


if __name__ == "__main__":
    main()
