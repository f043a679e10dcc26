"""The engine obeys physics: energy, causality, one record however it is cut, rails and limits that do what they say."""

from dataclasses import replace
from math import asin, pi, sqrt

import numpy as np
import pytest

from wattproof.sim.collection import COLLECTION, quiet
from wattproof.sim.engine import Engine, Happened
from wattproof.sim.known import at_thd, steady_state
from wattproof.sim.loads import Loudspeaker, Resistor
from wattproof.sim.parts import AmplifierParts, Battery, CurrentLimit, Feed, Protection, Rail, Stage

RATE_HZ = 96000.0
FOUR = Resistor(resistance_ohm=4.0, contact_ohm=0.0, tempco_per_k=0.0)
IDEAL = Stage(
    swing=1.0, swing_negative=1.0, knee_doublings=9, stage_ohm=0.0, closed_loop_ohm=0.0, dead_v=0.0, square=0.0,
    cube=0.0, rail_leak=0.0, noise_v_per_rthz=0.0, hum_v=0.0, dc_v=0.0, residue_v=0.0,
    limit=CurrentLimit(kind="clamp", peak_a=1e6),
)  # fmt: skip
"""Clips like a blade."""
STIFF = Rail(ratio=3.0, regulated_v=30.0, stiffness_ohm=1e-3, store_f=1.0)


def engine_of(parts, loads, *, feed=None, supply_v=14.4, seed=1, rate_hz=RATE_HZ):
    engine = Engine(parts, feed or Feed(), loads, rate_hz=rate_hz, seed=seed)
    engine.fed.set_v, engine.fed.switched_on = supply_v, True
    engine.pass_time(1.0)
    return engine


def tone(level_v_rms, seconds, *, rows=1, tone_hz=47.0, rate_hz=RATE_HZ):
    times_s = np.arange(round(seconds * rate_hz)) / rate_hz
    return np.tile(sqrt(2) * level_v_rms * np.sin(2 * pi * tone_hz * times_s), (rows, 1))


def joined(pieces):
    names = Happened.__dataclass_fields__
    return Happened(**{n: np.concatenate([getattr(p, n) for p in pieces], axis=-1) for n in names})


@pytest.mark.parametrize("name", sorted(COLLECTION))
@pytest.mark.parametrize("level_v_rms", [0.0, 1.4, 3.0])
@pytest.mark.parametrize("kind", ["resistor", "loudspeaker"])
def test_the_supply_gives_what_the_load_gets_what_is_lost_and_what_is_stored(name, level_v_rms, kind):
    parts = COLLECTION[name]
    rows = len(parts.outputs)
    load = FOUR if kind == "resistor" else Loudspeaker(fb_hz=33.0)
    engine = engine_of(parts, [load] * rows)
    before_j = engine.stored_j
    seen = engine.play(tone(level_v_rms, 0.2137, rows=rows))
    given_j = np.sum(seen.supply_v * seen.supply_a) / RATE_HZ
    load_j = np.sum(seen.load_v * seen.load_a) / RATE_HZ
    heat_j = np.sum(seen.heat_w) / RATE_HZ
    assert load_j + heat_j + engine.stored_j - before_j == pytest.approx(given_j, rel=1e-6)
    assert seen.heat_w.min() > 0
    assert load_j < given_j


def test_a_record_is_the_same_however_it_is_cut():
    parts = COLLECTION["bittern-1"]
    drive_v = tone(1.75, 0.12)
    whole = engine_of(parts, [Loudspeaker()]).play(drive_v)
    for size in (960, 777, 128):
        engine = engine_of(parts, [Loudspeaker()])
        cut = joined([engine.play(drive_v[:, at : at + size]) for at in range(0, drive_v.shape[1], size)])
        for name in ("load_v", "load_a", "supply_v", "rail_v", "heat_w"):
            one, other = getattr(whole, name), getattr(cut, name)
            # the rounds end when the rail moves by less than 1e-7 of itself: a step of 24 bits, a hundredth of the hiss
            assert np.abs(one - other).max() < 4e-7 * np.abs(one).max(), (size, name)


def test_what_comes_later_changes_nothing_before():
    parts = COLLECTION["dabchick-600"]
    drive_v = tone(1.8, 0.1)
    other_v = drive_v.copy()
    other_v[:, 5000:] *= -0.2
    one, other = (engine_of(parts, [FOUR]).play(d) for d in (drive_v, other_v))
    assert np.abs(one.load_v[:, :5000] - other.load_v[:, :5000]).max() < 1e-6
    assert np.abs(one.load_v[:, 5001:] - other.load_v[:, 5001:]).max() > 10


@pytest.mark.parametrize(("thd_percent", "power", "crest"), [(1, 1.048, 1.382), (3, 1.112, 1.341), (10, 1.288, 1.246)])
def test_a_blade_clips_a_sine_as_the_textbook_says(thd_percent, power, crest):
    """Powers and crest factors of the ideal hard-clipped sine, from its closed form."""

    def thd_of(drive):
        a = asin(1 / drive)
        first = (2 / pi) * (drive * a + sqrt(1 - 1 / drive**2))
        total = drive**2 * (a / pi - sqrt(1 - 1 / drive**2) / (pi * drive)) + 1 - 2 * a / pi
        return sqrt(2 * total / first**2 - 1)

    low, high = 1.0001, 3.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if thd_of(middle) < thd_percent / 100 else (low, middle)
    engine = engine_of(AmplifierParts(rail=STIFF, stage=IDEAL), [FOUR])
    peak_v = 30.0
    volts = engine.play(tone(low * peak_v / IDEAL.gain / sqrt(2), 1.0)).load_v[0, -round(RATE_HZ * 10 / 47) :]
    lines = np.abs(np.fft.rfft(volts * np.hanning(volts.size)))
    assert np.mean(volts**2) / (peak_v**2 / 2) == pytest.approx(power, rel=2e-3)
    assert np.abs(volts).max() / sqrt(np.mean(volts**2)) == pytest.approx(crest, rel=2e-3)
    others = [lines[10 * n - 1 : 10 * n + 2] for n in range(2, 200)]
    assert np.linalg.norm(others) / np.linalg.norm(lines[9:12]) == pytest.approx(thd_percent / 100, rel=0.02)


def clipped_w(name, supply_v):
    parts = quiet(COLLECTION[name])
    return steady_state(parts, [FOUR], drive_v_rms=4.0, supply_v=supply_v)


def test_a_regulated_rail_is_flat_until_it_drops_out():
    at = {volts: clipped_w("dabchick-600", volts) for volts in (14.4, 13.0, 12.0, 10.0, 9.4)}
    assert at[13.0].load_power[0] == pytest.approx(at[14.4].load_power[0], rel=1e-3)
    assert at[12.0].load_power[0] == pytest.approx(at[14.4].load_power[0], rel=3e-3)
    assert at[9.4].load_power[0] < 0.85 * at[14.4].load_power[0]
    assert at[12.0].supply_current > 1.15 * at[14.4].supply_current  # the same power at fewer volts


def test_an_unregulated_rail_gives_power_with_the_square_of_the_supply():
    parts = COLLECTION["bittern-1"]
    low, high = (at_thd(parts, [FOUR], 0.01, supply_v=volts)[1] for volts in (12.0, 14.4))
    # V squared, once the converter's own drop is subtracted; the idle current's share of the sag does not scale
    expected = ((high.supply_voltage - parts.rail.converter_v) / (low.supply_voltage - parts.rail.converter_v)) ** 2
    assert high.load_power[0] / low.load_power[0] == pytest.approx(expected, rel=2e-3)


def test_efficiency_is_that_of_the_class_near_full_power_and_none_at_small_power():
    for name, parts in COLLECTION.items():
        loads = [FOUR] * len(parts.outputs)
        low, high = (0.5, 0.65) if parts.stage.kind == "AB" else (0.75, 0.88)
        assert low < steady_state(parts, loads, drive_v_rms=22.5 / parts.stage.gain).efficiency < high or name
        small = [steady_state(parts, loads, drive_v_rms=v).efficiency for v in (0.001, 0.02, 0.1, 0.4)]
        assert small[0] < 1e-4
        assert small == sorted(small)


def test_the_rail_sags_within_a_burst_and_recovers():
    parts = quiet(COLLECTION["bittern-1"])
    engine = engine_of(parts, [Resistor(resistance_ohm=2.0)])
    still_v = engine.play(np.zeros((1, 96))).rail_v[-1]
    burst = engine.play(tone(1.5, 0.2)).rail_v
    after = engine.play(np.zeros((1, 4800))).rail_v
    assert burst[:96].min() > 0.995 * still_v  # the store holds it up at first
    assert burst.min() < 0.96 * still_v
    assert after[0] < after[200] < after[2000]
    assert after[-1] == pytest.approx(still_v, rel=1e-3)


@pytest.mark.parametrize("kind", ["clamp", "foldback", "retry"])
def test_a_current_limit_does_what_it_says(kind):
    limit = CurrentLimit(kind=kind, peak_a=10.0, folded_a=4.0, retry_s=0.05)
    parts = quiet(AmplifierParts(rail=Rail(ratio=3.5), stage=Stage(limit=limit)))
    engine = engine_of(parts, [Resistor(resistance_ohm=2.0)])
    amps = np.abs(engine.play(tone(1.2, 0.6)).load_a[0])
    late = amps[-9600:]
    if kind == "clamp":
        assert 9.9 < late.max() < 10.01
    elif kind == "foldback":
        assert 9.5 < amps[:960].max() < 10.01
        assert 3.9 < late.max() < 4.1
    else:
        assert amps.max() > 10
        tries = amps.reshape(-1, 960).max(axis=1)
        assert 3 < np.count_nonzero(tries > 10) < 30
        assert np.count_nonzero(tries < 0.1) > 20


def test_a_limit_holds_into_a_loudspeaker_and_into_a_short():
    limit = CurrentLimit(kind="clamp", peak_a=6.0)
    parts = quiet(AmplifierParts(rail=Rail(ratio=3.5), stage=Stage(limit=limit)))
    engine = engine_of(parts, [Loudspeaker()])
    amps = engine.play(tone(1.6, 0.4, tone_hz=110.0)).load_a[0, -9600:]
    assert 4.0 < np.abs(amps).max() < 9.0
    short = engine_of(parts, [Resistor(resistance_ohm=0.008, inductance_h=0.0, contact_ohm=0.0)])
    shorted = short.play(tone(1.6, 0.1))
    assert np.abs(shorted.load_a).max() < 6.01
    assert np.abs(shorted.load_v).max() < 0.1


def test_heat_folds_back_then_shuts_down_then_lets_go():
    protection = Protection(foldback_c=60.0, foldback_per_k=0.02, shutdown_c=80.0, restart_c=70.0)
    parts = quiet(replace(COLLECTION["bittern-1"], protection=protection))

    def settled(rise_k):
        engine = engine_of(parts, [FOUR])
        engine.rises = replace(engine.rises, inner_k=rise_k, outer_k=rise_k)
        return np.sqrt(np.mean(engine.play(tone(0.5, 0.1)).load_v[0, -4800:] ** 2)), engine

    cool, warm = settled(20.0)[0], settled(54.0)[0]
    # 75 degrees Celsius: 15 K over the fold, less what cools within a tenth of a second
    assert warm / cool == pytest.approx(1 / 1.3, rel=0.02)
    hot, engine = settled(70.0)
    assert hot < 0.01 * cool
    engine.pass_time(3600.0)
    assert np.abs(engine.play(tone(0.5, 0.1)).load_v).max() > 10


def test_a_supply_too_low_silences_it_until_it_is_back():
    parts = quiet(COLLECTION["bittern-1"])
    engine = engine_of(parts, [FOUR])
    engine.fed.set_v = 7.0
    assert np.abs(engine.play(tone(0.5, 0.1)).load_v[0, -2000:]).max() < 0.01
    engine.fed.set_v = 14.4
    back = np.abs(engine.play(tone(0.5, 0.6)).load_v[0]).reshape(-1, 4800).max(axis=1)
    assert back[1] < 0.01
    assert back[-1] > 10


def test_the_supplys_own_limit_pulls_its_voltage_down():
    engine = engine_of(quiet(COLLECTION["bittern-1"]), [Resistor(resistance_ohm=2.0)])
    engine.fed.limit_a = 55.0
    seen = engine.play(tone(6.0, 0.8))  # clipped nearly square: current falls with the supply
    amps, volts = seen.supply_a.reshape(-1, 9600), seen.supply_v.reshape(-1, 9600)
    assert amps[0].mean() > 60
    assert amps[-1].mean() == pytest.approx(55.0, rel=0.03)
    assert volts[-1].mean() < 0.9 * volts[0].mean()


def test_a_battery_sags_at_once_then_slowly_and_empties():
    battery = Battery(charge_ah=0.05)
    engine = engine_of(quiet(COLLECTION["bittern-1"]), [FOUR], feed=Feed(battery=battery))
    resting = engine.play(np.zeros((1, 960))).supply_v[-1]
    pulled = engine.play(tone(1.2, 1.0)).supply_v.reshape(-1, 9600).mean(axis=1)
    assert pulled[0] < resting - 0.05
    assert pulled[-1] < pulled[2]
    assert np.all(np.diff(pulled[2:]) < 0.003)
    drawn = engine.fed.drawn_ah
    assert 0.1 * 10 / 3600 < drawn < 3 * 20 / 3600
    colder = replace(battery, temperature_c=-5.0)
    cold = engine_of(quiet(COLLECTION["bittern-1"]), [FOUR], feed=Feed(battery=colder))
    assert cold.fed.source_ohm > engine.fed.source_ohm


def test_outputs_share_one_rail():
    parts = quiet(COLLECTION["redstart-4"])
    drive_v = tone(1.0, 0.2, rows=4)
    one = drive_v.copy()
    one[1:] = 0.0
    all_four, alone = (engine_of(parts, [FOUR] * 4).play(d) for d in (drive_v, one))
    assert all_four.rail_v.min() < 0.98 * alone.rail_v.min()
    assert np.mean(all_four.load_v[0, -9600:] ** 2) < np.mean(alone.load_v[0, -9600:] ** 2)


def test_noise_and_offset_are_as_dense_as_stated():
    parts = COLLECTION["bittern-1"]
    volts = engine_of(parts, [FOUR]).play(np.zeros((1, 96000))).load_v[0]
    density = np.abs(np.fft.rfft(volts * np.hanning(96000))) ** 2 / (96000 * 96000 * 0.375) * 2
    # mean of 9000 bins: scatter of 1 %; behind the closed loop's resistance nothing is lost that matters
    assert np.sqrt(density[1000:10000].mean()) == pytest.approx(parts.stage.noise_v_per_rthz, rel=0.03)
    assert volts.mean() == pytest.approx(parts.stage.dc_v, rel=0.05)
