"""A bench day on the simulated bench, from two files to figures; refused, interrupted, cleared and taken up again."""

import json
from pathlib import Path

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import ArchiveError, GuardTripError, RefusedError, SettingsError
from wattproof.plan import RunSheet
from wattproof.sim.collection import FOLDER

SAID = {
    "bridged": "no", "output-grounded": "no", "fuse-near-source": "yes", "hardware-stop": "yes", "load-guarded": "yes",
    "not-alone": "yes", "sensed-at-terminals": "yes", "controls": "as marked", "boost-off": "yes",
}  # fmt: skip
ANSWERS = tuple(f"{code}={words}" for code, words in SAID.items())
AMPLIFIER = FOLDER / "bittern-1" / "amplifier.toml"
BENCH = FOLDER / "bittern-1" / "bench.toml"
CHANGES = {
    "recorder floor": {"seconds": 0.5}, "idle": {"seconds": 0.5}, "gain 4 ohm": {"seconds": 1.0},
    "ramp 4 ohm": {"fast_db_per_s": 30.0}, "hold 4 ohm": {"seconds": 2.2},
}  # fmt: skip


class Person:
    def __init__(self, *answers):
        self.answers, self.asked = list(answers), []

    def choose(self, what, choices):
        self.asked.append(what)
        return self.answers.pop(0)


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """A short day: what a person would have edited."""
    wishes = tasks.SheetWishes(loads=("4 ohm",), burst="none", hold_s=2.2)
    planned = json.loads(tasks.plan(AMPLIFIER, BENCH, wishes=wishes).to_json())
    for step in planned["steps"]:
        step |= CHANGES[step["name"]]
    path = tmp_path_factory.mktemp("sheet") / "sheet.json"
    path.write_text(json.dumps(planned), encoding="utf-8")
    return path


@pytest.fixture(scope="module")
def day(tmp_path_factory, sheet):
    """A whole day, with all that it told."""
    told, root = [], tmp_path_factory.mktemp("day")
    page = root / "page.html"
    ran = tasks.run(
        AMPLIFIER, BENCH, archive=root / "archive", sheet=sheet, answer=ANSWERS, tell=told.append, html=page
    )
    return ran, told, Archive(root / "archive"), page


def bench_with(tmp_path, extra):
    path = tmp_path / "bench.toml"
    path.write_text(BENCH.read_text(encoding="utf-8") + extra, encoding="utf-8")
    return path


def test_a_day_ends_complete_with_a_capture_and_figures_of_every_step(day):
    ran, _, archive, page = day
    assert (ran.state, ran.done, ran.left) == ("complete", 5, 0)
    assert [step.state for step in ran.steps] == ["done"] * 5
    session = archive.open_session(ran.session)
    assert len(archive.captures(session)) == 5
    assert archive.verify(session) == ()
    assert archive.answers(session) == SAID
    stored = archive.read_figures(session)
    assert archive.outdated(session, stored) == ()
    assert ran.figures == sum(len(result.figures) for result in stored.results) > 30
    assert "Bittern 1" in page.read_text(encoding="utf-8")


def test_the_figures_are_those_that_measuring_the_session_again_gives(day):
    ran, _, archive, _ = day
    again = tasks.session_figures(ran.session, archive=archive.root, again=True)
    stored = {(c.file, f.name, f.output): f.value for c in again.captures for f in c.figures}
    leading = [figure for step in ran.steps for figure in step.figures if not figure.conditions.get("at_s")]
    for figure in leading:
        values = [
            value for (_, name, output), value in stored.items() if (name, output) == (figure.name, figure.output)
        ]
        assert any(value == pytest.approx(figure.value, rel=1e-9) for value in values), figure.name


def test_the_live_figures_agree_with_the_measured_ones(day):
    _, told, archive, _ = day
    hold = [event for event in told if event.event == "live" and event.number == 5][-2]
    ended = [event for event in told if event.event == "step-ended"]
    sustained = next(figure for figure in ended[4].figures if figure.name == "sustained_power")
    assert hold.output_w == pytest.approx(sustained.value, rel=0.01)
    at_1 = next(figure for figure in ended[3].figures if figure.name == "power_at_thd_1")
    # the hold plays where the ramp's live curve passed 1 %; it is warmer, and its frames lie elsewhere
    assert sustained.value == pytest.approx(at_1.value, rel=0.02)
    assert hold.thd_n == pytest.approx(0.01, rel=0.15)
    assert hold.heat_w == pytest.approx(hold.supply_w - hold.output_w)
    assert archive.root.exists()


def test_full_power_is_short_beside_stepping_by_hand(day):
    ran, told, _, _ = day
    ramp = next(event for event in told if event.event == "step-ended" and event.number == 4)
    assert ramp.full_power_s < 3.05
    assert ramp.stepping_full_power_s > 15 * ramp.full_power_s
    assert ramp.stepping_energy_j > 8 * ramp.energy_j
    assert ran.stepping_full_power_s == ramp.stepping_full_power_s
    assert "Stepping the ramps' levels by hand" in ran.table()


def test_the_answer_is_one_object_and_its_table_names_every_step(day):
    ran, _, _, _ = day
    assert tasks.Ran.model_validate_json(ran.to_json()) == ran
    table = ran.table()
    assert all(step.name in table for step in ran.steps)
    assert "Power at 1 % distortion (A): " in table


def test_a_complete_session_taken_up_again_has_nothing_to_do(day):
    ran, _, archive, _ = day
    again = tasks.run(session=ran.session, archive=archive.root)
    assert (again.state, again.done, again.steps) == ("complete", 5, ())


def test_a_run_is_refused_where_a_question_is_open_or_wrongly_answered(tmp_path, sheet):
    with pytest.raises(RefusedError) as caught:
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=sheet, answer=ANSWERS[1:])
    assert "bridged" in caught.value.hint
    with pytest.raises(RefusedError, match="must not begin"):
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=sheet, answer=(*ANSWERS, "hardware-stop=no"))
    with pytest.raises(SettingsError, match="answers no question"):
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=sheet, answer=("colour=red",))
    with pytest.raises(SettingsError, match="no step 99 to pass over"):
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=sheet, answer=ANSWERS, skip=(1, 99))
    assert list(tmp_path.iterdir()) == []


def test_a_person_is_asked_what_was_not_said(tmp_path, sheet):
    person = Person("no", "no", "yes", "no")
    with pytest.raises(RefusedError, match="must not begin") as caught:
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=sheet, answer=ANSWERS[4:], operator=person)
    assert len(person.asked) == 4
    assert "hardware stop" in caught.value.why


def test_a_bench_without_a_rig_and_half_of_the_files_are_refused(tmp_path):
    bare = tmp_path / "bench.toml"
    bare.write_text(BENCH.read_text(encoding="utf-8").partition("[rig]")[0], encoding="utf-8")
    with pytest.raises(RefusedError, match="nothing that plays"):
        tasks.run(AMPLIFIER, bare, archive=tmp_path)
    with pytest.raises(SettingsError, match="amplifier file and a bench file"):
        tasks.run(AMPLIFIER, archive=tmp_path)
    wrong = tmp_path / "sheet.json"
    wrong.write_text('{"steps": 3}', encoding="utf-8")
    with pytest.raises(SettingsError, match="is no run sheet"):
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path, sheet=wrong)


def test_a_trip_is_kept_refuses_the_next_run_and_is_cleared_with_words(tmp_path, sheet):
    fault = '\n[[rig.simulated.faults]]\nwhat = "dc"\nat_s = 0.2\nplay = 2\n'
    bench, root = bench_with(tmp_path, fault), tmp_path / "archive"
    with pytest.raises(GuardTripError) as caught:
        tasks.run(AMPLIFIER, bench, archive=root, sheet=sheet, answer=ANSWERS)
    archive = Archive(root)
    [session] = archive.list_sessions().sessions
    assert archive.latched(session)["code"] == "load-dc"
    assert session.id in caught.value.hint
    with pytest.raises(GuardTripError, match="nobody has cleared"):
        tasks.run(session=session.id, archive=root)
    told = []
    # the second play of the rig opened anew is the short search for the gain, over before the fault
    ran = tasks.run(session=session.id, archive=root, clear_trip="a probe had slipped", skip=(4, 5), tell=told.append)
    assert ran.state == "complete"
    assert [event.number for event in told if event.event == "step-begun"] == [2, 3]
    assert archive.trips(session)[0].cleared_by == "a probe had slipped"
    assert archive.latched(session) is None


def test_a_session_is_conducted_by_one_alone(day):
    ran, _, archive, _ = day
    session = archive.open_session(ran.session)
    with archive.conducting(session), pytest.raises(ArchiveError, match="another program"):
        tasks.run(session=ran.session, archive=archive.root)


def test_a_session_goes_on_with_its_own_files_alone(day, tmp_path):
    ran, _, archive, _ = day
    other = tmp_path / "amplifier.toml"
    text = AMPLIFIER.read_text(encoding="utf-8")
    other.write_text(text.replace('model = "Bittern 1"', 'model = "Bittern 2"'), encoding="utf-8")
    with pytest.raises(RefusedError, match="is not the amplifier"):
        tasks.run(other, session=ran.session, archive=archive.root)
    again = tasks.run(AMPLIFIER, BENCH, session=ran.session, archive=archive.root)
    assert again.state == "complete"


def test_an_edited_sheet_is_looked_at_anew(tmp_path, sheet):
    planned = RunSheet.model_validate_json(Path(sheet).read_text(encoding="utf-8"))
    assert planned.step(5).seconds == 2.2
    louder = json.loads(planned.model_dump_json(by_alias=True))
    for step in louder["steps"]:
        step["to_v_rms"] = step["to_v_rms"] and 200.0
        step["knee_v_rms"] = step["knee_v_rms"] and 150.0
    path = tmp_path / "louder.json"
    path.write_text(json.dumps(louder), encoding="utf-8")
    with pytest.raises(RefusedError, match="must not begin"):
        tasks.run(AMPLIFIER, BENCH, archive=tmp_path / "archive", sheet=path, answer=ANSWERS)
