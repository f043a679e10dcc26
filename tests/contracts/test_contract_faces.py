"""Faces hold no thought: every task is a command and the reverse, with the same parameters, defaults and needs."""

import importlib
import inspect
import json
import os
import subprocess
import sys
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import Union, get_args, get_origin, get_type_hints

import pytest

from wattproof import tasks
from wattproof.cli import COMMANDS

COMMAND_FILE = importlib.import_module("wattproof.cli.commands")
NEEDED = inspect.Parameter.empty


def bare(annotation):
    """Strip Annotated, and None from a union: `Wishes | None` and `Annotated[Wishes, ...]` are the same want."""
    if hasattr(annotation, "__metadata__"):
        annotation = get_args(annotation)[0]
    parts = [part for part in get_args(annotation) if part is not type(None)]
    is_union = get_origin(annotation) is Union or type(annotation).__name__ == "UnionType"
    return parts[0] if is_union and len(parts) == 1 else annotation


def parameters(function):
    """Give {name: default} with the fields of option groups flattened; NEEDED where there is no default."""
    hints, found = get_type_hints(function), {}
    for parameter in inspect.signature(function).parameters.values():
        kind = bare(hints[parameter.name])
        if is_dataclass(kind):
            found |= {f.name: NEEDED if f.default is MISSING else f.default for f in fields(kind)}
        else:
            found[parameter.name] = parameter.default
    return found


def differences(command, task):
    theirs, ours = parameters(command), parameters(task)
    said = []
    for name in sorted(theirs.keys() | ours.keys()):
        if name in ours and name in theirs:
            if ours[name] is not theirs[name] and ours[name] != theirs[name]:
                said.append(f"{name}: {theirs[name]} in the command, {ours[name]} in the task")
        elif name not in FACE_ONLY.get(command.__name__, {"json"}):
            said.append(f"{name} is only in the {'task' if name in ours else 'command'}")
    return said


FACE_ONLY = {
    "schema": set(),  # it prints JSON anyway
    "measure": {"json", "tell", "budget"},
    "picture": {"json", "tell"},
    "demo": {"json", "tell"},  # `tell` is where the task's lines go: the terminal
    "run": {"json", "json_lines", "tell", "operator", "button"},  # who asks, hears and stops: a face
    "bench_check": {"json", "operator"},
    "bench_floor": {"json", "tell", "operator"},
    "compare": {"json", "tell"},
    "export": {"json", "tell"},
    "site": {"json", "tell"},
    "judge": {"json", "tell"},
    "key_new": {"json", "ask"},  # who types the passphrase, unseen: a face
    "model": {"json", "tell"},
    "pack": {"json", "ask", "tell"},
    "overlay": {"json", "tell"},
    "predict": {"json", "tell"},
    "report": {"json", "tell"},
    "verify": {"json", "tell"},
    "session_figures": {"json", "tell", "budget"},  # another form of the same answer
}


OTHER_FACES = {("serve",)}
"""Commands that open another face instead of calling a task."""


def test_every_task_is_a_command_and_the_reverse():
    names = [task.__name__ for task in tasks.TASKS]
    assert names == ["_".join(words) for words in COMMANDS if words not in OTHER_FACES]
    assert {name for name in names if name in tasks.__all__} == set(names)


def test_every_function_on_the_door_is_a_task():
    functions = {name for name in tasks.__all__ if inspect.isfunction(getattr(tasks, name))}
    assert functions == {task.__name__ for task in tasks.TASKS}


@pytest.mark.parametrize("task", tasks.TASKS, ids=lambda task: task.__name__)
def test_a_command_takes_what_its_task_takes(task):
    assert differences(getattr(COMMAND_FILE, task.__name__), task) == []


@pytest.mark.parametrize("task", tasks.TASKS, ids=lambda task: task.__name__)
def test_positions_are_what_has_no_default(task):
    command = getattr(COMMAND_FILE, task.__name__)
    by_place = [p for p in inspect.signature(command).parameters.values() if p.kind is p.POSITIONAL_ONLY]
    needed = [name for name, default in parameters(task).items() if default is NEEDED]
    assert [p.name for p in by_place if p.default is NEEDED] == needed


@pytest.mark.parametrize("task", tasks.TASKS, ids=lambda task: task.__name__)
def test_every_option_has_its_line_of_help(task):
    text = inspect.getdoc(getattr(COMMAND_FILE, task.__name__))
    hints = get_type_hints(getattr(COMMAND_FILE, task.__name__))
    for name in inspect.signature(getattr(COMMAND_FILE, task.__name__)).parameters:
        group = bare(hints[name])
        told = inspect.getdoc(group) if is_dataclass(group) else text
        for word in [f.name for f in fields(group)] if is_dataclass(group) else [name]:
            assert any(line.split(" :")[0] == word for line in told.splitlines()), word


def test_the_check_of_parameters_sees_a_breach():
    def task(files: list[Path], *, bench: Path | None = None) -> None: ...

    def measure(files: list[Path], *, bench: Path | None = None, json: bool = False) -> None: ...

    def fewer(files: list[Path], *, json: bool = False) -> None: ...

    def more(files: list[Path], *, bench: Path | None = None, colour: str = "grey", json: bool = False) -> None: ...

    def otherwise(files: list[Path], *, bench: Path | None = Path("bench.toml"), json: bool = False) -> None: ...

    assert differences(measure, task) == []
    assert [len(differences(wrong, task)) for wrong in (fewer, more, otherwise)] == [1, 1, 1]


def loaded(code, *wanted):
    """Run code in a fresh interpreter and give which of the modules it loaded."""
    script = f"{code}\nimport sys, json\nprint('\\n' + json.dumps([m for m in {list(wanted)!r} if m in sys.modules]))"
    environment = {**os.environ, "PYTHONWARNINGS": "ignore"}
    done = subprocess.run([sys.executable, "-c", script], capture_output=True, text=True, check=True, env=environment)
    return json.loads(done.stdout.splitlines()[-1])


OUTSIDE = (
    "soundfile",
    "h5py",
    "polars",
    "sqlalchemy",
    "vl_convert",
    "jinja2",
    "cyclopts",
    "rich",
    "GTC",
    "scipy.signal",
)
HEAVY = (*OUTSIDE, "numpy", "scipy", "pydantic", "wattproof.tasks", "wattproof.measure", "wattproof.archive")


@pytest.mark.parametrize("room", ["quantity", "waveform", "dsp", "bench", "amplifier", "measure"])
def test_the_maths_loads_no_face_disk_or_chart(room):
    assert loaded(f"import wattproof.{room}", *OUTSIDE) == []


@pytest.mark.parametrize("words", [["--help"], [], ["--version"]])
def test_the_first_help_loads_nothing_heavy(words):
    code = f"from wattproof.cli import main\nmain({words!r})"
    assert loaded(code, *HEAVY) == []


def test_help_of_a_command_loads_no_disk_or_chart():
    code = "from wattproof.cli import main\nmain(['measure', '--help'])"
    assert loaded(code, "soundfile", "h5py", "polars", "sqlalchemy", "vl_convert", "GTC", "scipy.signal") == []


def test_the_check_of_loading_sees_a_breach():
    assert loaded("import soundfile, numpy", "soundfile", "numpy", "rich") == ["soundfile", "numpy"]
