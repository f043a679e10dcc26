"""The bench day's commands: what they print, for a person and for a program, and how they end."""

import contextlib
import io
import json
import os
import pty
import subprocess
import sys

import pytest
from pydantic import TypeAdapter

from wattproof import tasks
from wattproof.cli import main
from wattproof.cli.asking import TerminalOperator
from wattproof.cli.day_view import DayState, JsonLines, MovingView, PlainView
from wattproof.cli.drawing import Curve, curve_lines, flow_strip
from wattproof.errors import GuardTripError, RefusedError
from wattproof.sim.collection import FOLDER

AMPLIFIER, BENCH = FOLDER / "bittern-1" / "amplifier.toml", FOLDER / "bittern-1" / "bench.toml"
SAID = ("bridged=no", "output-grounded=no", "fuse-near-source=yes", "hardware-stop=yes", "load-guarded=yes")
SAID += ("not-alone=yes", "sensed-at-terminals=yes", "controls=as marked", "boost-off=yes")
ANSWERS = [word for said in SAID for word in ("--answer", said)]


@pytest.fixture(scope="module")
def sheet(tmp_path_factory):
    """Two short steps: what a person would have edited."""
    planned = json.loads(tasks.plan(AMPLIFIER, BENCH, wishes=tasks.SheetWishes(loads=("4 ohm",))).to_json())
    planned["steps"] = [{**step, "seconds": 0.6} for step in planned["steps"][:2]]
    path = tmp_path_factory.mktemp("sheet") / "sheet.json"
    path.write_text(json.dumps(planned), encoding="utf-8")
    return path


def words_of(tmp_path, sheet, *more):
    return ["run", str(AMPLIFIER), str(BENCH), "--archive", str(tmp_path), "--sheet", str(sheet), *ANSWERS, *more]


def test_a_run_prints_its_steps_as_it_goes_and_a_table_at_the_end(tmp_path, sheet, capsys):
    main(words_of(tmp_path, sheet))
    said = capsys.readouterr()
    assert "Supply current at idle: " in said.out
    assert said.out.startswith("Session ")
    assert "  2 idle ..." in said.err
    assert "Run complete: 2 steps over." in said.err


def test_json_gives_one_object_and_json_lines_one_for_each_event(tmp_path, sheet, capsys):
    main(words_of(tmp_path / "a", sheet, "--json"))
    ran = tasks.Ran.model_validate_json(capsys.readouterr().out)
    assert (ran.state, ran.done) == ("complete", 2)
    main(words_of(tmp_path / "b", sheet, "--json-lines"))
    lines = capsys.readouterr().out.splitlines()
    adapter = TypeAdapter(tasks.Event)
    events = [adapter.validate_json(line) for line in lines]
    assert events[0].event == "run-begun"
    assert events[-1].event == "run-ended"
    schema = json.loads(tasks.schema("event"))
    assert {ref["$ref"].rpartition("/")[2] for ref in schema["anyOf"]} == {type(e).__name__ for e in events} | {
        "Tripped", "Told", "Resting", "Traces",
    }  # fmt: skip


def test_a_refusal_is_kind_and_ends_with_two(tmp_path, sheet, capsys):
    with pytest.raises(SystemExit) as left:
        main(["run", str(AMPLIFIER), str(BENCH), "--archive", str(tmp_path), "--sheet", str(sheet), "--json-lines"])
    assert left.value.code == 2
    fault = json.loads(capsys.readouterr().err)["error"]
    assert fault["code"] == "refused"
    assert "--answer" in fault["hint"]


def test_a_trip_ends_with_three_and_says_how_to_go_on(tmp_path, sheet, capsys):
    bench = tmp_path / "bench.toml"
    fault = '\n[[rig.simulated.faults]]\nwhat = "overheated"\nat_s = 0.1\nplay = 2\n'
    bench.write_text(BENCH.read_text(encoding="utf-8") + fault, encoding="utf-8")
    words = words_of(tmp_path / "archive", sheet)
    with pytest.raises(SystemExit) as left:
        main([str(bench) if word == str(BENCH) else word for word in words])
    assert left.value.code == 3
    said = capsys.readouterr().err
    assert "error: guard-trip" in said
    assert "--clear-trip" in said
    assert "The guard stopped the drive (temperature)" in said


def test_plan_check_and_floor_answer(capsys):
    main(["plan", str(AMPLIFIER), str(BENCH), "--json"])
    assert json.loads(capsys.readouterr().out)["steps"][0]["kind"] == "floor"
    main(["bench", "check", str(BENCH)])
    assert "recorder" in capsys.readouterr().out
    main(["bench", "floor", str(BENCH), "--seconds", "0.5", "--json"])
    assert json.loads(capsys.readouterr().out)["channels"]


def test_a_check_that_fails_ends_with_two(tmp_path, capsys):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH.read_text(encoding="utf-8") + '\n[rig.supply]\nkind = "scpi"\n', encoding="utf-8")
    with pytest.raises(SystemExit) as left:
        main(["bench", "check", str(bench)])
    assert left.value.code == 2
    assert "failed" in capsys.readouterr().out


class Typed:
    """Standard input with lines in it."""

    def __init__(self, *lines):
        self.lines = [f"{line}\n" for line in lines]

    def readline(self):
        return self.lines.pop(0) if self.lines else ""


def test_a_person_is_asked_until_the_answer_is_one(monkeypatch, capsys):
    asked = TerminalOperator()
    monkeypatch.setattr(sys, "stdin", Typed("maybe", "no", "YES", "not"))
    assert [asked.choose("Fuse?", ("yes", "no", "not known")) for _ in range(3)] == ["no", "yes", "not known"]
    monkeypatch.setattr(sys, "stdin", Typed("", "the clamp was loose"))
    assert asked.choose("Found?", ()) == "the clamp was loose"
    monkeypatch.setattr(sys, "stdin", Typed("warm", "31,5"))
    assert asked.number("temperature", unit="degrees Celsius") == 31.5
    assert "is no number" in capsys.readouterr().err


def test_a_person_may_stop_and_an_end_of_input_refuses_kindly(monkeypatch):
    asked = TerminalOperator()
    monkeypatch.setattr(sys, "stdin", Typed("", "stop"))
    asked.do("Connect the load.")
    with pytest.raises(GuardTripError):
        asked.do("Connect the load.")
    with pytest.raises(RefusedError) as caught:
        asked.do("Connect the load.")
    assert "--answer" in caught.value.hint


def test_the_strip_shows_shares_of_the_supply():
    strip = flow_strip(output_w=60.0, supply_w=80.0, full_w=100.0, width=50)
    assert (strip.count("█"), strip.count("▒"), strip.count("·")) == (30, 10, 10)
    assert flow_strip(output_w=-1e-6, supply_w=0.0, full_w=0.0, width=10) == "·" * 10
    assert len(flow_strip(output_w=300.0, supply_w=100.0, full_w=100.0, width=10)) == 10


def test_the_curve_puts_its_points_where_they_belong():
    curve = Curve().with_point(100.0, 0.01).with_point(0.0, 0.01).with_point(0.01, 0.001)
    lines = curve_lines(curve, full_w=100.0, width=40, height=8)
    dotted = [(n, line) for n, line in enumerate(lines[:8]) if any(ord(letter) > 0x2800 for letter in line)]
    [(row, line)] = dotted  # the second has no power, the third lies left of the edge
    assert line.startswith("   1 %")
    assert max(n for n, letter in enumerate(line[8:]) if ord(letter) > 0x2800) >= 37
    assert row == 3


def live(number=4, **changes):
    return tasks.Live(number=number, t_s=1.0, drive_v_rms=1.0, **changes)


def begun(**changes):
    settings = {
        "number": 4, "name": "ramp 4 ohm", "kind": "ramp", "load": "4 ohm", "seconds": 7.0, "expected_w": 400.0,
        "expected_supply_w": 500.0, "next_name": "hold 4 ohm",
    }  # fmt: skip
    return tasks.StepBegun(**{**settings, **changes})


def shown(*events):
    state = DayState()
    for event in events:
        state.hear(event)
    return "\n".join(state.lines())


START = tasks.RunBegun(session="2031-05-14-bittern-1-a3f9", amplifier="Bittern 1", steps=9, done_before=0)


def test_the_display_says_flow_distortion_time_and_what_comes_next():
    full = live(
        output_v_rms=38.0, output_w=365.0, thd_n=0.115, supply_v=14.3, supply_a=29.0, supply_w=414.0, heat_w=49.0,
        full_power_s=2.6, full_power_left_s=3.4, energy_j=960.0, temperature_c=31.5, slow=True,
    )  # fmt: skip
    text = shown(START, begun(), full)
    for words in (
        "step 4 of 9: ramp 4 ohm", "414 W", "into the load 365 W (88 %)", "stays as heat 49 W", "THD+N 11.5 %",
        "slow part of the ramp", "at full power for 2.6 s; the guard stops it after 3.4 s more", "next: hold 4 ohm",
        "THD+N against power, ramp 4 ohm",
    ):  # fmt: skip
        assert words in text


def test_the_display_says_what_is_not_recorded_and_rests():
    assert "not recorded" in shown(START, begun(), live(output_w=3.0))
    assert "not recorded" in shown(START, begun(), live())
    resting = shown(START, begun(), tasks.Resting(left_s=83.0, next_name="hold 4 ohm"))
    assert "resting: 83 s left, then hold 4 ohm" in resting
    assert "the drive is muted" in resting
    assert "looking for the gain" in shown(START, begun(), live(searching=True))
    assert "Opening the bench" in shown()


def test_the_moving_display_keeps_finished_steps_and_stands_still_for_a_question():
    from rich.console import Console

    console = Console(record=True, force_terminal=True, width=90, file=io.StringIO())
    view = MovingView(console)
    figure = tasks.FigureSeen(name="gain", output="A", value=20.0, u=0.01, k95=2.0, unit="V/V")
    with view.running():
        view(START)
        view(begun())
        view(live(output_w=3.0))
        with view.aside():
            pass
        view(tasks.StepEnded(number=4, name="ramp 4 ohm", state="done", capture=4, figures=(figure,)))
        view(tasks.Told(code="capture-repeated", message="Samples were lost.", hint="Close other programs."))
    text = console.export_text()
    assert "4 ramp 4 ohm" in text
    assert "Gain (A): 26.021 ± 0.009 dB" in text
    assert "capture-repeated: Samples were lost." in text


def test_the_display_wipes_nothing_of_what_was_asked_and_answered():
    from rich.console import Console

    wrote = io.StringIO()
    view = MovingView(Console(force_terminal=True, width=80, height=40, file=wrote))
    with view.running():
        view(START)
        with view.aside():
            wrote.write("How to go on?\n(repeat / skip / end) skip\n")
        after = wrote.getvalue().partition("end) skip\n")[2]
        assert max(map(len, after.partition("╭")[2].splitlines())) < 79  # the terminal echoes ^C behind it
    upwards = after.partition("╭")[0]
    assert "╭" in after
    assert "\x1b[1A" not in upwards


def test_a_question_is_folded_at_words(monkeypatch, capsys):
    monkeypatch.setenv("COLUMNS", "60")
    monkeypatch.setattr("sys.stdin", io.StringIO("no\n"))
    asked = "Is any output terminal connected to ground or chassis, also through a probe's clip?\n  " + "so it is " * 12
    assert TerminalOperator().choose(asked.rstrip(), ("yes", "no")) == "no"
    said = capsys.readouterr().err.splitlines()
    assert max(map(len, said)) <= 60
    assert " ".join(line.strip() for line in said[:-1]) == " ".join(asked.split())
    assert [line.startswith("  ") for line in said[2:-1]] == [True] * len(said[2:-1])


def test_the_plain_view_writes_a_line_a_second_and_json_lines_every_event(capsys):
    view = PlainView()
    with view.running(), view.aside():
        for tenth in range(25):
            view(tasks.Live(number=4, t_s=tenth / 10, drive_v_rms=1.0, output_w=100.0, thd_n=0.01))
        for left in (3.0, 2.0, 1.0):
            view(tasks.Resting(left_s=left, next_name="hold"))
    said = capsys.readouterr().err.splitlines()
    assert [line for line in said if "1 % THD+N" in line] == [f"{'':6}{t:6.1f} s  100 W  1 % THD+N" for t in (0, 1, 2)]
    assert said.count("      rest 3 s") == 1
    JsonLines()(live())
    assert json.loads(capsys.readouterr().out)["event"] == "live"


@pytest.mark.skipif(not hasattr(pty, "openpty"), reason="this system knows no pseudo-terminal")
def test_on_a_terminal_the_display_moves_and_control_c_leaves_with_130(tmp_path):
    bench = tmp_path / "bench.toml"
    bench.write_text(BENCH.read_text(encoding="utf-8") + "paced = true\n", encoding="utf-8")
    ours, theirs = pty.openpty()
    words = [sys.executable, "-m", "wattproof", "run", str(AMPLIFIER), str(bench), "--archive", str(tmp_path), *ANSWERS]
    with subprocess.Popen(words, stdin=subprocess.DEVNULL, stdout=subprocess.PIPE, stderr=theirs) as running:
        os.close(theirs)
        shown = b""
        while b"recorder floor" not in shown:
            shown += os.read(ours, 4096)
        running.send_signal(2)
        with contextlib.suppress(OSError):  # the other end is closed when it leaves
            while part := os.read(ours, 4096):
                shown += part
        assert running.wait(timeout=30) == 130
    os.close(ours)
    assert "Run interrupted" in shown.decode("utf-8", "replace")
    assert b"wattproof run --session" in shown
