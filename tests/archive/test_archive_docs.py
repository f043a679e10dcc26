"""docs/archive.md tells of every file, word and notice of the archive."""

import re
from pathlib import Path
from typing import get_args, get_type_hints

import pytest

from wattproof.archive import Change

ROOT = Path(__file__).parents[2]
PAGE = (ROOT / "docs" / "archive.md").read_text(encoding="utf-8")
GOLDEN = next((ROOT / "tests" / "archive" / "golden" / "0.1.0").iterdir())
CODE = "".join(path.read_text(encoding="utf-8") for path in (ROOT / "src/wattproof/archive").glob("*.py"))
NOTICES = sorted(set(re.findall(r'Notice\(code="([a-z-]+)"', CODE)))


@pytest.mark.parametrize("path", sorted(GOLDEN.rglob("*")), ids=lambda path: path.name)
def test_every_file_of_a_session_stands_in_the_page(path):
    name = path.name
    if path.parent.name == "history":
        assert re.fullmatch(r"\d{8}T\d{6}\.\d{6}Z-(measured|described)-[0-9a-f]{6}\.json", name)
        name = "-measured-"
    assert name in PAGE


@pytest.mark.parametrize("word", get_args(get_type_hints(Change)["what"]))
def test_every_word_of_verify_is_explained(word):
    assert f"\n| {word} | " in PAGE


@pytest.mark.parametrize("code", NOTICES)
def test_every_notice_is_explained(code):
    assert f"`{code}`" in PAGE


def test_the_notices_were_found():
    assert NOTICES == ["figures-outdated", "index-rebuilt", "index-unavailable", "session-damaged"]


@pytest.mark.parametrize("table", ["sessions", "captures", "figures", "overview"])
def test_every_table_is_named(table):
    assert f"`wattproof_{table}`" in PAGE
