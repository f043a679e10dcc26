"""What is packed comes out again, byte for byte and without a contradiction; what goes wrong leaves no pack."""

import errno
import importlib.util
import tempfile
import zipfile
from datetime import UTC, datetime
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from wattproof.amplifier import Amplifier
from wattproof.archive import (
    Archive,
    Description,
    FiguresFile,
    MeasuredCapture,
    compare_figures,
    compare_rest,
    disagreements,
    open_pack,
    pack_write,
    take_published,
    unsound_captures,
    write_pack,
)
from wattproof.archive.pack_differ import leaves, near, one_step
from wattproof.bench import Bench
from wattproof.errors import ArchiveError, PackError
from wattproof.measure import CaptureResult, Figure
from wattproof.quantity import BudgetLine

_spec = importlib.util.spec_from_file_location("archive_faults", Path(__file__).with_name("faults.py"))
faults = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(faults)

STARTED = datetime(2031, 5, 14, 9, 30, tzinfo=UTC)
VERSIONS = {"python": "3.11", "numpy": "2.0"}
numbers = st.floats(allow_nan=False, allow_infinity=False, width=32)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
captured = st.dictionaries(
    st.binary(max_size=300), st.tuples(st.sampled_from([".wav", ".csv", ".h5", ""]), words), max_size=4
)


def power(value, u=1.0, **changed):
    fields = {"name": "load_power", "value": value, "u": u, "unit": "W", "origin": "ramp.wav 1.62-1.71 s", **changed}
    return Figure(**fields)


def begin(folder, model="Bittern 1", note=""):
    archive = Archive(folder / "archive", clock=lambda: STARTED)
    toml = f"maker = 'Saltmarsh & Daughter'\nmodel = {model!r}\n".encode()
    session = archive.new_session(
        amplifier=Amplifier(maker="Saltmarsh & Daughter", model=model), bench=Bench(name="Boathouse bench"),
        amplifier_toml=toml, bench_toml=b"name = 'Boathouse bench'\n", started=STARTED, note=note,
    )  # fmt: skip
    return archive, session


def add(archive, session, folder, name, data, value, step=""):
    (folder / name).write_bytes(data)
    record = archive.add_capture(session, folder / name, Description(step=step or None))
    return record.number, [CaptureResult(file=name, kind="steady", figures=(power(value),))]


@pytest.fixture
def session(tmp_path):
    archive, session = begin(tmp_path)
    results = dict(add(archive, session, tmp_path, f"{n}.wav", bytes([n]) * 5000, float(n)) for n in (1, 2, 3))
    archive.write_figures(session, results)
    return session


@settings(max_examples=10, deadline=None)
@given(captures=captured, note=words, value=numbers)
def test_what_is_packed_comes_out_and_contradicts_nothing(captures, note, value):
    with tempfile.TemporaryDirectory() as home:
        folder = Path(home)
        archive, session = begin(folder, note=note)
        given_ = enumerate(captures.items())
        results = dict(
            add(archive, session, folder, f"capture {n}{end}", data, value, step) for n, (data, (end, step)) in given_
        )
        archive.write_figures(session, results)
        written = write_pack(session, folder / "pack.zip", versions=VERSIONS)
        opened = open_pack(folder / "pack.zip")
        assert opened.findings == ()
        assert opened.manifest == written.manifest
        assert zipfile.ZipFile(folder / "pack.zip").testzip() is None  # anybody's tool can read it
        out = archive.open_session(opened.unpack(folder / "out"))
        assert disagreements(out, opened.manifest) == ()
        assert unsound_captures(out) == frozenset()
        assert [path.read_bytes() for path in sorted(out.folder.glob("captures/*/original*"))] == [
            path.read_bytes() for path in sorted(session.folder.glob("captures/*/original*"))
        ]
        published = take_published(out)
        stored = archive.read_figures(session)
        assert published.figures == stored
        assert {one.state for one in compare_figures(stored, stored)} <= {"same"}
        assert list(compare_rest(stored, stored)) == []


def test_every_step_that_fails_leaves_no_pack_or_a_whole_one(session, tmp_path):
    folder = tmp_path / "out"
    folder.mkdir()

    def full():
        raise OSError(errno.ENOSPC, "No space left on device")

    hints = []
    for number in range(1, 20):
        steps = faults.Steps(number, full)
        try:
            with steps.armed():
                write_pack(session, folder / "pack.zip", versions=VERSIONS)
        except PackError as error:
            hints.append(error.hint)
        left = [path.name for path in folder.iterdir()]
        assert left in ([], ["pack.zip"])
        if left:
            assert open_pack(folder / "pack.zip").findings == ()
            (folder / "pack.zip").unlink()
        if steps.count < number:
            break
    assert len(hints) >= 2
    assert all("Free some space" in hint for hint in hints)


def test_a_file_that_changes_while_it_is_packed_is_told(session, tmp_path, monkeypatch):
    genuine = pack_write._manifest

    def slow(*words):
        made = genuine(*words)
        original = next(session.folder.glob("captures/02-*/original.wav"))
        original.write_bytes(b"\x09" * 5000)
        return made

    monkeypatch.setattr(pack_write, "_manifest", slow)
    with pytest.raises(ArchiveError, match="changed while it was packed"):
        write_pack(session, tmp_path / "pack.zip", versions=VERSIONS)
    assert not (tmp_path / "pack.zip").exists()


def published(*figures):
    result = CaptureResult(file="ramp.wav", kind="ramp", figures=figures)
    capture = MeasuredCapture(number=1, sha256="0" * 64, description=Description(), results=(result,))
    return FiguresFile(wattproof="0.1.0", inputs={}, captures=(capture,))


@pytest.mark.parametrize(
    ("value", "u", "state"),
    [
        (512.34, 2.1, "same"),
        (512.34 + 1e-7, 2.1, "same"),  # a processor's own rounding
        (512.34 + 0.04, 2.1, "near"),  # printed as 512.3 ± 4.1: less than half of 0.1
        (512.34 + 0.06, 2.1, "differs"),
        (512.34 - 0.06, 2.1, "differs"),
        (512.34, 2.12, "near"),  # ± 4.16
        (512.34, 2.2, "differs"),  # ± 4.31
        (512.34, 0.0, "differs"),
    ],
)
def test_a_figure_is_reproduced_to_its_last_printed_digit(value, u, state):
    (one,) = compare_figures(published(power(512.34, 2.1)), published(power(value, u)))
    assert one.state == state
    assert one.difference == pytest.approx(value - 512.34)
    assert one.over_u == pytest.approx((value - 512.34) / 2.1)


def test_a_figure_without_doubt_is_held_to_six_digits():
    states = [
        compare_figures(published(power(0.5, 0)), published(power(0.5 + more, 0)))[0].state for more in (0, 4e-7, 6e-7)
    ]
    assert states == ["same", "near", "differs"]


def test_what_is_left_over_from_rounding_is_no_ripple():
    """A ripple of 1e-14 V on 14 V is arithmetic, which another processor does otherwise."""
    there, here = (
        published(power(14.4, 0.01, unit="V", name="supply_voltage"), power(value, 1e-17, unit="V", name="ripple"))
        for value in (9e-15, 3e-15)
    )
    assert [one.state for one in compare_figures(there, here)] == ["same", "near"]


def test_figures_of_one_name_are_paired_by_their_conditions():
    """Of three sustained powers the middle one is left out: it alone is named."""
    at = [power(500.0 - s, conditions={"at_s": float(s)}) for s in (10, 30, 60)]
    found = compare_figures(published(at[0], at[2]), published(*at))
    assert [(one.state, one.again.value) for one in found] == [("same", 490.0), ("same", 440.0), ("left out", 470.0)]


def test_a_line_of_the_budget_is_held_to_the_figures_last_digit():
    lines = [BudgetLine(source="scale", label="scale", u=u, type="B") for u in (1.0, 1.0 + 1e-9, 1.04, 1.06)]
    first = published(power(512.34, 2.1, budget=(lines[0],)))
    states = [compare_figures(first, published(power(512.34, 2.1, budget=(line,))))[0].state for line in lines]
    assert states == ["same", "same", "near", "differs"]


@settings(max_examples=50, deadline=None)
@given(
    st.recursive(
        st.none() | st.booleans() | numbers | words,
        lambda inner: st.lists(inner, max_size=3) | st.dictionaries(words, inner, max_size=3),
        max_leaves=8,
    )
)
def test_a_document_does_not_differ_from_itself(document):
    assert list(leaves(document, document)) == []


@settings(max_examples=50, deadline=None)
@given(numbers, numbers)
def test_being_near_is_mutual(one, other):
    assert near(one, other) == near(other, one)
    assert one_step(f"{one:.4f}", f"{other:.4f}") == one_step(f"{other:.4f}", f"{one:.4f}")


@pytest.mark.parametrize(
    ("there", "here", "places"),
    [
        ({"a": 1}, {"a": 1.0}, []),
        ({"a": True}, {"a": 1}, ["a"]),
        ({"a": None}, {"a": 0}, ["a"]),
        ({"a": float("inf")}, {"a": 1.0}, ["a"]),
        ({"a": [1, {"b": 2}]}, {"a": [1, {"b": 3}]}, ["a[1].b"]),
        ({"a": [1]}, {"a": [1, 2]}, ["a"]),
        ({"a": 1}, {}, ["a"]),
        ({}, {"a": 1}, ["a"]),
        ("from 1.62 s", "from 1.63 s", [""]),
        ("from 162.55 s", "from 162.56 s", []),
        ("from 1 to 2", "from 1 to 3", [""]),
        ("4 ohm", "four ohm", [""]),
    ],
)
def test_leaves_that_differ_are_named_by_their_place(there, here, places):
    assert [leaf.place for leaf in leaves(there, here)] == places
