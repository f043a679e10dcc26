"""The calibration line against the worked example of JCGM 100, H.3, and against simulated calibrations."""

from datetime import date
from math import sqrt

import numpy as np
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from wattproof.bench import Bench, Calibration, calibrate, calibration_toml, parse_bench, parse_calibration
from wattproof.errors import SettingsError

# JCGM 100:2008, table H.6: readings of a thermometer and their corrections, degrees Celsius.
READINGS = (21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511)
CORRECTIONS = (-0.171, -0.169, -0.166, -0.159, -0.164, -0.165, -0.156, -0.157, -0.159, -0.161, -0.160)


def thermometer():
    return calibrate([(b, t - 20) for t, b in zip(READINGS, CORRECTIONS, strict=True)])


def test_the_thermometer_of_gum_h3_comes_out():
    line = thermometer()
    assert line.offset == pytest.approx(-0.1712, abs=5e-5)
    assert line.offset_u == pytest.approx(0.0029, abs=5e-5)
    assert line.scale == pytest.approx(0.00218, abs=5e-6)
    assert line.scale_u * line.scale == pytest.approx(0.00067, abs=5e-6)
    assert line.correlation == pytest.approx(-0.930, abs=5e-4)
    assert line.residual_sd == pytest.approx(0.0035, abs=5e-5)
    assert line.dof == 9
    predicted = line.predict(30 - 20, unit="K")
    assert predicted.value == pytest.approx(-0.1494, abs=5e-5)
    assert predicted.u == pytest.approx(0.0041, abs=5e-5)
    assert predicted.dof == pytest.approx(9)
    assert predicted.k95 == pytest.approx(2.262, abs=1e-3)
    assert line.notices == ()


def test_the_same_thermometer_as_a_channel_gives_the_same_line():
    """Reference against reading instead of correction against reading: the scale is one more, its u the same."""
    line = calibrate([(t + b, t) for t, b in zip(READINGS, CORRECTIONS, strict=True)])
    correction = thermometer()
    assert line.scale == pytest.approx(1 + correction.scale, abs=1e-12)
    assert line.scale_u * line.scale == pytest.approx(correction.scale_u * correction.scale, rel=1e-9)
    assert line.residual_sd == pytest.approx(correction.residual_sd, rel=1e-9)
    assert line.predict(30.0, unit="K").value - 30.0 == pytest.approx(correction.predict(10.0, unit="K").value)
    assert line.predict(30.0, unit="K").u == pytest.approx(correction.predict(10.0, unit="K").u, rel=1e-9)


def test_the_line_is_numpys_and_the_covariance_too():
    rng = np.random.default_rng(7)
    x = np.linspace(-1.0, 0.7, 9)
    y = 0.03 + 42.0 * x + rng.normal(0, 0.02, x.size)
    line = calibrate(list(zip(y.tolist(), x.tolist(), strict=True)))
    (scale, offset), covariance = np.polyfit(x, y, 1, cov=True)
    assert (line.scale, line.offset) == pytest.approx((scale, offset), rel=1e-10)
    assert (line.scale_u * line.scale) ** 2 == pytest.approx(covariance[0, 0], rel=1e-9)
    assert line.offset_u**2 == pytest.approx(covariance[1, 1], rel=1e-9)
    assert line.correlation == pytest.approx(covariance[0, 1] / sqrt(covariance[0, 0] * covariance[1, 1]), rel=1e-9)


def test_prediction_agrees_with_scale_offset_and_their_correlation():
    pairs = [(y * 1.1 + 0.2, y) for y in (1.0, 2.0, 4.0, 7.0)]
    pairs[1] = (pairs[1][0] + 0.01, pairs[1][1])
    line = calibrate(pairs, u_reference=0.003, u_reference_relative=0.002)
    a, b, r = line.offset_u, line.scale_u * line.scale, line.correlation
    for reading in (-3.0, 0.0, 2.5, 11.0):
        expected = sqrt(a**2 + (b * reading) ** 2 + 2 * r * a * b * reading)
        assert line.predict(reading, unit="V").u == pytest.approx(expected, rel=1e-6)


def test_the_references_own_scale_cannot_average_out():
    exact = [(42.0 * x, x) for x in np.linspace(-1, 1, 101).tolist()]
    line = calibrate(exact, u_reference_relative=0.003)
    assert line.scale_u == pytest.approx(0.003, rel=1e-9)
    assert line.predict(1.0, unit="V").u == pytest.approx(42 * 0.003, rel=1e-9)
    assert line.notices == ()


def simulated(rng, noise, n):
    x = np.linspace(0.1, 0.9, n)
    y = 0.5 + 40.0 * x + rng.normal(0, noise, n)
    return calibrate(list(zip(y.tolist(), x.tolist(), strict=True)))


def test_intervals_hold_the_truth_in_95_of_100_calibrations():
    rng = np.random.default_rng(11)
    held = {"line": 0, "scale": 0, "offset": 0}
    runs = 1000
    for _ in range(runs):
        line = simulated(rng, 0.05, 6)
        at_low = line.predict(0.2, unit="V")
        held["line"] += at_low.interval95[0] <= 0.5 + 8.0 <= at_low.interval95[1]
        held["scale"] += abs(line.scale - 40) <= 1.96 * line.stored_scale_u(swings=False) * line.scale
        held["offset"] += abs(line.offset - 0.5) <= 1.96 * line.stored_offset_u(swings=False)
    spread = 3 * sqrt(0.05 * 0.95 / runs)
    assert all(abs(count / runs - 0.95) <= spread for count in held.values()), held


@given(st.floats(-2, 2), st.integers(0, 10_000), st.booleans())
@settings(deadline=None)
def test_what_the_file_stores_never_understates_the_line(reading, seed, swings):
    """The file's scale and offset are taken as independent and exactly known: their sum must cover the whole line."""
    line = simulated(np.random.default_rng(seed), 0.05, 5)
    if not swings:
        reading = abs(reading)  # a channel that stays on the side it was calibrated on
    stored_u = sqrt(
        line.stored_offset_u(swings=swings) ** 2 + (line.stored_scale_u(swings=swings) * line.scale * reading) ** 2
    )
    predicted = line.predict(reading, unit="V")
    assert 1.96 * stored_u >= predicted.k95 * predicted.u * (1 - 1e-4)


def test_balanced_readings_lose_nothing_to_correlation():
    line = calibrate([(-42.1, -1.0), (-20.9, -0.5), (0.1, 0.0), (21.0, 0.5), (41.9, 1.0)])
    assert line.correlation == pytest.approx(0.0, abs=1e-12)
    assert line.stored_scale_u(swings=True) == pytest.approx(line.stored_scale_u(swings=False))


def test_the_lines_to_paste_are_a_channel_with_the_same_numbers():
    line = calibrate([(-42.1, -1.0), (-20.9, -0.5), (0.1, 0.0), (21.0, 0.5), (41.9, 1.0)], u_reference=0.02)
    text = calibration_toml(line, input=2, role="load_voltage", output="B", calibrated=date(2031, 3, 2))
    channel = parse_bench(text, file="bench.toml").channels[0]
    assert (channel.input, channel.role, channel.output) == (2, "load_voltage", "B")
    assert channel.calibrated == date(2031, 3, 2)
    assert channel.scale == pytest.approx(line.scale, abs=0.01 * line.scale_u * line.scale)
    assert channel.offset == pytest.approx(line.offset, abs=0.01 * line.offset_u)
    assert channel.scale_u == pytest.approx(line.stored_scale_u(swings=True), rel=5e-3)
    assert channel.offset_u == pytest.approx(line.stored_offset_u(swings=True), rel=5e-3)


def test_a_supply_channel_keeps_its_smaller_doubt():
    pairs = [(11.02, 0.11), (12.01, 0.12), (12.98, 0.13), (14.03, 0.14), (14.99, 0.15)]
    line = calibrate(pairs)
    channel = parse_bench(calibration_toml(line, input=3, role="supply_voltage"), file="b.toml").channels[0]
    assert line.correlation < -0.9
    assert channel.offset_u == pytest.approx(line.stored_offset_u(swings=False), rel=5e-3)


def test_a_point_that_stands_out_is_told():
    x = np.linspace(-1, 1, 9)
    y = 42 * x + np.array([1, -2, 1, 0, 80, 1, -1, 2, -1]) * 0.01
    (notice,) = calibrate(list(zip(y.tolist(), x.tolist(), strict=True))).notices
    assert notice.code == "calibration-outlier"
    assert notice.numbers["point"] == 5


def test_a_bend_is_told():
    x = np.linspace(-1, 1, 9)
    y = 42 * x + 0.5 * x**2 + np.array([1, -2, 1, 0, 1, 1, -1, 2, -1]) * 0.005
    (notice,) = calibrate(list(zip(y.tolist(), x.tolist(), strict=True))).notices
    assert notice.code == "calibration-bent"
    assert notice.numbers["bend"] == pytest.approx(0.5, abs=0.02)


def test_good_points_are_seldom_doubted():
    """A bend is looked for at 1 in 100, a point that stands out at 5 in 100: together well under 1 in 10."""
    rng = np.random.default_rng(3)
    doubted = sum(bool(simulated(rng, 0.05, 8).notices) for _ in range(400))
    assert 400 * 0.02 <= doubted <= 400 * 0.1


def test_few_points_are_told():
    assert [notice.code for notice in calibrate([(0, 0), (42, 1), (84.1, 2)]).notices] == ["calibration-few-points"]


def test_points_that_belong_to_different_signals_settle_no_scale():
    pairs = [(1.0, 0.3), (-2.0, 0.1), (0.5, -0.4), (1.5, 0.2), (-1.0, -0.1)]
    with pytest.raises(SettingsError, match="do not settle a scale") as caught:
        calibrate(pairs)
    assert "belong together" in caught.value.hint


def test_a_percentage_for_the_reference_is_refused_with_the_ratio_it_is_written_as():
    pairs = [(-42, -1), (0, 0), (42.1, 1)]
    with pytest.raises(SettingsError, match=r"u_reference_relative is 0\.8") as caught:
        calibrate(pairs, u_reference_relative=0.8)
    assert caught.value.hint == "0.8 % is written 0.008."
    assert calibrate(pairs, u_reference_relative=0.008).scale == pytest.approx(42.05)


@pytest.mark.parametrize(
    ("pairs", "why"),
    [
        ([], "0 points given"),
        ([(1, 1), (2, 2)], "2 points given"),
        ([(1, 3), (2, 3), (3, 3)], "readings of the channel are all 3"),
        ([(5, 1), (5, 2), (5, 3)], "reference readings are all 5"),
        ([(1, -1), (0, 0), (1, 1)], "do not follow the reference"),
        ([(1, 1), (2, float("nan")), (3, 3)], "not a finite number"),
    ],
)
def test_what_no_line_can_be_drawn_through_is_refused(pairs, why):
    with pytest.raises(SettingsError) as caught:
        calibrate(pairs)
    assert why in caught.value.why
    assert caught.value.hint


def test_a_negative_uncertainty_is_refused():
    with pytest.raises(SettingsError, match="u_reference is -1"):
        calibrate([(0, 0), (1, 1), (2, 2)], u_reference=-1)


def test_points_come_from_text():
    text = "# reference meter, warmed up\nreference;reading\n-20,98;-0,5\n21,02;0,5\n0,01;0\n"
    assert parse_calibration(text, file="points.csv") == ((-20.98, -0.5), (21.02, 0.5), (0.01, 0.0))


@pytest.mark.parametrize(
    ("text", "why"),
    [
        ("reference,reading\n1,\n", "line 2, column 2: reading is blank"),
        ("reference\n1\n", "line 1: column reading is missing"),
        ("reference,readings\n1,1\n", 'line 1, column 2: "readings" is no column'),
        ("reference,reading\n1,one\n", 'line 2, column 2: reading is "one"'),
    ],
)
def test_a_wrong_point_is_told_with_its_place(text, why):
    with pytest.raises(SettingsError) as caught:
        parse_calibration(text, file="points.csv")
    assert caught.value.why.startswith(why)


def test_a_calibration_survives_json():
    line = thermometer()
    assert Calibration.model_validate_json(line.model_dump_json()) == line


FINITE = st.floats(-1e6, 1e6)


@given(st.lists(st.tuples(FINITE, FINITE), max_size=8))
@settings(deadline=None, max_examples=100)
@example([(0.0, 0.0), (5e-324, 5e-324), (0.0, 5e-324)])
@example([(1e6, 1.0), (1e6, 1.0 + 1e-11), (0.0, 1.0)])
@example([(0.0, 0.0), (0.0, 7.5e-69), (0.0, 2.5e-258), (0.0, 1.1e-298), (1.0, 1.0)])
def test_any_points_give_a_line_of_finite_numbers_or_a_refusal(pairs):
    try:
        line = calibrate(pairs)
    except SettingsError as error:
        assert bool(error.why and error.hint)  # noqa: PT017 - both ways out are right
        return
    numbers = [line.scale, line.offset, line.scale_u, line.offset_u, line.residual_sd, line.predict(1.0, unit="V").u]
    assert np.isfinite(numbers).all()
    text = calibration_toml(line, input=1, role="load_voltage")
    assert isinstance(parse_bench(text, file="bench.toml"), Bench)
