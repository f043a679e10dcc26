"""Every example that a newcomer reads is run or parsed, so that no page can go stale."""

import importlib.util
import json
import os
import re
import sys
import tomllib
from pathlib import Path

import pytest

from wattproof.amplifier import parse_amplifier
from wattproof.bench import parse_bench, parse_calibration, parse_readings
from wattproof.publish import parse_remarks

ROOT = Path(__file__).parents[2]
_spec = importlib.util.spec_from_file_location("doc_examples", ROOT / "tools" / "doc_examples.py")
examples = importlib.util.module_from_spec(_spec)
sys.modules["doc_examples"] = examples  # frozen classes look their module up
_spec.loader.exec_module(examples)

PAGES = examples.pages()
BLOCKS = [block for page in PAGES for block in examples.blocks(page)]
RUN_PAGES = [page for page in PAGES if examples.examples_run(page)]
LANGUAGES = {"py", "shell", "console", "python", "toml", "csv", "json", "sh", "text"}
"""`py` and `shell` need a workbench that is running: tests/web/test_web_scripts_page.py has one."""
NOT_RUN = re.compile(r"(make|git|cd|pip|python|source) .+|\.venv\\Scripts\\activate|wattproof demo")
PROMISED = ("README.md", "docs/tutorial.md", "docs/howto/calibrate.md", "docs/howto/reader-plug-in.md")


def of(*languages):
    return [pytest.param(block, id=block.where) for block in BLOCKS if block.language in languages]


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    """The demonstration without its bench days, run once: what it printed, and the folder it made."""
    home = tmp_path_factory.mktemp("day")
    before = Path.cwd()
    os.chdir(home)
    try:
        shown = examples.carry_out(examples.Run(words=["wattproof", "demo", "--samples-only"], expected=[]))
    finally:
        os.chdir(before)
    return home / "demo-output", shown


@pytest.mark.parametrize("page", RUN_PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_what_the_page_promises_is_what_is_printed(page, day, tmp_path, monkeypatch):
    monkeypatch.delenv("WATTPROOF_ARCHIVE", raising=False)
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    folder, shown = day
    found = examples.check(page, examples.workplace(folder, tmp_path), shown)
    assert not found, "\n\n".join([*found, "python tools/doc_examples.py --write brings the pages up to date"])


@pytest.mark.parametrize("block", of("toml"))
def test_settings_shown_are_settings_that_work(block):
    keys = tomllib.loads(block.text).keys()
    if keys & {"maker", "model", "ratings"}:
        assert parse_amplifier(block.text, file=block.where).model
    elif keys & {"channels", "loads", "meters", "supply", "limits", "rig", "rule"}:
        assert parse_bench(block.text, file=block.where).model_fields_set == set(keys)
    elif keys & {"pros", "cons", "summary", "photos"}:
        assert parse_remarks(block.text, file=block.where).model_fields_set == set(keys)
    else:
        assert set(keys) == {"project"}  # of a plug-in's package


@pytest.mark.parametrize("block", of("csv"))
def test_tables_shown_are_tables_that_work(block):
    header = set(re.split(r"[,;\t]", block.text.splitlines()[0]))
    parse = parse_calibration if header == {"reference", "reading"} else parse_readings
    assert len(parse(block.text, file=block.where)) == len(block.text.strip().splitlines()) - 1


@pytest.mark.parametrize("block", of("json") or [None])
def test_json_shown_is_json(block):
    assert block is None or json.loads(block.text) is not None


@pytest.mark.parametrize("block", of("sh"))
def test_only_commands_that_set_up_are_shown_without_being_run(block):
    lines = [line for line in block.text.splitlines() if line.strip() and not line.startswith("#")]
    assert lines
    assert [line for line in lines if not NOT_RUN.fullmatch(line)] == []


def test_every_fence_is_of_a_kind_that_is_checked():
    marks = {
        f"{page.relative_to(ROOT)}:{number}": line
        for page in PAGES
        for number, line in enumerate(page.read_text(encoding="utf-8").splitlines(), 1)
        if line.lstrip().startswith(("```", "~~~"))
    }
    fences = 2 * len(BLOCKS)
    assert len(marks) == fences, "a fence is not closed, or is indented, or has more than a word behind it"
    assert {block.where: block.language for block in BLOCKS if block.language not in LANGUAGES} == {}


def test_pages_are_not_emptied_of_their_examples():
    names = {str(page.relative_to(ROOT)) for page in RUN_PAGES}
    assert set(PROMISED) <= names
    commands = [run for block in BLOCKS if block.language == "console" for run in examples.runs(block.text)]
    assert len(commands) > 40
    told = {" ".join(word for word in run.words[1:3] if word.isalpha()) for run in commands}
    for words in (
        "read",
        "measure",
        "bench calibrate",
        "session new",
        "session add",
        "session figures",
        "session list",
    ):
        assert any(name.startswith(words) for name in told), words


@pytest.mark.parametrize("page", ["README.md", "docs/index.md", "docs/tutorial.md", "docs/safety.md"])
def test_nobody_gets_to_the_bench_without_the_cautions(page):
    text = (ROOT / page).read_text(encoding="utf-8").lower()
    assert "safety" in text
    if page in {"README.md", "docs/safety.md"}:
        for caution in (
            "fuse", "rings", "eye protection", "guarded", "ventilate", "hardware stop", "never ground either",
            "running alone", "hearing", "local codes", "qualified installer",
        ):  # fmt: skip
            assert caution in text, caution


def test_every_howto_is_listed():
    index = (ROOT / "docs" / "index.md").read_text(encoding="utf-8")
    pages = {f"howto/{path.name}" for path in (ROOT / "docs" / "howto").glob("*.md")}
    assert pages == set(re.findall(r"\((howto/[\w-]+\.md)\)", index))


@pytest.mark.parametrize("page", ["README.md", "CONTRIBUTING.md"])
def test_links_from_outside_the_docs_lead_somewhere(page):
    targets = re.findall(r"\]\(([^)#:]+)(?:#[\w-]+)?\)", (ROOT / page).read_text(encoding="utf-8"))
    assert targets
    assert [target for target in targets if not (ROOT / target).exists()] == []


LINE = "  Power in the load   98.43 ± 0.43 W   4.041 ohm, from v·i"


@pytest.mark.parametrize(
    "printed",
    [
        LINE,
        LINE.replace("98.43", "98.80"),
        LINE.replace("0.43", "0.45"),
        LINE.replace("   ", " "),
        LINE.replace("4.041", "4.042"),
    ],
)
def test_a_line_that_says_the_same_agrees(printed):
    assert examples.agrees(LINE, printed)
    assert examples.agrees(f"{LINE[:38]} ...", printed)


@pytest.mark.parametrize(
    "printed",
    [
        LINE.replace("98.43", "98.90"),
        LINE.replace("0.43", "0.60"),
        LINE.replace("v·i", "v²/R"),
        LINE.replace(" W", " kW"),
        LINE.replace("4.041", "4.062"),
        LINE.replace(", from v·i", ""),
        "",
    ],
)
def test_a_line_that_says_something_else_does_not_agree(printed):
    assert not examples.agrees(LINE, printed)


def test_lines_left_out_are_left_out_only_where_dots_say_so():
    printed = ["one", "two", "", "three"]
    assert examples.missing(["one", "...", "three"], printed) is None
    assert examples.missing(["one", "two", "three"], printed) is None
    assert examples.missing(["one", "three"], printed) == "three"
    assert examples.missing(["...", "three", "...", "two"], printed) == "two"
    wrapped = ["  ! stray: A line that", "    goes on", "  ! next: one"]
    assert examples.missing(["  ! stray: ...", "  ! next: one"], wrapped) is None
    assert examples.missing(["  ! stray: A line that", "  ! next: one"], wrapped) == "  ! next: one"
    assert examples.missing(["2031-05-14-bittern-1-0a1b"], ["2031-05-14-bittern-1-ffff"]) is None
    assert examples.missing(["2031-05-14-bittern-1-0a1b"], ["2031-05-14-bittern-2-ffff"]) is not None


def test_an_error_must_be_promised_and_a_promised_error_must_come():
    fine, failed = examples.Answer(lines=["a"]), examples.Answer(lines=["error: usage"], status=2)
    assert examples.faults(examples.Run(words=[], expected=["a"]), fine) is None
    assert examples.faults(examples.Run(words=[], expected=["error: usage"]), failed) is None
    assert examples.faults(examples.Run(words=[], expected=["..."]), failed)
    assert examples.faults(examples.Run(words=[], expected=["error: usage"]), fine)


def test_stale_lines_are_renewed_and_gaps_stay_gaps():
    run = examples.Run(words=[], expected=["...", LINE, "...", "  Gain   26.0 ± 0.1 dB ...", "lost for ever"])
    now = ["head", LINE.replace("98.43", "97.11"), "x", "  Gain   25.0 ± 0.1 dB   phase 0.0°, and more"]
    assert examples.renewed(run, examples.Answer(lines=now)) == [
        "...", now[1], "...", "  Gain   25.0 ± 0.1 dB ...", "lost for ever",
    ]  # fmt: skip
