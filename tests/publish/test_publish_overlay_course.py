"""A number is shown once its samples have all been recorded, never before, never across a gap, never after its time."""

import importlib.util
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.errors import MissingChannelError
from wattproof.measure import CaptureResult
from wattproof.publish.overlay_axes import Axis, curve_of
from wattproof.publish.overlay_course import course_of
from wattproof.publish.overlay_scene import Claim, scene_of
from wattproof.publish.overlay_words import clock_text, number_text

_spec = importlib.util.spec_from_file_location("overlaid_captures", Path(__file__).with_name("overlaid_captures.py"))
captures = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(captures)


def shown_w(result, t_s):
    course = course_of(result)
    return course.value("load_power", course.latest(t_s))


def test_a_second_of_a_hold_is_shown_when_it_is_over_and_until_the_next_one_is():
    result = captures.hold(100.0, 200.0, 300.0)
    assert shown_w(result, 0.0) is None
    assert shown_w(result, 0.999) is None
    assert shown_w(result, 1.0) == 100.0
    assert shown_w(result, 1.999) == 100.0
    assert shown_w(result, 2.0) == 200.0
    assert course_of(result).longest_s == pytest.approx(1.0)


def test_a_gap_shows_nothing_and_is_not_bridged_by_the_curve():
    result = captures.hold(100.0, 200.0, None, None, 500.0, 600.0)
    course = course_of(result)
    assert shown_w(result, 2.5) == 200.0  # it is the latest for as long as it lasted itself
    assert shown_w(result, 3.0) is None
    assert shown_w(result, 4.9) is None
    assert shown_w(result, 5.0) == 500.0
    assert [course.joined(k) for k in range(4)] == [False, True, False, True]


def test_after_its_last_frame_a_ramp_shows_nothing():
    result = captures.ramp(n=40, step_s=0.05)
    course = course_of(result)
    assert course.latest(0.549) is None
    assert course.latest(0.551) == 0
    assert course.latest(2.501) == 39
    assert course.latest(2.6) is None
    assert course.known(2.9) == 40


def test_a_single_frame_begins_where_the_capture_does():
    course = course_of(captures.hold(100.0))
    assert (course.begun_s[0], course.known_s[0]) == (0.0, 1.0)


def test_a_burst_is_known_when_it_is_over_and_stays_the_last_one():
    result = captures.bursts((1.0, 2.0, 3.0), length_s=0.25, seconds=5.0)
    course = course_of(result)
    assert shown_w(result, 1.2) is None
    assert shown_w(result, 1.25) == 100.0
    assert shown_w(result, 2.2) == 100.0
    assert shown_w(result, 2.25) == 101.0
    assert shown_w(result, 4.0) == 102.0
    assert shown_w(result, 4.3) is None
    assert course.shares(1).load == pytest.approx(101 / 150)
    assert scene_of(course, title="").at(2.3).remark == "burst 2 of 3"


@given(
    kept=st.lists(st.booleans(), min_size=2, max_size=12).filter(lambda kept: sum(kept) > 1),
    t_s=st.floats(0, 13, allow_nan=False),
)
@settings(max_examples=50, deadline=None)
def test_what_is_shown_was_over_and_is_never_much_older_than_it_lasted(kept, t_s):
    course = course_of(captures.hold(*[float(k + 1) if keep else None for k, keep in enumerate(kept)]))
    index = course.latest(t_s)
    if index is not None:
        assert course.known_s[index] <= t_s
        lasted = course.known_s[index] - course.begun_s[index]
        assert t_s - course.known_s[index] < 1.5 * lasted + 1e-9
    assert course.known(t_s) == int(np.sum(course.known_s <= t_s))


def test_several_outputs_are_told_apart_and_their_loads_share_the_supply():
    first, second = captures.hold(100.0, 100.0), captures.hold(60.0, 60.0)
    both = tuple(p.model_copy(update={"efficiency": None, "supply_power": 200.0}) for p in first.curve) + tuple(
        p.model_copy(update={"output": "B", "efficiency": None, "supply_power": 200.0}) for p in second.curve
    )
    result = first.model_copy(update={"curve": both})
    assert course_of(result).output == "A"
    course = course_of(result, output="B")
    assert course.value("load_power", 0) == 60.0
    assert course.shares(0).load == pytest.approx(160 / 200)
    assert course.n_outputs == 2
    with pytest.raises(MissingChannelError, match="no output C"):
        course_of(result, output="C")


def test_more_out_of_the_loads_than_into_the_amplifier_makes_no_strip():
    result = captures.hold(100.0)
    point = result.curve[0].model_copy(update={"efficiency": 1.03})
    course = course_of(result.model_copy(update={"curve": (point,)}))
    assert course.shares(0) is None
    assert not scene_of(course, title="").has_strip


def test_a_capture_without_a_course_is_refused_and_told_what_has_one():
    with pytest.raises(MissingChannelError, match="nothing that grows"):
        course_of(CaptureResult(file="steady.wav", kind="steady", duration_s=2.5))


def test_what_no_channel_gives_has_no_line():
    assert "temperature" not in course_of(captures.hold(1.0, 2.0, temperature=False)).columns


def test_axes_hold_the_whole_curve_and_the_claim_from_the_first_frame_on():
    course = course_of(captures.ramp())
    curve = curve_of(course, claim_w=900.0)
    assert curve.words == "ramp"
    assert 0 < curve.claim < 1
    drawn = course.columns["load_power"] > 1e-3 * 900
    assert np.isfinite(curve.x[drawn]).all()
    assert np.isfinite(curve.y[drawn]).all()
    over_time = curve_of(course_of(captures.hold(100.0, 110.0)), claim_w=150.0)
    assert (over_time.words, over_time.claim_upright) == ("time", False)
    assert over_time.claim > over_time.y.max()


def test_without_power_distortion_is_drawn_over_time():
    result = captures.hold(100.0, 110.0)
    bare = tuple(point.model_copy(update={"load_power": None}) for point in result.curve)
    curve = curve_of(course_of(result.model_copy(update={"curve": bare})), claim_w=100.0)
    assert (curve.words, curve.claim) == ("thd", None)
    # 0.1 and 0.2 per cent
    assert curve.y[1] == pytest.approx(2 * curve.y[0])


@given(low=st.floats(1e-3, 10), decades=st.floats(1, 6))
@settings(max_examples=50, deadline=None)
def test_ticks_lie_on_the_axis_and_are_few(low, decades):
    axis = Axis(low=low, high=low * 10**decades, log=True)
    ticks = axis.ticks(4)
    assert len(ticks) <= 4
    assert np.isfinite(axis.place(np.array([value for value, _ in ticks]))).all()
    straight = Axis(low=0.0, high=low, log=False)
    places = straight.place(np.array([value for value, _ in straight.ticks(4)]))
    assert np.isfinite(places).all()
    assert 3 <= places.size <= 5


def test_numbers_have_no_more_figures_than_they_deserve():
    said = {
        ("load_power", 1234.5): "1234",
        ("load_power", 0.004): "0.00",
        ("load_power", -0.004): "0.00",
        ("load_power", 9.996): "10.00",
        ("thd_n", 0.1006): "10.1",
        ("supply_current", -1.234): "−1.23",
        ("temperature", 21.66): "21.7",
    }
    assert {key: number_text(*key) for key in said} == said
    assert clock_text(0.99999) == "0.9"
    assert clock_text(-3.0) == "0.0"


def test_a_claim_is_drawn_with_its_words():
    scene = scene_of(course_of(captures.hold(100.0)), title="", claim=Claim(power_w=120.0, text="claim 120 W"))
    assert scene.claim.text == "claim 120 W"
    assert scene.curve.claim is not None
