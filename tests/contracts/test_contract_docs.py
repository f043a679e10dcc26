"""Documentation is a test: every error, notice, reader and figure has its place where a person looks for it."""

import ast
import importlib
import inspect
import re
from dataclasses import fields
from pathlib import Path

import pytest

from wattproof.errors import WattproofError
from wattproof.readers import installed_readers
from wattproof.report.words import FIGURES

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "wattproof"
DOCS = ROOT / "docs"
TREES = {path: ast.parse(path.read_text(encoding="utf-8")) for path in sorted(SOURCE.rglob("*.py"))}
KEBAB = re.compile(r"[a-z0-9]+(-[a-z0-9]+)*")


def headings(path):
    return set(re.findall(r"^## +`?([^`\n]+?)`? *$", path.read_text(encoding="utf-8"), re.MULTILINE))


def all_errors():
    for path in TREES:
        module = ".".join(path.relative_to(SOURCE.parent).with_suffix("").parts).removesuffix(".__init__")
        if "Error" in path.read_text(encoding="utf-8"):
            importlib.import_module(module)
    found, queue = [], [WattproofError]
    while queue:
        for kind in queue.pop().__subclasses__():
            if kind.__module__.startswith("wattproof."):
                found.append(kind)
                queue.append(kind)
    return found


def text_of(node):
    return node.value if isinstance(node, ast.Constant) and isinstance(node.value, str) else None


def calls(tree):
    return [(ast.unparse(node.func).split(".")[-1], node) for node in ast.walk(tree) if isinstance(node, ast.Call)]


def helper_places(trees):
    """Where helper functions that make a notice take its code: {name: place among the parameters}."""
    places = {"Notice": None}
    for node in (node for tree in trees for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)):
        names = [a.arg for a in (*node.args.args, *node.args.kwonlyargs)]
        if "code" in names and any(name == "Notice" for name, _ in calls(node)):
            places[node.name] = names.index("code")
    return places


def notice_codes(trees):
    """Codes given to Notice(code=...), also through a helper function that has a parameter `code`."""
    trees = list(trees)
    places, codes = helper_places(trees), set()
    for name, node in [call for tree in trees for call in calls(tree) if call[0] in places]:
        given = [keyword.value for keyword in node.keywords if keyword.arg == "code"]
        given += node.args[places[name] : places[name] + 1] if places[name] is not None else []
        for value in given:
            parts = [value.body, value.orelse] if isinstance(value, ast.IfExp) else [value]
            codes |= {text_of(part) for part in parts} - {None}
    return codes


def figure_names(trees):
    """First words given to `.figure(...)`; of a name that is put together, the part that is always there."""
    found = set()
    for _, node in [call for tree in trees for call in calls(tree) if call[0] == "figure" and call[1].args]:
        first = node.args[0]
        start = first.values[0] if isinstance(first, ast.JoinedStr) and first.values else first
        found |= {text_of(start).rstrip("_")} if text_of(start) else set()
    return found


def options_named(text):
    """Options of ours that a text tells of; those of other programs are written after their name."""
    return set(re.findall(r"(?<![\w-])--([a-z][a-z-]*[a-z])(?![\w-])", text))


ERRORS = all_errors()
NOTICES = notice_codes(TREES.values())
MEASURED = figure_names(tree for path, tree in TREES.items() if path.parent.name == "measure")
NAMES = MEASURED | set(FIGURES) | {"harmonic"}


def test_there_is_something_to_document():
    assert len(ERRORS) >= 14
    assert len(NOTICES) > 60
    assert {"few-cycles", "repeated-time", "efficiency-over-1"} <= NOTICES
    assert {"thd_n", "power_at_thd", "idle_current"} <= NAMES


def test_every_error_class_has_its_own_code():
    codes = [kind.__dict__.get("code", "") for kind in ERRORS]
    assert all(KEBAB.fullmatch(code) for code in codes), codes
    assert len(codes) == len(set(codes))


@pytest.mark.parametrize("kind", ERRORS, ids=lambda kind: kind.code)
def test_every_error_is_drawn_in_the_tree(kind):
    drawing = importlib.import_module("wattproof.errors").__doc__
    assert re.search(rf"── {kind.__name__}\b", drawing)


@pytest.mark.parametrize("code", sorted(kind.code for kind in ERRORS))
def test_every_error_code_has_its_heading(code):
    assert code in headings(DOCS / "errors.md")


def test_no_heading_tells_of_an_error_that_is_gone():
    assert headings(DOCS / "errors.md") - {kind.code for kind in ERRORS} == set()


@pytest.mark.parametrize("code", sorted(NOTICES))
def test_every_notice_code_has_its_heading(code):
    assert KEBAB.fullmatch(code)
    assert code in headings(DOCS / "notices.md")


def test_no_heading_tells_of_a_notice_that_is_gone():
    assert headings(DOCS / "notices.md") - NOTICES == set()


@pytest.mark.parametrize("page", ["errors.md", "notices.md"])
def test_every_heading_is_followed_by_what_it_means_and_what_to_do(page):
    sections = re.split(r"^## ", (DOCS / page).read_text(encoding="utf-8"), flags=re.MULTILINE)[1:]
    short = [
        section.splitlines()[0] for section in sections if len(section.splitlines()) < 3 or "**Do:**" not in section
    ]
    assert short == []


@pytest.mark.parametrize("name", sorted(installed_readers()))
def test_every_reader_has_its_section(name):
    pages = list(DOCS.glob("formats*.md"))
    if not pages:
        pytest.skip("docs/formats*.md is not written yet")
    told = "\n".join(
        line for page in pages for line in page.read_text(encoding="utf-8").splitlines() if line.startswith("#")
    )
    assert re.search(rf"\b{name}\b", told, re.IGNORECASE)


@pytest.mark.parametrize("name", sorted(NAMES))
def test_every_figure_has_its_method(name):
    page = DOCS / "methods" / "index.md"
    if not page.exists():
        pytest.skip("docs/methods/index.md is not written yet")
    assert re.search(rf"\b{name}(_|\b)", page.read_text(encoding="utf-8"))


@pytest.mark.parametrize("name", sorted(MEASURED))
def test_every_figure_has_its_words(name):
    words = importlib.import_module("wattproof.report").figure_name
    full = {"power_at_thd": "power_at_thd_1", "harmonic": "harmonic_2", "sustained_power": "sustained_power_60_s"}.get(
        name, name
    )
    assert words(full) != full
    assert "_" not in words(full)


def words_of_options():
    commands = importlib.import_module("wattproof.cli.commands")
    tasks = importlib.import_module("wattproof.tasks")
    names = {"help", "version"}
    for name in (*(task.__name__ for task in tasks.TASKS), "serve"):
        names |= set(inspect.signature(getattr(commands, name)).parameters)
    for group in (tasks.Wishes, tasks.FileAnswers, tasks.SheetWishes, tasks.ClipWishes, tasks.CameraWishes):
        names |= {field.name for field in fields(group)}
    return {name.replace("_", "-") for name in names}


def test_every_option_that_we_tell_of_exists():
    known, wrong = words_of_options(), {}
    for path, tree in TREES.items():
        texts = [text_of(node) for node in ast.walk(tree) if text_of(node)]
        named = set().union(*(options_named(text) for text in texts)) if texts else set()
        wrong |= {str(path.relative_to(SOURCE)): named - known} if named - known else {}
    pages = [page for page in (*DOCS.rglob("*.md"), ROOT / "README.md") if "decisions" not in page.parts]
    for page in pages:
        lines = [
            line for line in page.read_text(encoding="utf-8").splitlines() if "pip" not in line and "git" not in line
        ]
        named = options_named("\n".join(lines))
        wrong |= {str(page.relative_to(ROOT)): named - known} if named - known else {}
    assert wrong == {}
    assert options_named("give --steady-powers or --rate-hz 4") - known == {"steady-powers"}


def test_the_checks_of_codes_and_names_see_what_is_new():
    tree = ast.parse(
        'Notice(code="brand-new", message="")\n'
        "def _say(code, text):\n    return Notice(code=code, message=text)\n"
        '_say("by-helper", "")\nNotice(code="one" if x else "other")\n'
        'record.figure("warmth", 1)\nrecord.figure(f"power_at_{limit}", 1)'
    )
    assert notice_codes([tree]) == {"brand-new", "by-helper", "one", "other"}
    assert figure_names([tree]) == {"warmth", "power_at"}
