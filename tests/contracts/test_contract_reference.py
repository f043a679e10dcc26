"""The page of commands is made from the commands: one that was not made again is stale, and that is seen here."""

import importlib.util
import re
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def maker():
    spec = importlib.util.spec_from_file_location("make_reference", ROOT / "tools" / "make_reference.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_page_of_commands_is_fresh(maker):
    kept = (ROOT / "docs" / "reference" / "cli.md").read_text(encoding="utf-8")
    assert kept == maker.page(), "run: .venv/bin/python tools/make_reference.py"


def test_it_tells_every_command_and_every_option(maker):
    text = maker.page()
    sections = dict(re.findall(r"^## (.*?)\n(.*?)(?=^## |\Z)", text, re.DOTALL | re.MULTILINE))
    assert list(sections) == [" ".join(words) for words in maker.COMMANDS]
    for name, section in sections.items():
        command = getattr(maker.commands, name.replace(" ", "_"))
        for parameter, *_ in maker._parameters(command, maker._docstring(command)[1]):
            shown = parameter.replace("_", "-")
            assert f"--{shown}" in section or f"`{parameter.upper()}" in section or f"[{parameter.upper()}]" in section
        assert "| `" in section
        assert not re.search(r"\| *\|$", section, re.MULTILINE), "an option without a word about it"


def test_a_change_of_a_command_makes_the_page_stale(maker, monkeypatch):
    def read(files: list[Path], /, *, colour: str = "grey", json: bool = False) -> None:
        """Show it.

        Parameters
        ----------
        files
            Some files.
        colour
            Of the page.
        json
            As JSON.
        """

    before = maker.page()
    monkeypatch.setattr(maker.commands, "read", read)
    assert maker.page() != before
    assert "| `--colour TEXT` | Of the page. Default: `grey`. |" in maker.page()
