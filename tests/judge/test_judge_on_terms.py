"""One session on terms: the same numbers as in a comparison with itself, and no differences."""

import pytest

from wattproof.amplifier import Amplifier
from wattproof.judge import Subject, Terms, compare, on_terms
from wattproof.measure import CaptureResult, Figure


def _ramp(load_ohm: float, power_w: float) -> CaptureResult:
    figure = Figure(
        name="power_at_thd_1", value=power_w, u=1.0, unit="W", origin=f"ramp-{load_ohm:g}.wav 1-2 s",
        conditions={"load_ohm": load_ohm, "supply_v": 14.4, "thd_n": 0.01},
    )  # fmt: skip
    return CaptureResult(file=f"ramp-{load_ohm:g}.wav", kind="ramp", figures=(figure,))


def _subject(name: str = "one") -> Subject:
    return Subject(name=name, amplifier=Amplifier(maker="Reed & Rush", model="Coot"), results=(_ramp(4.0, 100.0),))


def test_one_session_on_terms_has_the_numbers_of_a_comparison_with_itself():
    terms = Terms(load_ohm=(4.0,), supply_v=14.4, thd_n=(0.01,), driven=1)
    alone = on_terms(_subject(), terms=terms)
    paired = compare([_subject(), _subject("two")], terms=terms)
    power = next(row for row in alone.rows if row.name == "power_at_thd_1")
    assert power.values[0].quantity.value == pytest.approx(100.0)
    assert power.values == next(row for row in paired.rows if row.name == "power_at_thd_1").values[:1]
    assert not alone.differences


def test_what_cannot_be_put_on_terms_is_refused_with_the_cure():
    far = on_terms(_subject(), terms=Terms(load_ohm=(2.0,), supply_v=14.4, thd_n=(0.01,), driven=1))
    refused = [one for one in far.not_compared if one.name == "power_at_thd_1"]
    assert refused
    assert "4 ohm" in refused[0].why
    assert "model" in refused[0].hint
