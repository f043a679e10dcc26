"""A report's content: every sentence against numbers found by another path, every link against its place."""

import re
from dataclasses import replace
from datetime import UTC, datetime
from math import log10

import pytest

from wattproof.amplifier import Amplifier, Inside, Rating
from wattproof.bench import Bench
from wattproof.errors import Notice
from wattproof.fit import fit_behaviour
from wattproof.judge import Subject, Terms, judge, on_terms
from wattproof.measure import CaptureResult, CurvePoint, Figure
from wattproof.publish import (
    Bullets,
    Chart,
    Facts,
    Foreseen,
    Link,
    Paragraph,
    PublishedSession,
    Remarks,
    Scale,
    Strip,
    Table,
    plain_words,
    session_document,
)
from wattproof.publish.wording import SECTIONS
from wattproof.quantity import BudgetLine

SUPPLY_V = 14.4


def figure(name, value, u, unit, origin, *, output="A", **conditions):
    budget = (BudgetLine(source=f"bench: {name}", label=f"scale of {name}", u=u, type="B"),) if u else ()
    return Figure(
        name=name, value=value, u=u, unit=unit, origin=origin, output=output, conditions=conditions, budget=budget
    )


def ramp(load_ohm, watts, *, file=None, output="A", supply_v=SUPPLY_V):
    """A ramp whose supply gives 1.25 times the power at 1 %, the rest being heat."""
    file = file or f"ramp-{load_ohm:g}.wav"
    at = {"load_ohm": load_ohm, "supply_v": supply_v, "frequency_hz": 47.0}
    limits = [("power_at_thd_1", watts, 0.01), ("power_at_thd_10", 1.25 * watts, 0.1)]
    powers = tuple(
        figure(name, value, 1.0, "W", f"{file} 1-2 s", output=output, thd_n=thd_n, bandwidth_hz=(20.0, 20e3), **at)
        for name, value, thd_n in limits
    )
    drawn = (
        figure("supply_power", 1.25 * watts, 1.5, "W", f"{file} 1-2 s", output=None, supply_v=supply_v),
        figure("efficiency", 0.8, 0.002, "W/W", f"{file} 1-2 s", output=None, thd_n=0.01),
        figure("heat", 0.25 * watts, 1.5, "W", f"{file} 1-2 s", output=None),
        figure("supply_voltage_min", supply_v - 0.4, 0.02, "V", f"{file} 0-4 s", output=None),
    )
    curve = tuple(
        CurvePoint(t_s=n / 10, output=output, load_power=watts * n / 10, thd_n=1e-4 * 10 ** (n / 4),
                   supply_voltage=supply_v - n / 40, supply_current=float(n), efficiency=0.08 * n)
        for n in range(1, 11)
    )  # fmt: skip
    return CaptureResult(file=file, kind="ramp", figures=(*powers, *drawn), curve=curve, duration_s=4.0)


def hold(load_ohm, first_w, last_w, *, seconds=30.0):
    file = f"hold-{load_ohm:g}.wav"
    powers = tuple(
        figure("sustained_power", watts, 1.0, "W", f"{file} {at:g}-{at + 1:g} s", at_s=at, load_ohm=load_ohm)
        for at, watts in ((1.0, first_w), (seconds, last_w))
    )
    return CaptureResult(file=file, kind="hold", figures=powers, duration_s=seconds)


IDLE = CaptureResult(
    file="idle.wav", kind="idle", figures=(
        figure("noise_rms_a", 2e-4, 1e-6, "V", "idle.wav", weighting="A"),
        figure("idle_current", 1.1, 0.01, "A", "idle.wav", output=None),
        figure("supply_voltage", 14.4, 0.01, "V", "idle.wav", output=None),
        figure("supply_power", 15.84, 0.1, "W", "idle.wav", output=None),
    ),
)  # fmt: skip
FLOOR = CaptureResult(
    file="floor.wav", kind="idle", figures=(
        figure("idle_current", 0.001, 0.01, "A", "floor.wav", output=None),
        figure("supply_power", 1e-6, 1e-6, "W", "floor.wav", output=None),
    ),
)  # fmt: skip
TYPED = CaptureResult(
    file="readings.csv", kind="readings", figures=(
        figure("load_power", 210.0, 2.0, "W", "readings.csv line 2", load_ohm=4.0, supply_v=14.4),
        figure("thd_n", 0.008, 1e-4, "V/V", "readings.csv line 2"),
    ),
)  # fmt: skip
RATINGS = (
    Rating(quantity="power", value=190, unit="W", load_ohm=4, supply_v=14.4, thd_percent=1, source="manual"),
    Rating(quantity="power", value=400, unit="W", load_ohm=2, supply_v=14.4, thd_percent=1),
    Rating(quantity="idle_current", value=1.1, unit="A", supply_v=14.4),
    Rating(quantity="snr", value=90, unit="dB"),
    Rating(quantity="crosstalk", value=60, unit="dB"),
)


def amplifier(**changes):
    given = {"maker": "Reed & Rush", "model": "Coot", "class_": "D", "ratings": RATINGS} | changes
    return Amplifier(**given)


def session(*results, thing=None, **changes):
    thing = thing or amplifier()
    models = (fit_behaviour(results, amplifier="Coot"),) if any(r.kind == "ramp" for r in results) else ()
    terms = Terms(load_ohm=(4.0, 2.0), supply_v=SUPPLY_V, thd_n=(0.01, 0.1), driven=1)
    subject = Subject(name="coot", amplifier=thing, results=results, models=models)
    given = {
        "session": "2031-05-14-coot-a1b2", "day": "2031-05-14", "amplifier": thing,
        "bench": Bench(name="Boathouse bench"), "results": results, "models": models,
        "judged": judge(thing, results, models=models) if thing.ratings else None,
        "on_terms": (on_terms(subject, terms=terms),) if models else (),
    }  # fmt: skip
    return PublishedSession(**{**given, **changes})


FULL = (FLOOR, IDLE, ramp(4.0, 200.0), ramp(2.0, 350.0), hold(4.0, 200.0, 196.0), hold(2.0, 350.0, 175.0))
EMPTY = amplifier(ratings=())
SESSIONS = {
    "full": session(*FULL),
    "one load": session(ramp(4.0, 200.0)),
    "typed only": session(TYPED),
    "no ratings": session(*FULL, thing=EMPTY),
    "nothing": session(thing=EMPTY),
    "several outputs": session(
        CaptureResult(
            file="both.wav", kind="ramp",
            figures=tuple(
                f.model_copy(update={"output": output, "value": watts})
                for output, watts in (("A", 100.0), ("B", 98.0))
                for f in ramp(4.0, 100.0, file="both.wav").figures if f.name == "power_at_thd_1"
            ),
        ),
        thing=amplifier(outputs=("A", "B"), ratings=()),
    ),
}  # fmt: skip


@pytest.fixture(params=SESSIONS, ids=list(SESSIONS))
def document(request):
    return session_document(SESSIONS[request.param])


def runs(document):
    """Give every run of words of a document with where it stands."""
    for paragraph in document.lead:
        yield "lead", paragraph.words
    for section in document.sections:
        for block in section.blocks:
            for words in block_runs(block):
                yield section.anchor, words


def block_runs(block):
    if isinstance(block, Paragraph):
        yield block.words
    elif isinstance(block, Bullets):
        yield from block.items
    elif isinstance(block, Facts):
        yield from (words for _, words in block.pairs)
    elif isinstance(block, Table):
        yield from (cell for row in block.rows for cell in row.cells)
        yield from ((note,) for note in block.notes)
    elif isinstance(block, Scale):
        yield from (block.told, block.details)
    elif isinstance(block, Strip):
        yield block.told


def told(document, *anchors):
    return "\n".join(plain_words(words) for where, words in runs(document) if not anchors or where in anchors)


def blocks(document, anchor, kind):
    return [b for s in document.sections if s.anchor == anchor for b in s.blocks if isinstance(b, kind)]


def test_sections_stand_in_order_and_appendices_last(document):
    anchors = [section.anchor for section in document.sections]
    assert anchors == [anchor for anchor in SECTIONS if anchor in anchors]
    assert [section.appendix for section in document.sections] == sorted(
        section.appendix for section in document.sections
    )
    assert {"figures", "captures", "cautions"} == {s.anchor for s in document.sections if s.appendix}
    assert all(section.blocks for section in document.sections)


def test_every_link_leads_to_one_place(document):
    rows = [row for s in document.sections for b in s.blocks if isinstance(b, Table) for row in b.rows]
    places = [section.anchor for section in document.sections] + [row.anchor for row in rows if row.anchor]
    links = [word for _, words in runs(document) for word in words if isinstance(word, Link)]
    assert len(places) == len(set(places))
    assert {link.to for link in links} <= set(places)
    assert all(link.text for link in links)


def test_every_figure_has_its_row_its_origin_and_its_budget():
    given = SESSIONS["full"]
    document = session_document(given)
    rows = {row.anchor: row for table in blocks(document, "figures", Table) for row in table.rows}
    captures = {
        row.anchor: plain_words(row.cells[0]) for table in blocks(document, "captures", Table) for row in table.rows
    }
    assert len(rows) == sum(len(result.figures) for result in given.results)
    for number, result in enumerate(given.results, start=1):
        for place, one in enumerate(result.figures, start=1):
            row = rows[f"figure-{number}-{place}"]
            (origin,) = [word for cell in row.cells for word in cell if isinstance(word, Link)]
            assert captures[origin.to] == result.file
            assert origin.text in {one.origin.removeprefix(result.file).strip(), "whole capture"}
            assert f"scale of {one.name}" in plain_words(row.cells[-1])


def test_powers_of_the_body_lead_to_the_rows_that_state_the_same():
    document = session_document(SESSIONS["full"])
    values = {
        row.anchor: plain_words(row.cells[1]) for table in blocks(document, "figures", Table) for row in table.rows
    }
    links = [w for where, words in runs(document) for w in words if isinstance(w, Link) and where not in {"figures"}]
    leading = [link for link in links if link.to in values]
    assert len(leading) > 20
    assert all(link.text == values[link.to] for link in leading)


def test_the_lead_says_what_was_measured():
    text = told(session_document(SESSIONS["full"]), "lead")
    assert "Reed & Rush Coot, a class D amplifier with one output" in text
    assert "2031-05-14" in text
    # u = 1 W: ± 1.96 W, written with two figures
    assert (
        "At 1 % of distortion it gave 200.0 ± 2.0 W into 4 ohm at 14.40 V and 350.0 ± 2.0 W into 2 ohm at 14.40 V."
        in text
    )
    # both holds are as long; the one that kept less is told: 175 W of 350 W
    assert "Held for 30 s into 2 ohm, it then gave 175.0 ± 2.0 W, 50 % of what it gave at 1 s." in text


def test_the_lead_counts_the_verdicts_that_follow_from_the_numbers():
    text = told(session_document(SESSIONS["full"]), "lead")
    # 200 ± 2 W of 190 W is met; 350 ± 2 W of 400 W is 12.5 % short; 1.1 A of 1.1 A is a coin's toss; signal over noise
    # re 1 W in 4 ohm is 20 lg(2 V / 0.2 mV) = 80 dB, re 190 W 22.8 dB more; crosstalk was not measured
    assert 20 * log10(2 / 2e-4) < 90 < 20 * log10(2 / 2e-4) + 10 * log10(190)
    counts = (
        "meets one, falls short of one, meets one under some readings of it only and leaves two that cannot be told."
    )
    assert f"Of the maker's five ratings it {counts}" in text
    assert "Rated 190 W into 4 ohm: met, with 200.0 ± " in text
    assert re.search(
        r"rated 400 W into 2 ohm: falls short, with 350\S* ± \S+ W at the rated conditions, 12 % below", text
    )
    assert "95 % probable" in text


def test_the_lead_names_what_the_amplifier_falls_short_of_also_where_that_is_no_power():
    ratings = (Rating(quantity="power", value=190, unit="W", load_ohm=4, thd_percent=1, supply_v=14.4),
               Rating(quantity="idle_current", value=1.0, unit="A", supply_v=14.4))  # fmt: skip
    text = told(session_document(session(*FULL, thing=amplifier(ratings=ratings))), "lead")
    assert "; current at idle rated 1 A: falls short, with 1.100 ± " in text


def test_a_rating_that_is_to_be_near_is_drawn_neither_as_a_least_nor_as_a_most():
    thing = amplifier(ratings=(*RATINGS, Rating(quantity="gain", value=26, unit="dB")))
    scales = blocks(session_document(session(*FULL, thing=thing)), "ratings", Scale)
    kept = {scale.quantity: scale.at_least for scale in scales}
    assert (kept["Gain"], kept["Power"], kept["Current at idle"]) == (None, True, False)


def test_a_doubt_of_many_outputs_says_once_what_they_share():
    warnings = tuple(
        Notice(code="mains", message=f"Lines at 90 Hz: {n} % of {out}.", hint="Look.")
        for n, out in ((3, "A"), (4, "B"))
    )
    results = (ramp(4.0, 200.0).model_copy(update={"warnings": warnings}),)
    text = told(session_document(replace(SESSIONS["one load"], results=results)))
    assert "Lines at 90 Hz: 3 % of A [ramp-4.wav]; 4 % of B [ramp-4.wav]. Look." in text


def test_complaints_call_a_parameter_as_the_table_does():
    text = told(session_document(SESSIONS["one load"]))
    assert "Resistance between rail and load: only one load was measured" in text
    assert "output_ohm" not in text


def test_the_lead_is_three_to_six_sentences(document):
    text = " ".join(plain_words(paragraph.words) for paragraph in document.lead)
    assert 3 <= len(re.findall(r"\.(?= [A-Z]|$)", text)) <= 6, text


def test_without_ratings_none_is_judged():
    document = session_document(SESSIONS["no ratings"])
    assert "No rating of the maker was given" in told(document, "lead")
    assert not blocks(document, "ratings", Scale)


def test_typed_readings_are_told_as_such():
    text = told(session_document(SESSIONS["typed only"]), "lead")
    assert "one reading typed from meters" in text
    assert "By meters, typed in, it gave 210.0 ± 3.9 W into 4 ohm at 14.40 V, at 0.800 ± 0.020 % of distortion." in text


def test_the_weakest_of_several_outputs_is_told():
    text = told(session_document(SESSIONS["several outputs"]), "lead")
    assert "98.0 ± 2.0 W into 4 ohm at 14.40 V from the weakest of two outputs driven at once" in text


def test_what_was_not_measured_is_said():
    text = told(session_document(SESSIONS["one load"]))
    for sentence in ("No tone was held at full power", "No bursts were measured.", "Nothing was noted of its inside."):
        assert sentence in text


def test_numbers_are_rounded_to_their_uncertainty(document):
    found = re.findall(r"(-?\d+(?:\.(\d+))?) ± (\d+(?:\.(\d+))?)", told(document))
    assert all(len(decimals) == len(doubts) for _, decimals, _, doubts in found)
    assert all(len(half.replace(".", "").lstrip("0")) <= 3 for _, _, half, _ in found)


def test_claim_and_interval_lie_inside_their_line():
    scales = blocks(session_document(SESSIONS["full"]), "ratings", Scale)
    for scale in scales:
        ends = [scale.claim, *(end for end in (scale.measured.low, scale.measured.high) if end is not None)]
        assert scale.low < min(ends) <= max(ends) < scale.high
    power = scales[0]
    assert (power.claim, power.unit, power.verdict) == (190.0, "W", "meets")
    assert power.measured.value == pytest.approx(200.0, rel=0.01)
    assert [s.measured.value for s in scales if s.quantity == "Crosstalk"] == [None]


def test_a_rating_whose_reading_decides_stands_there_under_each_verdict():
    scales = [
        s for s in blocks(session_document(SESSIONS["full"]), "ratings", Scale) if s.unit == "dB" and s.measured.low
    ]
    assert [scale.verdict for scale in scales] == ["meets", "falls short"]
    assert len({scale.title for scale in scales}) == 2
    assert {round(scale.claim) for scale in scales} == {90}
    assert scales[0].measured.value == pytest.approx(20 * log10((400 * 2) ** 0.5 / 2e-4), abs=1e-6)
    assert scales[1].measured.value == pytest.approx(20 * log10(2 / 2e-4), abs=1e-6)


def test_the_strip_fills_its_width_and_tells_load_from_heat():
    strips = blocks(session_document(SESSIONS["full"]), "supply", Strip)
    assert len(strips) == 2  # one a load
    for strip in strips:
        assert sum(part.share for part in strip.parts) == 1.0
        assert [part.share for part in strip.parts] == pytest.approx([0.8, 0.2])


def test_a_recorder_with_the_supply_off_is_no_idle_current():
    text = told(session_document(SESSIONS["full"]), "supply")
    assert "1.100 ± 0.020 A" in text
    assert text.count("Without a signal it draws") == 1


def test_predictions_and_refusals_stand_in_one_table():
    from wattproof.tasks.foreseeing import curve_of, foreseen_by

    model = SESSIONS["full"].models[0]
    asked = foreseen_by(model, supply_v=SUPPLY_V, thd_n=0.01)
    given = replace(SESSIONS["full"], foreseen=asked, curve=curve_of(model, supply_v=SUPPLY_V, thd_n=0.01))
    document = session_document(given)
    table = blocks(document, "model", Table)[0]
    known = {one.load_ohm: one for one in asked if one.supply_v == SUPPLY_V}
    column = [c.head for c in table.columns].index("At 14.4 V")
    for row in table.rows:
        one = known[float(plain_words(row.cells[0]).split()[0])]
        said = plain_words(row.cells[column])
        if one.prediction is None:
            assert re.fullmatch(r"not said \[\d\]", said)
            assert any(one.why in note for note in table.notes)
        else:
            value, low, high = (float(n) for n in re.fullmatch(r"(\S+) \((\S+) to (\S+)\)", said).groups())
            assert low <= value <= high
            assert value == pytest.approx(one.prediction.power.value, rel=0.05)
            # written to two figures of half the interval
            step = 10.0 ** -max(len(part.partition(".")[2]) for part in re.findall(r"[\d.]+", said))
            assert 9.9 < (one.prediction.power.high - one.prediction.power.low) / 2 / step < 100
    assert any(one.prediction is None for one in asked)
    assert [chart.name for chart in blocks(document, "model", Chart)] == ["model"]


def test_a_refusal_alone_makes_no_table():
    refused = (Foreseen(load_ohm=1.0, supply_v=14.4, prediction=None, why="no capture says"),)
    document = session_document(replace(SESSIONS["full"], foreseen=refused))
    assert len(blocks(document, "model", Table)) == 1  # the fitted numbers


def test_opinion_is_kept_apart_and_said_to_be_one():
    remarks = Remarks(summary="A quiet thing.", pros=("runs cool",), cons=("fan is loud",))
    document = session_document(replace(SESSIONS["full"], remarks=remarks))
    where = {anchor for anchor, words in runs(document) if "runs cool" in plain_words(words)}
    assert where == {"opinion"}
    assert "is the tester's opinion" in told(document, "opinion")
    assert not blocks(session_document(SESSIONS["full"]), "opinion", Paragraph)


def test_what_was_seen_inside_is_told_in_the_units_on_the_part():
    inside = Inside(rail_capacitance_f=0.0066, rail_v=51, converter=True, fuses_a=(30, 30), seen="no paste")
    text = told(session_document(session(*FULL, thing=amplifier(inside=inside))), "inside")
    for said in ("6600 µF", "51 V", "yes", "30 A, 30 A", "no paste"):
        assert said in text


def test_equal_sessions_make_equal_reports_but_for_the_stated_moment():
    first, second = session_document(session(*FULL)), session_document(session(*FULL))
    assert first == second
    moment = datetime(2031, 5, 15, 10, 30, tzinfo=UTC)
    dated = session_document(replace(session(*FULL), generated=moment))
    assert dated.generated == moment.isoformat()
    assert replace(dated, generated="") == first


def test_every_chart_is_drawn_for_both_widths_and_told():
    charts = [b for s in session_document(SESSIONS["full"]).sections for b in s.blocks if isinstance(b, Chart)]
    assert {"distortion", "supply", "efficiency"} <= {chart.name for chart in charts}
    for chart in charts:
        assert chart.wide["description"] == chart.narrow["description"] == chart.caption
        assert chart.wide != chart.narrow


def test_a_hold_of_one_output_among_several_is_told_of_that_output():
    thing = amplifier(outputs=("A", "B"), ratings=())
    text = told(session_document(session(ramp(4.0, 200.0), hold(4.0, 200.0, 150.0), thing=thing)), "lead")
    assert "Held for 30 s into 4 ohm, output A then gave 150.0 ± 2.0 W, 75 % of what it gave at 1 s." in text


def test_loads_that_are_one_nominal_load_are_told_as_one():
    document = session_document(session(ramp(4.0, 200.0), ramp(4.1, 198.0), ramp(2.0, 350.0)))
    assert "2 ohm and 4 to 4.1 ohm" in told(document, "conditions")
