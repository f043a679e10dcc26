"""Units stand in names, and public functions of the maths say what goes in; two kept lists may only shrink."""

import ast
import importlib
import inspect
import re
from pathlib import Path

import pytest

SOURCE = Path(__file__).parents[2] / "src" / "wattproof"
KEPT = Path(__file__).parent / "kept"
ROOMS = ("dsp", "measure", "quantity")
UNITS = (
    *("hz", "s", "v", "a", "w", "va", "db", "db_per_s", "ohm", "h", "k", "j", "rad", "percent", "c", "days", "m", "kg"),
    *("seconds", "volts", "amps", "watts"),
)
SUFFIX = re.compile(rf"(?:^|_)(?:{'|'.join(UNITS)})(?:_rms|_peak)?$")
FLOAT = re.compile(r"float( \| None)?")


def kept(name):
    """The list of exceptions: one a line, what follows # is the reason."""
    lines = (KEPT / name).read_text(encoding="utf-8").splitlines()
    return {line.split("#")[0].strip() for line in lines if line.split("#")[0].strip()}


def unitless_floats(text, where):
    """Give `where.function.parameter` and `where.Class.field` of every public float whose name has no unit."""
    found = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            parameters = [(a.arg, a.annotation) for a in (*node.args.args, *node.args.kwonlyargs)]
        elif isinstance(node, ast.ClassDef) and not node.name.startswith("_"):
            fields = [item for item in node.body if isinstance(item, ast.AnnAssign)]
            parameters = [(ast.unparse(item.target), item.annotation) for item in fields]
        else:
            continue
        for name, annotation in parameters:
            if annotation and FLOAT.fullmatch(ast.unparse(annotation)) and not SUFFIX.search(name):
                found.add(f"{where}.{node.name}.{name}")
    return found


def test_a_float_has_its_unit_in_its_name_or_is_listed_as_a_plain_number():
    found = set()
    for room in ROOMS:
        for path in sorted((SOURCE / room).glob("*.py")):
            found |= unitless_floats(path.read_text(encoding="utf-8"), f"{room}.{path.stem}")
    listed = kept("plain-numbers.txt")
    assert found - listed == set(), "give it a unit suffix, or list it in tests/contracts/kept/plain-numbers.txt"
    assert listed - found == set(), "no exception any more: strike it from the list, which may only shrink"


def test_the_check_of_units_sees_a_breach():
    assert unitless_floats("def f(*, level: float) -> None: ...", "x") == {"x.f.level"}
    assert unitless_floats("class A:\n    freq: float | None = None", "x") == {"x.A.freq"}
    assert unitless_floats("def f(*, level_v: float, tone_hz: float | None, n: int) -> None: ...", "x") == set()


def faults_of_docstring(function):
    text = inspect.getdoc(function) or ""
    names = list(inspect.signature(function).parameters)
    _, _, rest = text.partition("\nParameters\n")
    section = re.split(r"\n\w[\w ]*\n---", rest)[0]
    told = {name.strip(" *") for line in re.findall(r"^(\S.*?) :", section, re.MULTILINE) for name in line.split(",")}
    faults = [f"{name} is not told" for name in names if name not in told]
    source = inspect.getsource(function)
    if re.search(r"\braise \w+Error", source) and "\nRaises\n" not in text:
        faults.append("it raises and does not say so")
    return faults


def door_functions():
    for room in (*ROOMS, "bench", "waveform", "tasks", "readers"):
        door = importlib.import_module(f"wattproof.{room}")
        for name in door.__all__:
            item = getattr(door, name)
            if inspect.isfunction(item):
                yield f"{room}.{name}", item


def test_a_public_function_tells_its_parameters_and_errors():
    found = {name for name, function in door_functions() if faults_of_docstring(function)}
    listed = kept("short-docstrings.txt")
    assert found - listed == set(), "write the numpy sections, or list it in tests/contracts/kept/short-docstrings.txt"
    assert listed - found == set(), "no exception any more: strike it from the list, which may only shrink"


def test_the_check_of_docstrings_sees_a_breach():
    def silent(tone_hz: float) -> None:
        """Do it."""
        raise ValueError(tone_hz)

    def told(low_hz: float, high_hz: float) -> None:
        """Do it.

        Parameters
        ----------
        low_hz, high_hz : float, Hz
            The band.

        Raises
        ------
        ValueError
            Always.
        """
        raise ValueError(low_hz, high_hz)

    assert len(faults_of_docstring(silent)) == 2
    assert faults_of_docstring(told) == []


@pytest.mark.parametrize("room", ["dsp", "measure", "quantity"])
def test_public_functions_of_the_maths_are_typed_whole(room):
    door = importlib.import_module(f"wattproof.{room}")
    for name in door.__all__:
        item = getattr(door, name)
        if inspect.isfunction(item):
            signature = inspect.signature(item)
            bare = [p.name for p in signature.parameters.values() if p.annotation is inspect.Parameter.empty]
            assert bare == [], name
            assert signature.return_annotation is not inspect.Signature.empty, name
