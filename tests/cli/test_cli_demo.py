"""The demonstration, run once: the whole job, and what a visitor then finds."""

import json
import re
import shlex
from pathlib import Path

import jsonschema
import pytest

from wattproof import tasks
from wattproof.cli.app import build
from wattproof.report import figure_name

METHODS = Path(__file__).parents[2] / "docs" / "methods" / "index.md"


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    lines = []
    folder = tmp_path_factory.mktemp("visitor") / "demo"
    return tasks.demo(folder=folder, samples_only=True, tell=lines.append), "\n".join(lines)


@pytest.fixture(scope="module")
def results(shown):
    return tasks.session_figures(shown[0].session, archive=shown[0].folder / "archive").captures


@pytest.fixture(scope="module")
def figures(results):
    return [figure for result in results for figure in result.figures]


def test_it_shows_where_everything_is(shown):
    answer, said = shown
    assert all(str(page) in said for page in answer.pages)
    assert str(answer.csv) in said
    assert len(answer.pages) >= 2
    for page in answer.pages:
        text = page.read_text(encoding="utf-8")
        assert "<svg" in text
        assert not re.search(r"""(?:src|href)=["']?(?:https?:)?//""", text)
        assert "nan" not in re.findall(
            r"[a-z]+", re.sub(r"<style.*?</style>|<svg.*?</svg>", "", text, flags=re.DOTALL).lower()
        )


def test_each_command_it_shows_can_be_typed(shown):
    commands = re.findall(r"(?:^  |:  )wattproof ((?!session new, and).*)$", shown[1], re.MULTILINE)
    assert len(commands) >= 8
    app = build()
    for words in commands:
        app.parse_args(shlex.split(words), exit_on_error=False, print_error=False)  # raises where a word has no place


def test_what_it_publishes_is_there_and_told(shown):
    answer, said = shown
    assert {path.suffix for path in answer.published} == {".html", ".pdf", ".md", ".png", ".zip"}
    for path in answer.published:
        assert path.stat().st_size > 1000
        assert str(path) in said
    assert f"{answer.figures} of {answer.figures} figures are as published." in said


def test_every_kind_is_there_and_every_figure_is_one(shown, results, figures):
    assert {result.kind for result in results} == {"idle", "steady", "ramp", "burst", "hold", "readings"}
    assert shown[0].figures == len(figures) > 50
    for figure in figures:
        assert figure.u >= 0
        assert figure.k95 > 1.9
        assert figure.unit
        assert figure.origin


def test_every_figure_has_plain_words(figures):
    unworded = {figure.name for figure in figures if figure_name(figure.name) == figure.name}
    assert unworded == set()


def test_every_figure_has_its_method(figures):
    if not METHODS.exists():
        pytest.skip("docs/methods/index.md is not written yet")
    text = METHODS.read_text(encoding="utf-8")
    stems = {re.sub(r"_(at_)?[\d_]+(_s|_percent)?$", "", figure.name) for figure in figures}
    assert {stem for stem in stems if not re.search(rf"\b{stem}(_|\b)", text)} == set()


def test_efficiency_and_power_are_what_an_amplifier_can_do(figures):
    ratios = [figure.value for figure in figures if figure.name == "efficiency"]
    assert len(ratios) >= 2
    assert all(0 < ratio < 1 for ratio in ratios)


def test_its_session_is_like_any_other(run, shown):
    answer, _ = shown
    listed = json.loads(run("session", "list", "--archive", answer.folder / "archive", "--json").out)
    assert [line["session"] for line in listed["sessions"]] == [answer.session]
    ran = run("session", "figures", answer.session, "--archive", answer.folder / "archive", "--json")
    jsonschema.validate(json.loads(ran.out), json.loads(tasks.schema("measure")))
    assert sum(len(capture["figures"]) for capture in json.loads(ran.out)["captures"]) == answer.figures
