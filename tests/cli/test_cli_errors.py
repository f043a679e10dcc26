"""Whatever is wrong, a person gets a code, the reason with its numbers and a cure; no traceback, no half file."""

import json
import re
import shlex
import subprocess
import sys

import pytest

from wattproof import __version__
from wattproof.readers import installed_readers

TOLD_FIRST = "Making up a bench day in a boathouse."


def refused(ran, code, status=2):
    """Check the plain form of an error and give its text."""
    assert ran.status == status
    assert not ran.out or ran.out.startswith(TOLD_FIRST)
    assert ran.err.splitlines()[0] == f"error: {code}"
    assert "Traceback" not in ran.err
    assert re.search(r"^  why: \S", ran.err, re.MULTILINE)
    assert re.search(r"^  try: \S", ran.err, re.MULTILINE)
    return ran.err


@pytest.fixture
def scene(tmp_path, day):
    """Files with something wrong about them, by the word that the cases use for them."""
    (tmp_path / "empty.wav").write_bytes(b"")
    (tmp_path / "letter.wav").write_text("Dear club,\nthe boathouse roof leaks again.\n" * 20, encoding="utf-8")
    (tmp_path / "picture.csv").write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(100))
    (tmp_path / "no clock.csv").write_text("volts\n" + "".join(f"{n % 7}.5\n" for n in range(100)), encoding="utf-8")
    (tmp_path / "broken.toml").write_text('name = "Boathouse\n', encoding="utf-8")
    (tmp_path / "key.toml").write_text(
        'name = "B"\n[[channels]]\ninput = 1\nrole = "load_voltage"\nscal = 3\n', encoding="utf-8"
    )
    (tmp_path / "elsewhere.toml").write_text(
        'name = "B"\n[[channels]]\ninput = 9\nrole = "load_voltage"\n', encoding="utf-8"
    )
    (tmp_path / "bytes.toml").write_bytes(b"name = \xff\xfe")
    (tmp_path / "one.csv").write_text("reference,reading\n1,2\n", encoding="utf-8")
    (tmp_path / "word.csv").write_text("output,load,load_voltage_v\nA,4 ohm,loud\n", encoding="utf-8")
    (tmp_path / "a file").write_text("not a folder", encoding="utf-8")
    return lambda word: str(day / word[1:]) if word.startswith("@") else word.replace("%", str(tmp_path))


CASES = {
    "missing file": ("read %/none.wav", "file-missing"),
    "missing file for measure": ("measure %/none.wav", "file-missing"),
    "a folder": ("read %", "file-missing"),
    "a folder for measure": ("measure %", "file-missing"),
    "empty file": ("read %/empty.wav", "broken-file"),
    "letter named wav": ("read %/letter.wav", "unknown-format"),
    "picture named csv": ("measure %/picture.csv", "unknown-format"),
    "no clock": ("read '%/no clock.csv'", "needs-answer"),
    "missing bench": ("measure @steady.wav --bench %/none.toml", "file-missing"),
    "folder as bench": ("measure @steady.wav --bench %", "settings"),
    "broken bench": ("measure @steady.wav --bench %/broken.toml", "settings"),
    "bench of bytes": ("measure @steady.wav --bench %/bytes.toml", "settings"),
    "wrong bench key": ("measure @steady.wav --bench %/key.toml", "settings"),
    "recording as bench": ("measure @steady.wav --bench @steady.wav", "settings"),
    "bench of another recorder": ("measure @steady.wav --bench %/elsewhere.toml", "missing-channel"),
    "bench as amplifier": ("measure @steady.wav --amplifier @bench.toml", "settings"),
    "unknown load": ("measure @steady.wav --bench @bench.toml --load dummy", "settings"),
    "load without bench": ("measure @steady.wav --load dummy", "settings"),
    "load of no ohm": ("measure @steady.wav --load-ohm 0", "settings"),
    "channel that is not there": ("measure @steady.wav --channel load_voltage=9", "missing-channel"),
    "channel name that is not there": ("measure @steady.wav --channel load_voltage=CH1", "missing-channel"),
    "channel of no role": ("measure @steady.wav --channel volts=1", "settings"),
    "which channel": ("measure @steady.wav --volts-per-unit 42", "needs-answer"),
    "tone that is not there": ("measure '@one channel.wav' --tone-hz 30000", "no-tone"),
    "limit of no distortion": ("measure @ramp.wav --bench @bench.toml --thd-percent 0", "settings"),
    "rate of nothing": ("read @steady.wav --rate-hz 0", "settings"),
    "unit of no channel": ("read @steady.wav --unit V", "settings"),
    "typed word": ("measure %/word.csv", "settings"),
    "bad option": ("measure @steady.wav --load_ohms 4", "usage"),
    "bad kind": ("measure @steady.wav --kind sweep", "usage"),
    "readings as kind": ("measure @steady.wav --kind readings", "usage"),
    "word for a number": ("measure @steady.wav --load-ohm four", "usage"),
    "no such day": ("measure @steady.wav --captured-on 2031-02-30", "usage"),
    "no file at all": ("measure", "usage"),
    "no such command": ("weigh @steady.wav", "usage"),
    "page into no folder": ("measure '@one channel.wav' --html %/none/page.html", "file-missing"),
    "table into no folder": ("measure '@one channel.wav' --csv %/none/figures.csv", "file-missing"),
    "page onto a folder": ("measure '@one channel.wav' --html %", "file-missing"),
    "one reference": ("bench calibrate %/one.csv", "settings"),
    "reference of nothing": ("bench calibrate %/letter.wav", "settings"),
    "negative doubt": ("bench calibrate @references.csv --u-reference -1", "settings"),
    "doubt of no size": ("bench calibrate @references.csv --u-reference nan", "settings"),
    "unknown session": ("session figures nobody --archive %/archive", "archive"),
    "add to unknown session": ("session add nobody @steady.wav --archive %/archive", "archive"),
    "bench as amplifier of a session": ("session new @bench.toml @bench.toml --archive %/archive", "settings"),
    "archive in a file": ("session new @amplifier.toml @bench.toml --archive '%/a file'", "archive"),
    "list in a file": ("session list --archive '%/a file'", "archive"),
    "index in a file": ("archive index --archive '%/a file'", "archive"),
    "demo into a file": ("demo --folder '%/a file'", "file-missing"),
    "no such schema": ("schema nonsense", "settings"),
}


def command(case, scene):
    return [scene(word) for word in shlex.split(CASES[case][0])]


@pytest.mark.parametrize("case", CASES)
def test_what_is_wrong_is_said_and_nothing_is_left_behind(run, scene, case, tmp_path):
    before = {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    refused(run(*command(case, scene)), CASES[case][1])
    assert {path: path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()} == before


@pytest.mark.parametrize("case", ["missing file", "wrong bench key", "bad option", "unknown session", "no clock"])
def test_with_json_an_error_is_one_object_on_standard_error(run, scene, case):
    ran = run(*command(case, scene), "--json")
    assert (ran.status, ran.out) == (2, "")
    (kind,) = json.loads(ran.err)
    assert kind == "error"
    error = json.loads(ran.err)["error"]
    assert set(error) == {"code", "message", "why", "hint"}
    assert error["code"] == CASES[case][1]
    assert all(error.values())


def test_the_package_runs_as_a_module():
    ran = subprocess.run([sys.executable, "-m", "wattproof", "--version"], capture_output=True, text=True, check=True)
    assert ran.stdout == f"wattproof {__version__}\n"
    ran = subprocess.run([sys.executable, "-m", "wattproof", "weigh"], capture_output=True, text=True, check=False)
    assert (ran.returncode, ran.stdout) == (2, "")
    assert ran.stderr.startswith("error: usage")


def test_a_wrong_key_is_told_with_its_line_and_the_right_one(run, scene):
    said = refused(run(*command("wrong bench key", scene)), "settings")
    assert "key.toml" in said
    assert "line 5" in said
    assert re.search(r"write scale\b", said)


def test_an_unknown_load_is_told_which_there_are(run, scene):
    said = refused(run(*command("unknown load", scene)), "settings")
    assert "4 ohm" in said
    assert "2 ohm" in said


def test_one_bad_file_among_good_ones_answers_for_none(run, day, tmp_path):
    ran = run("measure", day / "one channel.wav", tmp_path / "none.wav", "--csv", tmp_path / "out.csv")
    refused(ran, "file-missing")
    assert list(tmp_path.iterdir()) == []


def test_a_page_that_stood_there_stays_when_the_new_one_fails(run, day, tmp_path):
    page = tmp_path / "page.html"
    page.write_text("yesterday's", encoding="utf-8")
    refused(run("measure", tmp_path / "none.wav", "--html", page), "file-missing")
    assert page.read_text(encoding="utf-8") == "yesterday's"


def test_ctrl_c_ends_quietly_with_nothing_half_written(run, day, tmp_path, monkeypatch):
    def pressed(*_words, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("wattproof.tasks.measuring.measure_capture", pressed)
    words = ("--html", tmp_path / "page.html", "--csv", tmp_path / "figures.csv")
    ran = run("measure", day / "one channel.wav", *words)
    assert (ran.status, ran.out) == (130, "")
    assert "Nothing is half-written" in ran.err
    assert "Traceback" not in ran.err
    assert list(tmp_path.iterdir()) == []


def test_ctrl_c_while_a_page_is_written_leaves_the_old_one(run, day, tmp_path, monkeypatch):
    page = tmp_path / "page.html"
    page.write_text("yesterday's", encoding="utf-8")

    def pressed(*_words, **_options):
        raise KeyboardInterrupt

    monkeypatch.setattr("wattproof.report.session_page", pressed)
    assert run("measure", day / "one channel.wav", "--html", page).status == 130
    assert [path.name for path in tmp_path.iterdir()] == ["page.html"]
    assert page.read_text(encoding="utf-8") == "yesterday's"


def test_a_fault_of_ours_keeps_its_traceback_and_has_status_1(run, day, monkeypatch):
    def broken(*_words, **_options):
        raise ZeroDivisionError("the wrong way round")

    monkeypatch.setattr("wattproof.tasks.measuring.measure_capture", broken)
    ran = run("measure", day / "one channel.wav")
    assert (ran.status, ran.out) == (1, "")
    assert "Traceback" in ran.err
    assert "error: internal-fault" in ran.err
    assert "ZeroDivisionError: the wrong way round" in ran.err


MISUSED = {
    "a command that is none": ("measur @steady.wav", 'no command "measur"', "wattproof measure."),
    "a command of a group": ("session nw", 'wattproof session has no command "nw"', "wattproof session new."),
    "nothing like a command": ("frobnicate", "the commands are", "wattproof --help"),
    "an option before the command": ("--bench %/b.toml", "a command comes first", "before its options"),
    "an option that is none": (
        "measure @steady.wav --bnch x",
        "wattproof measure has no option --bnch",
        "Write --bench.",
    ),
    "an option without its unit": ("measure @steady.wav --tone=997", "no option --tone.", "Write --tone-hz."),
    "no option, behind what may be left out": ("run a.toml b.toml --foo", "no option --foo.", "wattproof run --help"),
    "nothing like an option": ("measure @steady.wav -q", "no option -q", "wattproof measure --help"),
    "no file": ("measure", "wattproof measure lacks FILES", "wattproof measure --help"),
    "no second file": ("session new a.toml", "wattproof session new lacks BENCH", "session new --help"),
    "no value": ("measure @steady.wav --tone-hz", "--tone-hz lacks its value", "for example --tone-hz 47.5"),
    "an option for a value": ("measure @steady.wav --tone-hz --budget", "--tone-hz lacks its value", "--tone-hz 47.5"),
    "a word for a number": (
        "measure @steady.wav --load-ohm four",
        '--load-ohm cannot be "four"',
        "example --load-ohm 47.5",
    ),
    "a unit behind a number": ("measure @steady.wav --load-ohm '4 ohm'", "it takes a number", "Write --load-ohm 4"),
    "a decimal comma": ("measure @steady.wav --tone-hz 47,5", "a point before its decimals", "Write --tone-hz 47.5"),
    "a thousand or one": ("measure @steady.wav --tone-hz 1,000", "it takes a number", "for example"),
    "a prefix": ("measure @steady.wav --high-hz 20kHz", "it takes a number", "for example"),
    "a kind that is none": ("measure @steady.wav --kind stedy", "one of steady, ramp, burst", "Write --kind steady"),
    "a choice of signs": ("read @steady.wav --decimal x", 'one of ".", ","', 'for example --decimal "."'),
    "a day that is none": ("measure @steady.wav --captured-on 14.5.2031", "year-month-day", "--captured-on 2031-05-14"),
    "a value for a switch": ("measure @steady.wav --json=maybe", "it stands alone", "--json without a value"),
    "one value twice": ("measure @steady.wav --bench a --bench b", "--bench is given twice", "Keep one --bench"),
    "a word too many": ("session list x", 'no use for "x"', 'Leave out "x"'),
}


@pytest.mark.parametrize("case", MISUSED)
def test_misuse_is_told_by_its_kind_its_word_and_what_would_be_right(run, scene, case):
    text, wrong, right = MISUSED[case]
    said = refused(run(*[scene(word) for word in shlex.split(text)]), "usage")
    told, _, tried = said.partition("  try: ")
    assert wrong in told
    assert right in tried


# --- the cure that an error names, obeyed ------------------------------------------------------------------------


def options_in(hint):
    """Give the options with their values that a hint tells to write: `--load-ohm 4` -> ["--load-ohm", "4"]."""
    found = []
    for option, value in re.findall(r"(--[a-z][a-z-]*)(?:[ =]((?:[\w.]+=)?[\w.]+|,(?= )|'[^']*'|\"[^\"]*\"))?", hint):
        found += [option, *shlex.split(value)]
    return found


CURED = {
    "a decimal comma": ("measure @steady.wav --tone-hz 997,0", lambda hint: options_in(hint)),
    "a kind that is none": ("measure @ramp.wav --kind rmap", lambda hint: options_in(hint)),
    "no scale for a load": ("measure @steady.wav --load-ohm 0", lambda hint: options_in(hint)),
    "which channel": ("measure @steady.wav --volts-per-unit 42", lambda hint: options_in(hint)[:2]),
    "channel of no role": ("measure @steady.wav --channel volts=1", lambda hint: options_in(hint)),
    "limit of no distortion": ("measure @ramp.wav --bench @bench.toml --thd-percent 0", lambda hint: options_in(hint)),
    "rate of nothing": ("read '%/no clock.csv' --time-column 0 --rate-hz 0", lambda hint: options_in(hint)),
    "no clock": ("read '%/no clock.csv'", lambda hint: [options_in(hint)[0], "48000"]),
    "a time without a unit": ("read %/units.csv", lambda hint: options_in(hint)[:4]),
    "which decimal mark": (
        "read %/marks.csv --time-column 0 --rate-hz 1000",
        lambda hint: options_in(hint)[2:4],  # of the two, "if they are whole numbers"
    ),
    "which variable": ("read %/many.npz --rate-hz 1000", lambda hint: options_in(hint)[:2]),
    "a unit of no channel": ("read %/named.csv --unit V", lambda hint: options_in(hint)[:2]),
}


def without(words, option):
    """Take an option with its value out of the words: the cure replaces it."""
    return [word for n, word in enumerate(words) if word != option and (n == 0 or words[n - 1] != option)]


@pytest.fixture
def unclear(tmp_path, scene):
    import numpy as np

    rows = "".join(f"{n},{n % 7}.5\n" for n in range(100))
    (tmp_path / "units.csv").write_text("stamp,V\n" + rows, encoding="utf-8")
    (tmp_path / "marks.csv").write_text("".join(f"{n},{n % 10}\n" for n in range(100)), encoding="utf-8")
    (tmp_path / "named.csv").write_text(
        "time (s),CH1,CH2\n" + "".join(f"{n / 1000:.3f},{n % 7},2\n" for n in range(100)), encoding="utf-8"
    )
    rng = np.random.default_rng(4)
    np.savez(tmp_path / "many.npz", wren=rng.normal(size=200), rook=rng.normal(size=(50, 3)))
    return scene


@pytest.mark.parametrize("case", CURED)
def test_following_the_hint_cures_the_error(run, unclear, case):
    text, obey = CURED[case]
    words = [unclear(word) for word in shlex.split(text)]
    ran = run(*words, "--json")
    assert ran.status == 2, ran.out
    error = json.loads(ran.err)["error"]
    cure = obey(error["hint"])
    assert cure, error["hint"]
    assert cure[0].startswith("--")
    again = without(words, cure[0])
    cured = run(*again, *cure, "--json")
    assert (cured.status, cured.err) == (0, ""), (error, cure)
    assert json.loads(cured.out)


def test_the_hint_of_a_strange_file_lists_the_readers_there_are(run, scene):
    said = refused(run(*command("picture named csv", scene)), "unknown-format")
    assert all(name in said for name in installed_readers())
