"""What the simulated amplifiers truly do over loads and supply voltages, kept so that it is computed only once.

    python tools/model_truths.py                     all five into build/model-truths-*.json, ten minutes and more
    python tools/model_truths.py --table             and from them the small table that the tests use

A truth is a cold steady state on a stiff supply (5 mohm): at 1, 3 and 10 % of distortion, at three levels below, and
idle. Each is a row: load_ohm, set_v, thd (0 below the limits), power_w of one output, supply_v, supply_a,
supply_w.
"""

import argparse
import json
from math import exp, log
from pathlib import Path

from wattproof.sim.collection import COLLECTION
from wattproof.sim.known import Steady, at_thd, steady_state
from wattproof.sim.loads import Resistor
from wattproof.sim.parts import AmplifierParts

ROOT = Path(__file__).parents[1]
TABLE = ROOT / "tests" / "fit" / "truths.json"
THDS = (0.01, 0.03, 0.1)
LEVELS = (0.2, 0.45, 0.75)
LOADS_OHM = {"redstart-4": (8.0, 6.0, 4.0, 3.0, 2.67, 2.0)}
ANY_LOADS_OHM = (8.0, 6.0, 4.0, 3.0, 2.67, 2.0, 1.33)
VOLTS = (14.4, 13.8, 13.2, 12.6, 12.0, 11.5)
SMALL_LOADS_OHM, SMALL_VOLTS = (8.0, 4.0, 2.67, 2.0), (14.4, 13.2, 12.0)

Row = list[float]


def truths(name: str) -> list[Row]:
    """Give the rows of one amplifier, computed where they are not kept yet."""
    kept = ROOT / "build" / f"model-truths-{name}.json"
    found: list[Row] = json.loads(kept.read_text()) if kept.exists() else []
    there = {(row[0], row[1]) for row in found}
    wanted = [(ohm, volt) for ohm in LOADS_OHM.get(name, ANY_LOADS_OHM) for volt in VOLTS]
    for ohm, volt in wanted:
        if (ohm, volt) in there:
            continue
        found += _pair(COLLECTION[name], ohm, volt)
        kept.parent.mkdir(exist_ok=True)
        kept.write_text(json.dumps(found))
    return found


def _pair(parts: AmplifierParts, ohm: float, volt: float) -> list[Row]:
    loads = [Resistor(resistance_ohm=ohm)] * len(parts.outputs)
    rows, drive_v = [], 0.0
    for thd in THDS:
        drive_v, state = _at_thd(parts, loads, thd, volt, drive_v)
        rows.append(_row(ohm, volt, thd, state))
        if thd == THDS[0]:
            one_v = drive_v
    for level in LEVELS:
        rows.append(_row(ohm, volt, 0.0, steady_state(parts, loads, drive_v_rms=level * one_v, supply_v=volt)))
    rows.append(_row(0.0, volt, 0.0, steady_state(parts, loads, drive_v_rms=0.0, supply_v=volt)))
    return rows


def _at_thd(
    parts: AmplifierParts, loads: list[Resistor], thd: float, volt: float, near_v: float
) -> tuple[float, Steady]:
    """Find the level by secants from the one before; where that fails, by its bracketed root."""
    if near_v == 0.0:
        return at_thd(parts, loads, thd, supply_v=volt)
    points = []
    for factor in (1.05, 1.12):
        state = steady_state(parts, loads, drive_v_rms=factor * near_v, supply_v=volt)
        points.append((log(factor * near_v), log(state.thd / thd)))
    for _ in range(8):
        (x0, y0), (x1, y1) = points[-2:]
        x = x1 - y1 * (x1 - x0) / (y1 - y0)
        state = steady_state(parts, loads, drive_v_rms=exp(x), supply_v=volt)
        points.append((x, log(state.thd / thd)))
        if abs(points[-1][1]) < 1e-5:
            return exp(x), state
    return at_thd(parts, loads, thd, supply_v=volt)


def _row(ohm: float, volt: float, thd: float, state: Steady) -> Row:
    return [
        float(f"{value:.7g}")
        for value in (
            ohm, volt, thd, state.load_power[0], state.supply_voltage, state.supply_current, state.supply_power,
        )
    ]  # fmt: skip


def small_table() -> dict[str, list[Row]]:
    """Give the rows that the tests use."""
    return {
        name: [r for r in truths(name) if (r[0] == 0 or r[0] in SMALL_LOADS_OHM) and r[1] in SMALL_VOLTS]
        for name in COLLECTION
    }


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("names", nargs="*", default=list(COLLECTION))
    parser.add_argument("--table", action="store_true")
    given = parser.parse_args()
    for name in given.names:
        print(name, len(truths(name)), flush=True)
    if given.table:
        lines = [f'"{name}": [\n' + ",\n".join(map(json.dumps, rows)) + "\n]" for name, rows in small_table().items()]
        TABLE.write_text("{\n" + ",\n".join(lines) + "\n}\n")


if __name__ == "__main__":
    main()
