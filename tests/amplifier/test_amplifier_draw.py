"""What a power draws, what a fuse and a lead carry, and the sine behind a rated power."""

from itertools import pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.amplifier import (
    Amplifier,
    Rating,
    ampacity,
    clipped_share,
    direct_power,
    driven_in,
    efficiency_of,
    fuse_demand,
    heat,
    linear_bound,
    opening_time,
    peak_volts,
    power_ratings,
    power_words,
    supply_current,
)


def thing(*ratings, **more):
    return Amplifier(maker="Sorrel Thaw", model="Dunlin 1", ratings=ratings, **more)


def power(value, **more):
    return Rating(quantity="power", value=value, unit="W", **more)


@pytest.mark.parametrize("name", ["D", "class d", "Class-AB", "A", "H", "none of them", None])
def test_the_band_of_efficiencies_is_a_band(name):
    band = efficiency_of(thing(**{"class": name}))
    assert 0 < band.poor <= band.usual <= band.best < 1


def test_a_worse_efficiency_that_is_stated_counts_and_a_better_one_or_a_strange_one_does_not():
    def usual(value, unit="%"):
        return efficiency_of(thing(Rating(quantity="efficiency", value=value, unit=unit), **{"class": "D"})).usual

    found = [usual(70), usual(92), usual(85, "1"), usual(0.04, "1")]
    assert found == pytest.approx([0.70, 0.85, 0.85, 0.85])
    assert efficiency_of(thing(Rating(quantity="efficiency", value=40, unit="%"), **{"class": "D"})).poor == 0.40


@given(st.floats(1, 5000), st.floats(0.1, 0.99), st.floats(8, 16))
@settings(max_examples=30, deadline=None)
def test_what_goes_in_comes_out_or_stays_as_heat(watts, efficiency, volts):
    drawn_w = supply_current(watts, efficiency=efficiency, supply_v=volts) * volts
    assert drawn_w == pytest.approx(watts + heat(watts, efficiency=efficiency))


def test_the_linear_bound_rises_with_clipping_from_pi_over_four():
    bounds = [linear_bound(thd) for thd in (0.0, 0.001, 0.01, 0.1, 0.3, 0.45)]
    assert bounds == sorted(bounds)
    assert bounds[0] == pytest.approx(3.14159265 / 4)
    assert bounds[-1] < 1


TIMES = [0.5, 1.0, 1.1, 1.2, 1.35, 1.5, 2.0, 3.0, 3.5, 5.0, 6.0, 50.0]


def test_a_fuse_opens_no_later_the_more_it_carries():
    bands = [opening_time(times) for times in TIMES]
    for (soon, late), (sooner, later) in pairwise(bands):
        assert sooner <= soon
        assert late is None or (later is not None and later <= late)
    assert all(late is None or soon <= late for soon, late in bands)


def test_the_table_of_a_blade_fuse_stands_where_it_is_exact():
    assert opening_time(1.1) == (360_000.0, None)
    assert opening_time(1.35) == (0.75, 600.0)
    assert opening_time(6.0) == (0.0, 0.1)


def test_a_claim_at_the_fuse_needs_the_fuse():
    amplifier = thing(power(60 * 14.4 * 0.9), fuse_a=60, **{"class": "D"})
    demand = fuse_demand(amplifier.ratings[0], amplifier)
    assert (demand.need_a, demand.times) == (pytest.approx(60), pytest.approx(1))
    assert demand.best_w == pytest.approx(demand.claimed_w)
    low = fuse_demand(power(100, supply_v=12), amplifier)
    assert low.through_w == 720
    assert fuse_demand(power(100), thing()) is None


def test_a_lead_carries_more_the_thicker_it_is_and_what_the_table_says_at_its_sizes():
    bands = [ampacity(area) for area in (0.5, 0.82, 1, 8.37, 10, 33.6, 107.2, 150)]
    assert bands == sorted(bands)
    assert all(low < high for low, high in bands)
    assert [round(ampacity(area)[1]) for area in (0.82, 8.37, 33.6, 107.2)] == [20, 80, 210, 445]


def test_clipping_to_a_square_doubles_the_power():
    assert clipped_share(0.01) == pytest.approx(1.0475, abs=1e-4)
    assert clipped_share(0.1) == pytest.approx(1.2878, abs=1e-4)
    assert clipped_share(0.48343) == pytest.approx(2.0)


@given(st.floats(0.1, 1e4), st.floats(0.5, 16))
@settings(max_examples=30, deadline=None)
def test_a_bridge_on_as_many_volts_as_a_power_needs_gives_it(watts, ohms):
    assert direct_power(peak_volts(watts, ohms), ohms) == pytest.approx(watts)


def test_no_more_outputs_are_driven_than_there_are():
    four = thing(outputs=("A", "B"))
    assert [driven_in(power(1, channels_driven=n), four) for n in (None, 1, 2, 6)] == [1, 1, 2, 2]


def test_ratings_speak_of_the_outputs_as_they_are_wired():
    ratings = power(50), power(120, bridged=True), Rating(quantity="thd", value=1, unit="%")
    pair, single = thing(*ratings, outputs=("A", "B")), thing(*ratings)
    assert [r.value for r in power_ratings(pair, bridged=True)] == [120]
    assert [r.value for r in power_ratings(pair, bridged=False)] == [50]
    assert [r.value for r in power_ratings(single, bridged=False)] == [50, 120]
    assert power_words(power(120, bridged=True, load_ohm=8)) == "120 W into 8 ohm bridged"


def test_noise_in_dbv_is_volts():
    assert Rating(quantity="noise", value=-80, unit="dBV").value_si == pytest.approx(1e-4)
