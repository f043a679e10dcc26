"""The walls between the rooms: doors that only re-export, nobody who reaches past them, no file that grows into two."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
SOURCE = ROOT / "src" / "wattproof"
FILES = sorted(SOURCE.rglob("*.py"))
DOORS = sorted(SOURCE.glob("*/__init__.py"))
MOST_LINES = 400


def named(path):
    return str(path.relative_to(SOURCE))


def faults_of_door(text):
    tree = ast.parse(text)
    sign = ast.get_docstring(tree)
    faults = [] if sign and "\n" not in sign else ["no sign of one line"]
    for node in tree.body[1 if sign else 0 :]:
        names = [ast.unparse(target) for target in node.targets] if isinstance(node, ast.Assign) else []
        if not isinstance(node, ast.ImportFrom) and names != ["__all__"]:
            faults.append(f"line {node.lineno} is neither an import nor __all__")
    return faults


def reaches_past_doors(text, room):
    """Every import, at the top or inside a function, of another room's inner file."""
    found = []
    for node in ast.walk(ast.parse(text)):
        modules = [alias.name for alias in node.names] if isinstance(node, ast.Import) else []
        modules += [node.module or ""] if isinstance(node, ast.ImportFrom) else []
        for module in modules:
            parts = module.split(".")
            if parts[0] == "wattproof" and len(parts) > 2 and parts[1] != room:
                found.append(f"line {node.lineno}: {module}")
    return found


def test_there_is_something_to_check():
    assert len(DOORS) >= 13
    assert len(FILES) > 100


@pytest.mark.parametrize("path", DOORS, ids=named)
def test_a_door_has_a_sign_and_only_re_exports(path):
    assert faults_of_door(path.read_text(encoding="utf-8")) == []


@pytest.mark.parametrize("path", DOORS, ids=named)
def test_a_door_lists_what_it_imports(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    imported = {
        alias.asname or alias.name for node in tree.body if isinstance(node, ast.ImportFrom) for alias in node.names
    }
    listed = next(ast.literal_eval(node.value) for node in tree.body if isinstance(node, ast.Assign))
    assert set(listed) == imported
    assert len(listed) == len(set(listed))


def test_other_rooms_import_doors_only():
    reached = {named(path): reaches_past_doors(path.read_text(encoding="utf-8"), path.relative_to(SOURCE).parts[0])
               for path in FILES}  # fmt: skip
    assert {file: lines for file, lines in reached.items() if lines} == {}


def test_no_file_grows_into_two():
    lengths = {named(path): len(path.read_text(encoding="utf-8").splitlines()) for path in FILES}
    assert {file: lines for file, lines in lengths.items() if lines > MOST_LINES} == {}


def test_every_file_says_what_it_is_for():
    assert [named(path) for path in FILES if not ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))] == []


def test_the_map_of_rooms_is_the_folder():
    text = (ROOT / "docs" / "explanations" / "architecture.md").read_text(encoding="utf-8")
    rooms = {path.parent.name for path in DOORS}
    assert {room for room in rooms if f"`{room}/`" not in text} == set()


BREACHES = {
    "no sign": "from wattproof.dsp.tone import fit_tone\n__all__ = ['fit_tone']\n",
    "a sign of two lines": '"""One.\n\nTwo."""\n__all__ = []\n',
    "code": '"""Sign."""\nfrom a import b\nLIMIT = 3\n__all__ = ["b"]\n',
    "a function": '"""Sign."""\n\ndef f(): ...\n\n__all__ = ["f"]\n',
}


@pytest.mark.parametrize("breach", BREACHES)
def test_the_check_of_doors_sees_a_breach(breach):
    assert faults_of_door(BREACHES[breach])


PAST = (
    "from wattproof.dsp.tone import fit_tone",
    "import wattproof.dsp.tone",
    "def f():\n    from wattproof.dsp.tone import fit_tone",
)


@pytest.mark.parametrize("line", PAST)
def test_the_check_of_walls_sees_a_breach(line):
    assert reaches_past_doors(line, "measure")
    assert not reaches_past_doors(line, "dsp")
