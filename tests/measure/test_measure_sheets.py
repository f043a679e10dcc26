"""The numbers worked by hand on the method sheets are run, and every sheet of the index is there."""

import doctest
import re
from pathlib import Path

import pytest

SHEETS = Path(__file__).parents[2] / "docs" / "methods"
PAGES = sorted(path for path in SHEETS.glob("*.md") if ">>>" in path.read_text(encoding="utf-8"))
INDEX = (SHEETS / "index.md").read_text(encoding="utf-8")
OF_FIGURES = sorted(set(re.findall(r"\]\((\w+)\.md\)", "".join(re.findall(r"^\|.*\n", INDEX, re.MULTILINE)))))
HEADINGS = ("Formula", "Assumptions", "Uncertainty", "Floor", "Source and how sure", "What it does not say", "By hand")


@pytest.mark.parametrize("path", PAGES, ids=lambda path: path.stem)
def test_the_number_worked_by_hand_is_right(path):
    text = path.read_text(encoding="utf-8").replace("```", "\n")
    test = doctest.DocTestParser().get_doctest(text, {}, path.name, str(path), 0)
    runner = doctest.DocTestRunner()
    printed: list[str] = []
    runner.run(test, out=printed.append)
    assert test.examples
    assert runner.failures == 0, "".join(printed)


@pytest.mark.parametrize("stem", [path.stem for path in PAGES if path.stem in OF_FIGURES])
def test_a_figures_sheet_with_a_worked_number_has_all_its_parts(stem):
    text = (SHEETS / f"{stem}.md").read_text(encoding="utf-8")
    missing = [heading for heading in HEADINGS if f"\n## {heading}\n" not in text]
    assert missing == []


@pytest.mark.parametrize("path", sorted(SHEETS.glob("*.md")), ids=lambda path: path.stem)
def test_every_other_sheet_says_what_it_does_not_say(path):
    if path.stem not in {*OF_FIGURES, "index", "coverage"}:
        assert "\n## What it does not say\n" in path.read_text(encoding="utf-8")


def test_the_index_leads_to_every_sheet_and_to_nothing_else():
    linked = set(re.findall(r"\]\((\w+)\.md\)", INDEX))
    assert linked == {path.stem for path in SHEETS.glob("*.md")} - {"index"}
