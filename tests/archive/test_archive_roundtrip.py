"""What goes into the archive comes out of it, byte for byte and figure for figure."""

import errno
import hashlib
import json
import os
import time
from datetime import UTC, datetime, timedelta, timezone
from itertools import count
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from wattproof.amplifier import Amplifier
from wattproof.archive import Archive, Description
from wattproof.bench import Bench, Load
from wattproof.errors import ArchiveError, FileMissingError, Notice
from wattproof.measure import CapturedChannel, CaptureResult, CurvePoint, Figure, Trace, Views
from wattproof.quantity import BudgetLine

STARTED = datetime(2031, 5, 14, 9, 30, tzinfo=timezone(timedelta(hours=1)))
AMPLIFIER = Amplifier(maker="Saltmarsh & Daughter", model="Bittern 1")
BENCH = Bench(name="Boathouse bench", loads=(Load(name="4 ohm", resistance_ohm=4.03),))
AMPLIFIER_TOML = b"\xef\xbb\xbfmaker = 'Saltmarsh & Daughter'\r\nmodel = 'Bittern 1'"
BENCH_TOML = b"name = 'Boathouse bench'\r\n\r\n# 4.03 \xce\xa9\n"


@pytest.fixture
def archive(tmp_path):
    minutes = count(1)
    return Archive(tmp_path / "archive", clock=lambda: STARTED + timedelta(minutes=next(minutes)))


@pytest.fixture
def session(archive):
    return begin(archive)


def begin(archive, **changed):
    given_ = {
        "amplifier": AMPLIFIER,
        "bench": BENCH,
        "amplifier_toml": AMPLIFIER_TOML,
        "bench_toml": BENCH_TOML,
        "started": STARTED,
    }
    return archive.new_session(**{**given_, **changed})


def make_file(folder: Path, name: str, data: bytes) -> Path:
    folder.mkdir(exist_ok=True)
    path = folder / name
    path.write_bytes(data)
    return path


numbers = st.floats(allow_nan=False, allow_infinity=False)
words = st.text(st.characters(exclude_categories=["Cs"]), max_size=12)
models = st.one_of(st.sampled_from(["выпь", "...", "../..", "CON", "a" * 300]), st.text("aß'/\\:*?Ω鷺 ", min_size=1))
outputs = st.one_of(st.none(), st.sampled_from(["A", "B", "bridged Ω"]))
budget = st.lists(
    st.builds(
        BudgetLine,
        source=words,
        label=words,
        u=st.floats(0, 1e9),
        sign=st.sampled_from([-1, 1]),
        type=st.sampled_from(["A", "B"]),
        dof=st.one_of(st.none(), st.floats(0.5, 1e9)),
    ),
    max_size=3,
).map(tuple)
conditions = st.dictionaries(
    st.sampled_from(["frequency_hz", "load_ohm", "bandwidth_hz", "basis", "cycles"]),
    st.one_of(numbers, st.integers(-(10**9), 10**9), words, st.tuples(numbers, numbers)),
)
figure_ = st.builds(
    Figure,
    name=st.sampled_from(["load_power", "thd_n"]),
    value=numbers,
    u=st.floats(0, 1e9),
    unit=words,
    k95=st.floats(1, 13),
    budget=budget,
    output=outputs,
    conditions=conditions,
    origin=words,
)
trace = st.builds(
    lambda name, points: Trace(
        name=name, x_label="t", x_unit="s", y_label="v", y_unit="V", x=tuple(points), y=tuple(points)
    ),
    words,
    st.lists(numbers, max_size=4),
)
result = st.builds(
    CaptureResult,
    file=words,
    kind=st.sampled_from(["steady", "ramp", "readings"]),
    sample_rate_hz=st.one_of(st.none(), st.floats(1, 1e9)),
    channels=st.lists(
        st.builds(CapturedChannel, role=words, output=outputs, name=words, peak=numbers, clipped=st.integers(0, 9)),
        max_size=2,
    ).map(tuple),
    figures=st.lists(figure_, max_size=3).map(tuple),
    curve=st.lists(st.builds(CurvePoint, t_s=numbers, load_power=st.one_of(st.none(), numbers)), max_size=3).map(tuple),
    warnings=st.lists(
        st.builds(Notice, code=words, message=words, hint=words, numbers=st.dictionaries(words, numbers, max_size=2)),
        max_size=2,
    ).map(tuple),
    views=st.builds(Views, waveform=st.lists(trace, max_size=2).map(tuple)),
)


@settings(max_examples=40, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(results=st.lists(result, max_size=3))
def test_figures_come_back_as_they_went_in(tmp_path_factory, results):
    archive = Archive(tmp_path_factory.mktemp("archive"))
    session = begin(archive)
    archive.add_capture(session, make_file(session.folder.parent / "in", "ramp.wav", b"ramp"), Description())
    archive.write_figures(session, {1: results}, settings={"limits": [0.01]})
    read = archive.read_figures(session, with_views=True)
    assert read.results == tuple(results)
    assert read.captures[0].sha256 == hashlib.sha256(b"ramp").hexdigest()
    assert archive.read_figures(session).results == tuple(r.model_copy(update={"views": Views()}) for r in results)
    assert archive.verify(session) == ()


@settings(max_examples=30, deadline=None)
@given(data=st.binary(max_size=300), model=models, name=words, step=st.one_of(st.none(), words), note=words)
def test_an_original_is_kept_byte_for_byte_whatever_it_is_called(tmp_path_factory, data, model, name, step, note):
    archive = Archive(tmp_path_factory.mktemp("archive"))
    session = begin(archive, amplifier=AMPLIFIER.model_copy(update={"model": model}), note=note)
    source = make_file(session.folder.parent / "in", "x.CSV", data)
    description = Description(step=step, kind="ramp", load=name, reader="csv", answers={"rate_hz": 96e3}, note=note)
    record = archive.add_capture(session, source, description)
    again = Archive(archive.root).open_session(session.id)
    assert again == session
    assert archive.captures(again) == (record,)
    assert record.description == description
    kept = archive.original_path(again, record)
    assert kept.read_bytes() == data
    assert kept.name == "original.csv"
    assert kept.resolve().is_relative_to(session.folder / "captures" / record.folder)
    assert record.sha256 == hashlib.sha256(data).hexdigest()
    assert session.folder.parent == archive.root


def test_settings_files_are_kept_byte_for_byte(archive, session):
    assert (session.folder / "amplifier.toml").read_bytes() == AMPLIFIER_TOML
    assert (session.folder / "bench.toml").read_bytes() == BENCH_TOML
    assert session.id.startswith("2031-05-14-bittern-1-")
    assert archive.open_session(session.id).record.started == STARTED


def test_a_session_without_settings_files_has_none(archive):
    session = begin(archive, amplifier_toml=None, bench_toml=None)
    assert {p.name for p in session.folder.iterdir()} == {"session.json", "captures"}
    assert archive.verify(session) == ()


def test_a_start_without_an_offset_is_local_time(archive):
    naive = datetime(2031, 1, 2, 3, 4)  # noqa: DTZ001
    assert begin(archive, started=naive).record.started.timestamp() == naive.timestamp()


def test_sessions_of_one_name_never_share_a_folder(archive, monkeypatch):
    tags = iter(["aaaa", "aaaa", "aaaa", "bbbb"])
    monkeypatch.setattr("secrets.token_hex", lambda n: next(tags) if n == 2 else "0" * 8)
    first, second = begin(archive), begin(archive, note="second")
    assert (first.id[-4:], second.id[-4:]) == ("aaaa", "bbbb")
    assert archive.open_session(first.id).record.note == ""


def test_measuring_again_gives_the_same_bytes_and_a_second_line_of_history(archive, session, tmp_path):
    archive.add_capture(session, make_file(tmp_path / "in", "a.wav", b"1"), Description())
    one = CaptureResult(
        file="a.wav",
        kind="steady",
        figures=(Figure(name="load_power", value=100.1, u=0.2, unit="W", origin="a.wav 0-1 s"),),
    )
    before = {}
    for _ in range(2):
        archive.write_figures(session, {1: [one]})
        data = {p.name: p.read_bytes() for p in session.folder.glob("*.json")}
        assert data == (before or data)
        before = data
    assert [event.did for event in archive.history(session)] == ["measured", "measured"]


def test_history_has_a_line_for_each_measurement_at_its_time(archive, tmp_path):
    times = iter(datetime(2031, 5, 14, hour, tzinfo=UTC) for hour in range(9, 20))
    archive = Archive(archive.root, clock=lambda: next(times))
    session = begin(archive)
    archive.write_figures(session, {})
    archive.write_figures(session, {}, settings={"limits": [0.1]})
    events = archive.history(session)
    assert [event.at.hour for event in events] == [9, 10]
    stored = hashlib.sha256((session.folder / "figures.json").read_bytes()).hexdigest()
    assert events[1].details["figures_sha256"] == stored
    assert len(list(session.folder.glob("views-*.json"))) == 1


def test_figures_say_what_they_were_made_from(archive, session, tmp_path):
    archive.add_capture(session, make_file(tmp_path / "in", "a.wav", b"1"), Description(load="4 ohm"))
    archive.write_figures(session, {1: []}, settings={"limits": [0.01]})
    plain = json.loads((session.folder / "figures.json").read_text(encoding="utf-8"))
    assert plain["inputs"]["bench.toml"] == hashlib.sha256(BENCH_TOML).hexdigest()
    assert plain["settings"] == {"limits": [0.01]}
    assert plain["captures"][0]["sha256"] == hashlib.sha256(b"1").hexdigest()
    assert plain["captures"][0]["description"]["load"] == "4 ohm"


def test_added_or_redescribed_captures_make_figures_outdated(archive, session, tmp_path):
    archive.add_capture(session, make_file(tmp_path / "in", "a.wav", b"1"), Description(load="4 ohm"))
    stored = archive.write_figures(session, {1: []})
    assert archive.outdated(session, stored) == ()
    archive.describe_capture(session, 1, Description(load="2 ohm"))
    archive.add_capture(session, make_file(tmp_path / "in", "b.wav", b"2"), Description())
    messages = [notice.message for notice in archive.outdated(session, stored)]
    assert len(messages) == 2
    assert "Capture 1 was described anew" in messages[0]
    assert "Capture 2 has no figures" in messages[1]
    described = archive.history(session)[-1]
    assert described.details["before"]["load"] == "4 ohm"


def test_the_same_bytes_again_are_the_same_capture(archive, session, tmp_path):
    source = make_file(tmp_path / "in", "a.wav", b"1")
    first = archive.add_capture(session, source, Description(kind="ramp"))
    renamed = make_file(tmp_path / "in", "b.wav", b"1")
    assert archive.add_capture(session, renamed, Description(kind="ramp")) == first
    with pytest.raises(ArchiveError, match="holds these very bytes") as caught:
        archive.add_capture(session, renamed, Description(kind="steady"))
    assert "kind: 'ramp' there, 'steady' now" in caught.value.why
    # the hint, followed: change the description of capture 1
    assert "change the description of capture 1" in caught.value.hint
    archive.describe_capture(session, 1, Description(kind="steady"))
    assert archive.add_capture(session, renamed, Description(kind="steady")).number == 1
    assert [entry.name for entry in (session.folder / "captures").iterdir()] == [first.folder]


def test_captures_are_numbered_in_order_and_named_by_what_they_are(archive, session, tmp_path):
    for n, description in enumerate(
        [Description(step="Ramp, 4 Ω"), Description(kind="ramp", load="4 ohm"), Description(), Description(step="CON")]
    ):
        archive.add_capture(session, make_file(tmp_path / "in", f"day one {n}.wav", b"%d" % n), description)
    folders = [record.folder for record in archive.captures(session)]
    assert folders == ["01-ramp-4", "02-ramp-4-ohm", "03-day-one-2", "04-the-con"]


def test_a_hundred_captures_stay_in_order(archive, session, tmp_path):
    for n in (98, 99):
        archive.add_capture(session, make_file(tmp_path / "in", f"{n}.wav", b"%d" % n), Description())
        newest = archive.captures(session)[-1].folder
        (session.folder / "captures" / newest).rename(session.folder / "captures" / f"{n}-renamed")
    record = archive.add_capture(session, make_file(tmp_path / "in", "a.wav", b"1"), Description())
    assert record.folder == "100-a"
    assert [capture.number for capture in archive.captures(session)] == [98, 99, 100]


@pytest.mark.parametrize("name", ["nothing.wav", "."])
def test_what_is_no_file_is_not_added(archive, session, tmp_path, name):
    with pytest.raises(FileMissingError):
        archive.add_capture(session, tmp_path / name, Description())
    assert list((session.folder / "captures").iterdir()) == []


def test_a_pipe_is_not_waited_for(archive, session, tmp_path):
    if not hasattr(os, "mkfifo"):
        pytest.skip("needs a system with named pipes")
    os.mkfifo(tmp_path / "pipe.wav")
    with pytest.raises(FileMissingError):
        archive.add_capture(session, tmp_path / "pipe.wav", Description())


def test_a_source_that_fails_half_way_is_told_from_a_full_archive(archive, session, tmp_path, monkeypatch):
    source = make_file(tmp_path / "in", "a.wav", b"1" * 100)
    genuine = Path.open

    def breaking(path, *args, **kwargs):
        file = genuine(path, *args, **kwargs)
        if path == source:
            file.close()
            file = _Breaking()
        return file

    monkeypatch.setattr(Path, "open", breaking)
    with pytest.raises(FileMissingError, match=r"Cannot read .*a\.wav") as caught:
        archive.add_capture(session, source, Description())
    assert "Input/output error" in caught.value.why
    assert list((session.folder / "captures").iterdir()) == []


class _Breaking:
    """A file on a stick that is pulled out after the first block."""

    def __init__(self):
        self.blocks = iter([b"1" * 50])

    def __enter__(self):
        return self

    def __exit__(self, *_):
        pass

    def read(self, size):
        block = next(self.blocks, None)
        if block is None:
            raise OSError(errno.EIO, "Input/output error")
        return block


@pytest.mark.parametrize("value", [float("nan"), float("inf")])
def test_a_figure_that_is_no_number_is_not_stored(archive, session, tmp_path, value):
    archive.add_capture(session, make_file(tmp_path / "in", "a.wav", b"1"), Description())
    bad = CaptureResult(file="a.wav", kind="steady", figures=(Figure(name="x", value=value, u=0, unit="V", origin=""),))
    with pytest.raises(ArchiveError, match="Cannot store"):
        archive.write_figures(session, {1: [bad]})
    assert archive.read_figures(session) is None


def test_figures_of_an_unknown_capture_are_refused(archive, session):
    with pytest.raises(ArchiveError, match="no capture 7"):
        archive.write_figures(session, {7: []})


def test_adding_a_gigabyte_would_not_hold_it_in_memory(archive, session, tmp_path):
    import tracemalloc

    source = make_file(tmp_path / "in", "long.wav", b"\0" * (24 << 20))
    tracemalloc.start()
    started = time.perf_counter()
    archive.add_capture(session, source, Description())
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 4 << 20, f"{peak / 1e6:.1f} MB at the peak, {time.perf_counter() - started:.2f} s"
