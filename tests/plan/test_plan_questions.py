"""Questions: what is open or answered wrongly keeps a run from beginning, and the hint cures it."""

import pytest

from wattproof.plan import CAUTIONS, SheetWishes, make_run_sheet, refusals, unanswered


@pytest.fixture
def sheet(amplifier, bench, make_stated, make_rated):
    band = make_rated("frequency_low", 20, "Hz"), make_rated("frequency_high", 200, "Hz")
    return make_run_sheet(amplifier(make_stated(300, 4), *band), bench())


def good_answers(sheet):
    said = {question.code: (question.allows or ("as in the file",))[0] for question in sheet.questions}
    return {**said, "output-grounded": "no"}


def codes(checks):
    return {check.code for check in checks}


WANTED = {
    "output-grounded", "bridged", "controls", "boost-off", "fuse-near-source", "hardware-stop", "load-guarded",
    "sensed-at-terminals", "not-alone",
}  # fmt: skip


def test_every_sheet_asks_what_it_cannot_see(sheet):
    assert {question.code for question in sheet.questions} == WANTED
    assert all(question.why for question in sheet.questions)


def test_nothing_answered_leaves_every_question_open(sheet):
    assert codes(unanswered(sheet, {})) == {f"question-{code}" for code in WANTED}
    assert all(check.state == "refused" and check.hint for check in unanswered(sheet, {}))


def test_good_answers_let_the_run_begin(sheet):
    assert unanswered(sheet, good_answers(sheet)) == ()
    assert refusals(sheet, good_answers(sheet)) == ()


@pytest.mark.parametrize("code", ["fuse-near-source", "hardware-stop", "load-guarded", "not-alone", "boost-off"])
def test_no_where_only_yes_will_do_is_refused(sheet, code):
    found = refusals(sheet, {**good_answers(sheet), code: "no"})
    assert codes(found) == {f"question-{code}"}
    assert found[0].hint


def test_an_answer_that_is_none_of_the_choices_is_none(sheet):
    answers = {**good_answers(sheet), "hardware-stop": "maybe", "controls": "  "}
    assert codes(unanswered(sheet, answers)) == {"question-hardware-stop", "question-controls"}


@pytest.mark.parametrize(
    ("bridged", "grounded", "allowed"),
    [
        ("yes", "yes", False), ("yes", "not known", False), ("not known", "yes", False),
        ("not known", "not known", False), ("yes", "no", True), ("no", "yes", True), ("no", "not known", True),
        ("not known", "no", True),
    ],
)  # fmt: skip
def test_a_bridged_output_is_never_grounded_and_not_knowing_is_no_permission(sheet, bridged, grounded, allowed):
    found = refusals(sheet, {**good_answers(sheet), "bridged": bridged, "output-grounded": grounded})
    assert codes(found) == (set() if allowed else {"bridged-and-grounded"})


def test_below_the_minimum_asks_once_more(amplifier, bench, make_stated):
    wishes = SheetWishes(below_minimum=True)
    sheet = make_run_sheet(amplifier(make_stated(300, 4), minimum_load_ohm=4), bench(), wishes=wishes)
    question = next(question for question in sheet.questions if question.code == "below-minimum")
    assert "2 ohm" in question.text
    assert "question-below-minimum" in codes(refusals(sheet, {**good_answers(sheet), "below-minimum": "no"}))
    assert "question-below-minimum" in codes(unanswered(sheet, {}))


def test_a_refused_check_refuses_the_run_whatever_is_answered(amplifier, bench, make_stated):
    sheet = make_run_sheet(amplifier(make_stated(300, 4)), bench(channels=()))
    assert "no-load-voltage" in codes(refusals(sheet, good_answers(sheet)))


def test_the_cautions_say_what_can_hurt(sheet):
    assert sheet.cautions == CAUTIONS
    text = " ".join(CAUTIONS).lower()
    for word in ("fuse", "rings", "eye", "guard", "ventilate", "hardware stop", "bridged", "alone", "hearing"):
        assert word in text
    assert "cable, fuse and battery figures are estimates: follow the makers' data, local codes and a qualified" in text
