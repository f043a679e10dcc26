"""Heat, loads, filters and the recorder, each against a formula or a solver that is not theirs."""

from math import log10, pi

import numpy as np
import pytest

from wattproof.bench import parse_bench
from wattproof.sim.collection import COLLECTION, FOLDER
from wattproof.sim.controls import Boost, ControlFilter, Controls, Edge
from wattproof.sim.engine import Happened
from wattproof.sim.halfband import Doubler, Halver, there_and_back_samples
from wattproof.sim.heat import Bodies, Rises, warmed
from wattproof.sim.inputs import Input, Inputs, coupled, true_inputs
from wattproof.sim.known import true_loads
from wattproof.sim.loads import Hanging, Loudspeaker, Resistor
from wattproof.sim.simulated_bench import SimulatedBench

RATE_HZ = 96000.0
SINK = Bodies(inner_j_per_k=60.0, outer_j_per_k=900.0, between_k_per_w=0.15, outside_k_per_w=0.55)


def test_warming_is_the_sum_of_two_exponentials():
    """Rates are the roots of s^2 + s (1/(R12 C1) + 1/(R12 C2) + 1/(R2a C2)) + 1/(R12 R2a C1 C2)."""
    c1, c2, r12, r2 = 60.0, 900.0, 0.15, 0.55
    fast, slow = np.roots([1.0, 1 / (r12 * c1) + 1 / (r12 * c2) + 1 / (r2 * c2), 1 / (r12 * r2 * c1 * c2)])
    # with power P from cold: x1(0) = 0 and x1'(0) = P / C1 fix the two weights
    weights = np.linalg.solve([[1, 1], [fast, slow]], [-100 * (r12 + r2), 100 / c1])
    for seconds in (0.01, 3.0, 60.0, 2000.0):
        expected = 100 * (r12 + r2) + weights @ np.exp(np.array([fast, slow]) * seconds)
        assert warmed(SINK, Rises(), power_w=100.0, seconds=seconds).inner_k == pytest.approx(expected, rel=1e-9)
    settled = warmed(SINK, Rises(), power_w=100.0, seconds=1e5)
    assert (settled.inner_k, settled.outer_k) == pytest.approx((70.0, 55.0), rel=1e-9)


def test_heat_in_steps_is_heat_at_once_and_an_exponential_of_matrices():
    from scipy.linalg import expm

    rises = Rises()
    for _ in range(500):
        rises = warmed(SINK, rises, power_w=80.0, seconds=0.01)
    once = warmed(SINK, Rises(), power_w=80.0, seconds=5.0)
    assert (rises.inner_k, rises.outer_k) == pytest.approx((once.inner_k, once.outer_k), rel=1e-9)
    a = np.array([[-1 / 9, 1 / 9, 80 / 60], [1 / 135, -1 / 135 - 1 / 495, 0.0], [0.0, 0.0, 0.0]])
    expected = expm(5.0 * a) @ [0, 0, 1]
    assert (once.inner_k, once.outer_k) == pytest.approx(tuple(expected[:2]), rel=1e-9)


def impedance(load, frequency_hz, *, rise_k=0.0):
    """Drive a load with a sine until it has settled, and divide the lines of volts and amperes."""
    hanging = Hanging(load, RATE_HZ)
    hanging.retune(rise_k)
    n = round(RATE_HZ * max(1.0, 10 / frequency_hz))
    volts = np.sin(2 * pi * frequency_hz * np.arange(3 * n) / RATE_HZ)
    amps = np.concatenate([hanging.current(part, keep=True) for part in np.array_split(volts, 7)])
    basis = np.exp(-2j * pi * frequency_hz * np.arange(3 * n) / RATE_HZ)[2 * n :]
    cycles = round(n * frequency_hz / RATE_HZ)
    whole = round(cycles * RATE_HZ / frequency_hz)
    return (basis[:whole] @ volts[2 * n :][:whole]) / (basis[:whole] @ amps[2 * n :][:whole])


def speaker_ohm(box, frequency_hz, *, rise_k=0.0):
    """The textbook's impedance: coil, eddies, and the driver's mass, losses and suspension with the box."""
    s, w_s = 2j * pi * frequency_hz, 2 * pi * box.fs_hz
    coil = box.re_ohm * (1 + box.tempco_per_k * rise_k) + s * box.le_h + 1 / (1 / (s * box.l2_h) + 1 / box.r2_ohm)
    res_ohm = box.re_ohm * box.qms / box.qes
    if box.fb_hz is None:
        grown = (1 + box.alpha) ** 0.5
        wc, qmc = w_s * grown, box.qms * grown
        return coil + res_ohm * (s / (wc * qmc)) / (1 + s / (wc * qmc) + (s / wc) ** 2)
    moving = 1 / res_ohm + s * box.qes / (w_s * box.re_ohm) + w_s * box.qes / (s * box.re_ohm)
    air_h, w_b = box.re_ohm / (w_s * box.qes) / box.alpha, 2 * pi * box.fb_hz
    boxed = s * air_h + w_b * air_h / box.ql + w_b**2 * air_h / s
    return coil + 1 / (moving + 1 / boxed)


@pytest.mark.parametrize("box", [Loudspeaker(), Loudspeaker(alpha=0.8, fb_hz=33.0)], ids=["sealed", "vented"])
@pytest.mark.parametrize("frequency_hz", [20.0, 33.0, 47.0, 100.0, 500.0])
def test_a_loudspeaker_has_its_textbook_impedance(box, frequency_hz):
    # the trapezium rule bends frequencies by (w T)^2 / 12, 1e-4 at 500 Hz
    assert impedance(box, frequency_hz) == pytest.approx(speaker_ohm(box, frequency_hz), rel=3e-4)


def test_a_vented_box_has_two_peaks_whose_places_give_alpha_back():
    box = Loudspeaker(alpha=1.5, fs_hz=30.0, fb_hz=32.0, ql=1e4, qms=60.0, le_h=1e-9, l2_h=1e-9)
    grid_hz = np.arange(14.0, 70.0, 0.01)
    ohms = np.abs([speaker_ohm(box, f) for f in grid_hz])
    peaks = grid_hz[1:-1][(ohms[1:-1] > ohms[:-2]) & (ohms[1:-1] > ohms[2:])]
    low_hz, high_hz = peaks
    alpha = (high_hz**2 - 32.0**2) * (32.0**2 - low_hz**2) / (high_hz * low_hz) ** 2
    assert alpha == pytest.approx(1.5, rel=2e-3)
    for frequency_hz in peaks:
        assert abs(impedance(box, frequency_hz)) == pytest.approx(abs(speaker_ohm(box, frequency_hz)), rel=0.02)


def test_a_warm_coil_and_a_warm_wire_have_more_resistance():
    assert impedance(Loudspeaker(), 47.0, rise_k=100.0) == pytest.approx(
        speaker_ohm(Loudspeaker(), 47.0, rise_k=100.0), rel=3e-4
    )
    wire = Resistor(resistance_ohm=4.0, contact_ohm=0.003, tempco_per_k=60e-6)
    assert impedance(wire, 47.0, rise_k=100.0).real == pytest.approx(4.0 * 1.006 + 0.003, rel=1e-6)


@pytest.mark.parametrize(("inductance_h", "frequency_hz"), [(2e-6, 997.0), (2e-4, 997.0), (2e-3, 47.0)])
def test_a_resistor_has_its_inductance(inductance_h, frequency_hz):
    found = impedance(Resistor(resistance_ohm=4.0, contact_ohm=0.0, inductance_h=inductance_h), frequency_hz)
    assert found == pytest.approx(4.0 + 2j * pi * frequency_hz * inductance_h, rel=4e-4)


def response(controls, frequency_hz):
    filters = ControlFilter(controls, RATE_HZ, 1)
    drive = np.sin(2 * pi * frequency_hz * np.arange(192000) / RATE_HZ)[None]
    out = np.concatenate([filters.filtered(part) for part in np.array_split(drive, 5, axis=1)], axis=1)
    basis = np.exp(-2j * pi * frequency_hz * np.arange(192000) / RATE_HZ)[96000:]
    return abs(out[0, 96000:] @ basis) / abs(drive[0, 96000:] @ basis)


@pytest.mark.parametrize("order", [1, 2, 3, 4])
@pytest.mark.parametrize("frequency_hz", [40, 80, 160])
def test_edges_are_butterworth_s(order, frequency_hz):
    expected = 1 / np.sqrt(1 + (frequency_hz / 80) ** (2 * order))
    assert response(Controls(low_pass=Edge(corner_hz=80.0, order=order)), frequency_hz) == pytest.approx(
        expected, rel=1e-3
    )
    high = response(Controls(high_pass=Edge(corner_hz=80.0, order=order)), frequency_hz)
    assert high == pytest.approx(expected * (frequency_hz / 80) ** order, rel=1e-3)


def test_a_squared_edge_is_six_decibels_down_at_its_corner_and_level_and_boost_are_what_they_say():
    squared = Controls(low_pass=Edge(corner_hz=80.0, order=4, squared=True))
    assert 20 * log10(response(squared, 80)) == pytest.approx(-6.02, abs=0.01)
    assert 20 * log10(response(squared, 160)) == pytest.approx(-24.6, abs=0.05)
    boosted = Controls(level_db=-3.0, boost=Boost(centre_hz=45.0, gain_db=9.0, q=1.0))
    assert 20 * log10(response(boosted, 45)) == pytest.approx(6.0, abs=0.01)
    s, a = 1j * 90 / 45, 10 ** (9 / 40)
    bell = (s * s + s * a + 1) / (s * s + s / a + 1)
    assert 20 * log10(response(boosted, 90)) == pytest.approx(20 * log10(abs(bell)) - 3.0, abs=0.01)


def test_converters_pass_the_band_stop_what_would_fold_and_delay_by_whole_samples():
    rows = np.zeros((2, 400))
    rows[0, 100], rows[1] = 1.0, 0.7
    doubler, halver = Doubler(2), Halver(2)
    halver.settle(np.array([0.0, 0.0]))
    back = np.concatenate([halver.halved(doubler.doubled(part)) for part in np.array_split(rows, 9, axis=1)], axis=1)
    assert np.argmax(back[0]) == 100 + there_and_back_samples(1)
    assert back[1, -100:] == pytest.approx(0.7, rel=1e-6)
    passed = np.abs(np.fft.rfft(back[0], 4800))
    assert np.abs(20 * np.log10(passed[: round(4800 * 18 / 48)])).max() < 0.02
    high = np.sin(2 * pi * 30000 * np.arange(9600) / RATE_HZ)[None]
    assert np.abs(Halver(1).halved(high)[0, 100:]).max() < 10 ** (-70 / 20)


@pytest.mark.parametrize("rate_hz", [6000.0, 12000.0, 24000.0, 44100.0, 48000.0, 96000.0])
def test_a_click_is_recorded_where_the_delay_says(rate_hz):
    bench = parse_bench(
        f"""[[channels]]
input = 1
role = "drive_voltage"
scale = 2.0
[rig]
kind = "simulated"
sample_rate_hz = {rate_hz}
""",
        file="bench.toml",
    )
    simulated = SimulatedBench(bench)
    drive_v = np.zeros((1, 600))
    drive_v[0, 200] = 1.0
    seen = np.concatenate([simulated.turn(part) for part in np.array_split(drive_v, 5, axis=1)])[:, 0]
    assert seen.shape == (600,)
    at = 200 + simulated.delay_samples
    assert np.argmax(seen) == at
    assert seen[at - 5 : at] == pytest.approx(seen[at + 5 : at : -1], abs=1e-4)  # linear in phase, so symmetric


def still(n=4800, **values):
    whole = dict.fromkeys(("supply_v", "supply_a", "rail_v", "heat_w", "sink_c"), 0.0) | values
    rows = {name: np.full((1, n), whole.pop(name, 0.0)) for name in ("drive_v", "load_v", "load_a")}
    return Happened(**rows, **{name: np.full(n, value) for name, value in whole.items()})


def test_an_input_scales_clips_and_has_bits_and_coupling():
    wires = (
        Input(role="load_voltage", scale=40.0, offset=0.4, noise=0.0),
        Input(role="supply_voltage", scale=20.0, full_scale=0.5, noise=0.0),
        None,
    )
    inputs = Inputs(wires, rate_hz=48000.0, doublings=1, seed=1)
    seen = inputs.recorded(still(load_v=8.4, supply_v=14.0))
    assert seen.shape == (2400, 3)
    assert seen[-100:, 0] == pytest.approx(0.2, abs=2**-24)
    assert seen[-1, 1] == 0.5 - 0.5 * 2**-23
    codes = seen[:, 0] * 2**23
    assert np.array_equal(codes, np.round(codes))
    blocked = Inputs(coupled(wires, corner_hz=50.0), rate_hz=48000.0, doublings=1, seed=1)
    assert abs(blocked.recorded(still(load_v=8.4))[-1, 0] + 0.01) < 1e-3


def test_a_residue_folds_to_where_the_rate_puts_it():
    inputs = Inputs((Input(role="load_voltage", noise=0.0),), rate_hz=48000.0, doublings=0, seed=1)
    inputs.residue_v, inputs.carrier_hz = 1.0, 211300.0
    lines = np.abs(np.fft.rfft(inputs.recorded(still(48000))[:, 0]))
    assert np.argmax(lines) == abs(211300 - 4 * 48000)


@pytest.mark.parametrize("name", sorted(COLLECTION))
def test_the_bench_file_states_inputs_and_loads_within_its_uncertainty(name):
    bench = parse_bench((FOLDER / name / "bench.toml").read_text(encoding="utf-8"), file="bench.toml")
    off = []
    for channel, true in zip(
        bench.channels, true_inputs(bench.channels, COLLECTION[name].outputs, seed=7), strict=True
    ):
        off += [(channel.scale / true.scale - 1) / channel.scale_u, (true.offset - channel.offset) / channel.offset_u]
    for load in bench.loads:
        off += [
            (one.resistance_ohm - load.resistance_ohm) / load.resistance_u_ohm for one in true_loads(name)[load.name]
        ]
    assert np.abs(off).max() < 1.75
    assert np.std(off) > 0.3
