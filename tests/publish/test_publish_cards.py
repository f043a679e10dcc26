"""What cards say of ratings: sides, verdicts, units and digits, against numbers worked out by hand."""

import re
from math import log10

import pytest

from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.fit import Asked, Estimate, Prediction
from wattproof.judge import Judged, Judgement, Reading, Rule
from wattproof.publish import Foreseen, Look, PublishedSession
from wattproof.publish.card_power import other_loads_card
from wattproof.publish.card_signs import claim_on, sign_on
from wattproof.publish.card_verdicts import verdicts_card
from wattproof.publish.picture_sheet import Sheet
from wattproof.publish.rated import most_favourable
from wattproof.quantity import Quantity
from wattproof.report import INK, SERIES, SOFT


def session(*judgements, words=("power 48 W",), **more):
    judged = Judged(amplifier="Reed & Marten Otter 4", rule=Rule(), ratings=words, judgements=judgements)
    return PublishedSession(
        session="2031-05-14-otter-4-0000", day="2031-05-14",
        amplifier=Amplifier(maker="Reed & Marten", model="Otter 4"),
        bench=Bench(name="Boathouse bench"), results=(), judged=judged, **more,
    )  # fmt: skip


def judgement(*, value, u=0.5, unit="W", quantity="power", claimed=48.0, sense="at least", verdict="meets", rating=0):
    found = Quantity(value=value, u=u, unit=unit, k95=2.0)
    return Judgement(
        rating=rating, quantity=quantity, claimed=claimed, unit=unit, sense=sense, reading=Reading(words="as read"),
        measured=found, corrected=found, verdict=verdict, why="",
    )  # fmt: skip


@pytest.mark.parametrize(("sense", "at_least"), [("at least", True), ("at most", False), ("about", None)])
def test_a_rating_is_kept_on_the_side_that_its_sense_says(sense, at_least):
    (row,) = verdicts_card(session(judgement(value=50.0, sense=sense))).rows
    assert row.claim.at_least is at_least
    assert row.claim.value == 48.0
    assert (row.dots[0].low, row.dots[0].value, row.dots[0].high) == (49.0, 50.0, 51.0)
    assert row.told == ("50.0 ± 1.0 W",)


def test_readings_that_disagree_leave_it_untold_and_are_counted():
    card = verdicts_card(
        session(
            judgement(value=50.0),
            judgement(value=46.0, verdict="falls short"),
            judgement(value=46.5, verdict="falls short"),
        )
    )
    (row,) = card.rows
    assert row.verdict == "cannot tell"
    assert row.told == ("meets under 1 of 3 readings, falls short under 2 of 3 readings",)
    assert [dot.sort for dot in row.dots] == ["meets", "falls short", "falls short"]


def test_ratios_are_drawn_in_the_units_in_which_they_are_said():
    distortion = judgement(
        value=2e-4, u=1e-5, unit="V/V", quantity="thd", claimed=1e-3, sense="at most", verdict="meets", rating=0
    )
    noise = judgement(value=2e4, u=100.0, unit="V/V", quantity="snr", claimed=1e4, rating=1)
    first, second = verdicts_card(session(distortion, noise, words=("thd 0.1 %", "snr 80 dB"))).rows
    assert first.claim.value == pytest.approx(0.1)
    assert first.dots[0].value == pytest.approx(0.02)
    assert first.ends[1].endswith(" %")
    assert second.claim.value == pytest.approx(80.0)
    assert second.dots[0].value == pytest.approx(20 * log10(2e4))
    assert second.ends[1].endswith(" dB")
    assert (first.head, second.head) == ("THD 0.1 %", "SNR 80 dB")


@pytest.mark.parametrize(("sense", "best"), [("at least", 0.5), ("at most", -0.3), ("about", 0.2)])
def test_the_reading_kindest_to_the_maker_is_the_nearest_to_being_met(sense, best):
    same = judgement(value=50.0, sense=sense).model_copy(update={"probability": 0.0})
    one = most_favourable([same.model_copy(update={"margin": margin}) for margin in (0.2, 0.5, -0.3)])
    assert one.margin == best


def test_soft_words_are_not_soft_where_the_ground_is_not_known():
    assert Look(paper="light").colour(SOFT) == SOFT.light
    assert Look(paper="none").colour(SOFT) == INK.light
    assert Look(paper="none-dark").colour(SOFT) == INK.dark


@pytest.mark.parametrize(
    ("verdict", "arcs", "corners", "filled", "shade"),
    [("meets", 2, 1, True, SERIES[2]), ("falls short", 0, 3, True, SERIES[1]), ("cannot tell", 0, 4, False, SERIES[0])],
)
def test_a_verdict_has_its_sign_and_its_colour(verdict, arcs, corners, filled, shade):
    sheet = Sheet(look=Look())
    sign_on(sheet, verdict, x_px=100, y_px=100)
    (path,) = sheet.parts
    outline = re.search(r' d="([^"]*)"', path)[1]
    assert outline.count("A") == arcs
    assert len(re.findall("[MLH]", outline)) == corners
    assert f'stroke="{shade.light}"' in path
    assert (f'fill="{shade.light}"' in path) == filled


@pytest.mark.parametrize(("at_least", "side"), [(True, 1), (None, 1), (False, -1)])
def test_a_claims_flag_flies_to_the_side_on_which_it_is_kept(at_least, side):
    sheet = Sheet(look=Look())
    claim_on(sheet, x_px=100, top_px=100, bottom_px=200, at_least=at_least)
    tip = float(re.search(r'd="M0 0L(-?[\d.]+) ', sheet.parts[-1])[1])
    assert tip * side > 0


def test_a_prediction_is_written_to_its_own_doubt():
    def estimate(value, half, unit):
        return Estimate(value=value, u=half / 2, low=value - half, high=value + half, unit=unit)

    def foreseen(load_ohm, watts):
        asked = Asked(load_ohm=load_ohm, supply_v=14.4)
        prediction = Prediction(
            asked=asked, power=estimate(watts, 3.21, "W"), load_voltage=estimate(14.0, 0.2, "V"),
            load_current=estimate(4.0, 0.1, "A"), supply_voltage=estimate(14.4, 0.1, "V"), basis="within",
        )  # fmt: skip
        return Foreseen(load_ohm=load_ohm, supply_v=14.4, prediction=prediction)

    table = (foreseen(2.0, 112.345), foreseen(4.0, 61.2345))
    card = other_loads_card(session(foreseen=table, curve=tuple(one.prediction for one in table)))
    # a doubt of 3.2 W: two figures of it, so tenths
    assert [row.head for row in card.rows] == ["2 ohm: 112.3 W (109.1 to 115.6)", "4 ohm: 61.2 W (58.0 to 64.4)"]


def test_strangers_words_stay_words_in_a_picture():
    sheet = Sheet(look=Look())
    sheet.text('<script>"x"</script> & so', x_px=10, base_px=20, shade=SERIES[0])
    svg = sheet.svg(title="<b>Otter</b> & Heron", description='a "b" <i>')
    assert not re.search("<(script|b|i)[ >]", svg)
    assert "&lt;b&gt;Otter&lt;/b&gt; &amp; Heron" in svg
