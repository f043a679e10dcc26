"""What an output is expected to do: the best-supported lowest rating, carried; claims only raise the ceiling."""

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof.amplifier import clean_power, is_loud
from wattproof.bench import Bench, Limits, Load
from wattproof.errors import RefusedError
from wattproof.plan.powers import at_load, output_power
from wattproof.testing import clipped_power, overdrive_at

ONE_PERCENT = clipped_power(overdrive_at(0.01))
LOAD = Load(name="4 ohm", resistance_ohm=4.0, continuous_w=1000)


def expected(amplifier, bench, load=LOAD, supply_v=14.4, outputs=1, **more):
    return output_power(amplifier, bench, load, supply_v=supply_v, outputs=outputs, **more)


def test_a_matched_rating_is_taken_as_it_stands(amplifier, bench, make_stated):
    power = expected(amplifier(make_stated(300, 4), make_stated(520, 2)), bench())
    assert power.limit_w == pytest.approx(300)
    assert power.clean_w == pytest.approx(300 / ONE_PERCENT)
    assert power.knee_v_rms**2 / 4 == pytest.approx(power.clean_w)


def test_the_lowest_of_several_counts(amplifier, bench, make_stated):
    assert expected(amplifier(make_stated(300, 4), make_stated(250, 4)), bench()).limit_w == pytest.approx(250)


def test_a_10_per_cent_rating_is_brought_to_its_clean_sine_as_if_hard_clipped(make_power):
    rating = make_power(128.78, 4, thd_percent=10)
    assert clean_power(rating) == pytest.approx(128.78 / clipped_power(overdrive_at(0.1)))
    assert clean_power(rating) == pytest.approx(100, rel=1e-3)


def test_power_falls_in_proportion_above_the_rated_load_and_rises_slower_below():
    assert at_load(300, rated_ohm=4, load_ohm=8) == 150
    assert 300 < at_load(300, rated_ohm=4, load_ohm=2) < 600


def test_a_loud_claim_is_not_expected_but_raises_the_ceiling(amplifier, bench, make_power, make_stated):
    plain = expected(amplifier(make_stated(300, 4)), bench())
    loud = expected(amplifier(make_stated(300, 4), make_power(900, note="MAX")), bench())
    assert loud.limit_w == plain.limit_w
    assert loud.ceiling_w == pytest.approx(900 / ONE_PERCENT)
    assert plain.ceiling_w == pytest.approx(plain.clean_w)


def test_a_bare_rating_counts_only_where_nothing_better_is_stated(amplifier, bench, make_power, make_stated):
    bare, other = make_power(500, 4), make_stated(520, 2)
    assert expected(amplifier(bare), bench()).limit_w == pytest.approx(500)
    assert expected(amplifier(bare, other), bench()).limit_w == pytest.approx(260)


@pytest.mark.parametrize(
    ("load_ohm", "supply_v", "note", "loud"),
    [(None, None, None, True), (4, None, "PMPO", True), (4, None, None, False), (4, 14.4, "max", False)],
)
def test_what_a_loud_claim_is(make_power, load_ohm, supply_v, note, loud):
    assert is_loud(make_power(900, load_ohm, supply_v=supply_v, note=note)) is loud


def test_nobody_expects_more_than_the_fuse_carries_for_minutes(amplifier, bench, make_stated):
    power = expected(amplifier(make_stated(5000, 4), fuse_a=20), bench())
    assert power.clean_w == pytest.approx(1.35 * 20 * 14.4 * 0.85)
    assert "fuse" in power.said
    assert power.ceiling_w == pytest.approx(2 * power.clean_w)
    shared = expected(amplifier(make_stated(5000, 4), fuse_a=20, outputs=("A", "B")), bench("AB"), outputs=2)
    assert shared.clean_w == pytest.approx(power.clean_w / 2)


def test_an_unregulated_amplifier_follows_the_square_of_the_supply(amplifier, bench, make_stated):
    ratio = (12.6 / 14.4) ** 2
    for kind, wanted in (("unregulated", ratio), ("unknown", ratio), ("regulated", 1.0)):
        power = expected(amplifier(make_stated(300, 4), supply=kind), bench(), supply_v=12.6)
        assert power.limit_w == pytest.approx(300 * wanted)
    higher = expected(amplifier(make_stated(300, 4), supply="unknown"), bench(), supply_v=15.8)
    assert higher.limit_w == pytest.approx(300)


def test_bridged_ratings_speak_of_bridged_outputs_only(amplifier, bench, make_stated):
    thing = amplifier(make_stated(60, 4), make_stated(200, 4, bridged=True), outputs=("A", "B"))
    assert expected(thing, bench("AB")).limit_w == pytest.approx(60)
    assert expected(thing, bench("AB"), bridged=True).limit_w == pytest.approx(200)


def test_without_ratings_the_tightest_bound_of_the_bench_is_taken(amplifier, bench):
    thing = amplifier(fuse_a=None)
    assert expected(thing, bench()).clean_w is None
    assert expected(thing, bench()).ceiling_w == pytest.approx(1000)
    assert expected(thing, bench(), LOAD.model_copy(update={"resistance_ohm": 8})).ceiling_w == pytest.approx(
        90**2 / 16
    )
    tight = bench(limits=Limits(load_voltage_v=40))
    assert expected(thing, tight).ceiling_w == pytest.approx(200)
    assert expected(amplifier(fuse_a=5), tight).ceiling_w == pytest.approx(1.35 * 5 * 14.4 * 0.85)


def test_where_nothing_bounds_the_power_it_is_refused_and_the_hint_cures_it(amplifier):
    load = Load(name="4 ohm", resistance_ohm=4)
    with pytest.raises(RefusedError, match="Nothing says how much") as caught:
        expected(amplifier(fuse_a=None), Bench(loads=(load,)), load)
    assert "load_voltage_v" in caught.value.hint
    cured = Bench(loads=(load,), limits=Limits(load_voltage_v=50, supply_current_a=80))
    assert expected(amplifier(fuse_a=None), cured, load).ceiling_w == pytest.approx(50**2 / 8)


@given(
    st.lists(
        st.tuples(st.floats(5, 5000), st.sampled_from([1.0, 2.0, 4.0, 8.0]), st.booleans()), min_size=1, max_size=5
    ),
    st.integers(0, 4),
    st.floats(1, 10),
)
@settings(max_examples=50, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
def test_a_larger_claim_never_lowers_what_is_expected(amplifier, bench, make_power, claims, which, factor):
    def power(claims):
        ratings = [make_power(w, ohm, thd_percent=1 if said else None) for w, ohm, said in claims]
        return expected(amplifier(*ratings), bench())

    which %= len(claims)
    larger = [(w * factor if n == which else w, ohm, said) for n, (w, ohm, said) in enumerate(claims)]
    before, after = power(claims), power(larger)
    assert after.limit_w >= before.limit_w * (1 - 1e-12)
    assert after.ceiling_w >= before.ceiling_w * (1 - 1e-12)
