"""A session given out and read back by other programs: every figure, every sample, every strange name."""

import csv
import hashlib
import json
import shutil
from datetime import date
from math import sqrt
from pathlib import Path

import jsonschema
import numpy as np
import polars
import pytest
import soundfile

from wattproof import tasks
from wattproof.archive import Archive, Description
from wattproof.errors import ArchiveError, FileMissingError, SettingsError
from wattproof.measure import lay_on_bench
from wattproof.readers import Answers, open_recording
from wattproof.tasks import export_captures
from wattproof.testing import Recorder, Source, steady_tone, workshop_wiring

MAKER = '=1+1, "Reed" & Marten'
MODEL = "-Otter 4, zwölf"
BENCH = """
name = "Boathouse bench"
clock_u = 3e-5
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
scale_u = 0.002
calibrated = 2031-03-02
full_scale = 1.0
[[channels]]
input = 2
role = "load_current"
scale = 30.0
offset = 0.25
scale_u = 0.003
skew_s = 4e-6
[[channels]]
input = 3
role = "supply_voltage"
scale = 20.0
[[loads]]
name = "4 ohm"
resistance_ohm = 4.03
resistance_u_ohm = 0.008
[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.3
"""
AMPLIFIER = """
maker = '=1+1, "Reed" & Marten'
model = "-Otter 4, zwölf"
outputs = ["A", "B"]
[[ratings]]
quantity = "power"
value = 90
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
"""
READINGS = """output,load,kind,load_voltage_v,supply_voltage_v,thd_percent
A,4 ohm,steady,19.5,14.4,0.5
B,4 ohm,steady,18.5,,
"""
DAY = date(2031, 5, 14)


def tone(seconds=0.5):
    wiring = workshop_wiring("load_voltage", "load_current", "supply_voltage", "supply_current")
    return steady_tone(
        tone_hz=97.0, load_v_rms=20.0, resistance_ohm=4.03, source=Source(), wiring=wiring,
        recorder=Recorder(rate_hz=48000.0, seconds=seconds, bits=24),
    )  # fmt: skip


def write_captures(folder):
    samples = tone().waveform.samples.T
    soundfile.write(folder / "wide.wav", np.round(samples * 2**23).astype(np.int32) << 8, 48000, subtype="PCM_24")
    soundfile.write(folder / "short.flac", np.round(samples * 2**15).astype(np.int16), 48000, subtype="PCM_16")
    soundfile.write(folder / "float.wav", samples * 3.0 + 1e-9, 48000, subtype="FLOAT")
    times = np.arange(4800) / 48000.0
    lines = [f"{t!r},{v!r}" for t, v in zip(times.tolist(), (20.0 * samples[:4800, 0]).tolist(), strict=True)]
    (folder / "=scope, 1.csv").write_text("Time (s),CH1 (V)\n" + "\n".join(lines) + "\n", encoding="utf-8")
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")


@pytest.fixture(scope="module")
def day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("day")
    (folder / "bench.toml").write_text(BENCH, encoding="utf-8")
    (folder / "amplifier.toml").write_text(AMPLIFIER, encoding="utf-8")
    write_captures(folder)
    archive = folder / "archive"
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=archive, started=DAY, note="=x")
    four = tasks.Wishes(load="4 ohm", kind="steady")
    for name in ("wide.wav", "short.flac", "float.wav"):
        tasks.session_add(made.session, [folder / name], archive=archive, step='@home, "now"\nthen', wishes=four)
    scope = tasks.Wishes(kind="steady", channel=("load_voltage=1",), volts_per_unit=2.1)
    tasks.session_add(made.session, [folder / "=scope, 1.csv"], archive=archive, wishes=scope)
    tasks.session_add(made.session, [folder / "readings.csv"], archive=archive)
    store = Archive(archive)
    (folder / "torn.wav").write_bytes(b"RIFFtorn")
    store.add_capture(store.open_session(made.session), folder / "torn.wav", Description(void="the recorder stopped"))
    return archive, made.session


@pytest.fixture(scope="module")
def out(day, tmp_path_factory):
    archive, session = day
    folder = tmp_path_factory.mktemp("out") / "data"
    return tasks.export(session, archive=archive, out=folder), folder


def rows_of(folder, name):
    return polars.read_parquet(folder / f"{name}.parquet", glob=False).to_dicts()


def by_csv(folder, name):
    """The CSV as a stranger reads it: types from the index, one apostrophe off, an empty cell is nothing."""
    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    (table,) = [table for table in index["tables"] if table["name"] == name]
    types = {column["name"]: column["type"] for column in table["columns"]}
    read = {"text": lambda t: t.removeprefix("'"), "number": float, "integer": int, "truth": lambda t: t == "true"}
    with (folder / f"{name}.csv").open(encoding="utf-8", newline="") as file:
        return [{k: read[types[k]](v) if v else None for k, v in row.items()} for row in csv.DictReader(file)]


def sidecars(folder):
    found = [json.loads(path.read_text(encoding="utf-8")) for path in sorted(folder.glob("sessions/*/captures/*.json"))]
    return {one["original"]["file"]: one for one in found}


def test_csv_and_parquet_hold_the_archive_s_figures_to_the_last_bit(day, out):
    archive, session = day
    store = Archive(archive)
    results = store.read_figures(store.open_session(session)).results
    wanted = [(f.name, f.output, f.value, f.u, f.k95, *f.interval95, f.unit) for r in results for f in r.figures]
    assert len(wanted) > 40
    for rows in (rows_of(out[1], "figures"), by_csv(out[1], "figures")):
        keys = ("name", "output", "value", "u", "k95", "low95", "high95", "unit")
        assert [tuple(row[key] for key in keys) for row in rows] == wanted


@pytest.mark.parametrize("name", ["figures", "budgets", "curves", "verdicts", "captures", "notices"])
def test_both_forms_of_a_table_say_the_same(out, name):
    folder = out[1]
    assert by_csv(folder, name) == rows_of(folder, name)
    said = {table.name: table.rows for table in out[0].tables}
    assert len(rows_of(folder, name)) == said[name]


def test_budgets_add_up_to_the_figures_they_point_to(out):
    budgets = (
        polars.read_parquet(out[1] / "budgets.parquet")
        .group_by("session", "figure")
        .agg((polars.col("u") ** 2).sum().sqrt().alias("sum"), polars.col("unit").first().alias("budget_unit"))
    )
    both = polars.read_parquet(out[1] / "figures.parquet").join(budgets, on=["session", "figure"])
    assert len(both) > 20
    assert both["unit"].to_list() == both["budget_unit"].to_list()
    np.testing.assert_allclose(both["sum"], both["u"], rtol=1e-9)


def test_strange_names_survive_and_are_no_formulas(out):
    folder = out[1]
    for name in ("figures", "captures"):
        assert {(row["maker"], row["model"]) for row in rows_of(folder, name)} == {(MAKER, MODEL)}
    assert "=scope, 1.csv" in {row["file"] for row in rows_of(folder, "captures")}
    assert '@home, "now"\nthen' in {row["step"] for row in rows_of(folder, "captures")}
    for path in folder.glob("*.csv"):
        with path.open(encoding="utf-8", newline="") as file:
            cells = {cell for row in csv.reader(file) for cell in row}
        numbers = {cell for cell in cells if cell.startswith("-") and not cell.startswith("-O")}
        assert [cell for cell in cells - numbers if cell.startswith(("=", "+", "-", "@", "\t"))] == []
        assert all(float(cell) <= 0 for cell in numbers)


def test_every_json_is_what_its_schema_says(out):
    folder = out[1]
    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    named = {file["path"]: file["schema"] for file in index["files"] if file["path"].endswith(".json")}
    assert {"measure", "judge", "export-capture"} == set(named.values())
    for path, schema in {**named, "index.json": "export-index"}.items():
        form = json.loads(tasks.schema(schema))
        assert form["$id"] == f"urn:wattproof:schema:{schema}:1"
        check = jsonschema.Draft202012Validator(form)
        check.check_schema(form)
        made = json.loads((folder / path).read_text(encoding="utf-8"))
        check.validate(made)
        with pytest.raises(jsonschema.ValidationError):
            check.validate({**made, "colour": "grey"})
    jsonschema.validate(json.loads(out[0].model_dump_json()), json.loads(tasks.schema("export")))


@pytest.mark.parametrize("name", ["measure", "judge", "export", "export-index", "export-capture"])
def test_a_schema_describes_every_number_it_names(name):
    form = json.loads(tasks.schema(name))
    for made in (form, *form["$defs"].values()):
        assert [key for key, told in made.get("properties", {}).items() if not told.get("description")] == []


def test_the_index_lists_every_file_with_its_hash(out):
    folder = out[1]
    index = json.loads((folder / "index.json").read_text(encoding="utf-8"))
    there = {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()} - {"index.json"}
    assert {file["path"] for file in index["files"]} == there
    for file in index["files"]:
        data = (folder / file["path"]).read_bytes()
        assert (hashlib.sha256(data).hexdigest(), len(data)) == (file["sha256"], file["size_bytes"])
    for table in index["tables"]:
        assert (
            polars.read_parquet_schema(folder / f"{table['name']}.parquet").keys()
            == {column["name"]: 0 for column in table["columns"]}.keys()
        )
        inside = polars.read_parquet_metadata(folder / f"{table['name']}.parquet")["columns"]
        assert json.loads(inside) == table["columns"]


EXPECTED_FORMS = {
    "wide.wav": ("FLAC", "PCM_24", 2**23),
    "short.flac": ("FLAC", "PCM_16", 2**15),
    "float.wav": ("WAV", "FLOAT", None),
    "=scope, 1.csv": ("WAV", "DOUBLE", None),
}


@pytest.mark.parametrize("file", EXPECTED_FORMS)
def test_the_samples_are_those_of_the_original(day, out, file):
    told = sidecars(out[1])[file]
    written = told["samples_file"]
    assert (written["container"], written["coding"], written["full_scale_code"]) == EXPECTED_FORMS[file]
    (path,) = out[1].glob(f"sessions/*/captures/{written['file']}")
    samples, rate = soundfile.read(path, dtype="float64", always_2d=True)
    store = Archive(day[0])
    session = store.open_session(day[1])
    record = next(record for record in store.captures(session) if record.file == file)
    original = open_recording(store.original_path(session, record), Answers())
    np.testing.assert_array_equal(samples, original.read().samples.T)
    assert (rate, told["sample_rate_hz"], told["samples"]) == (48000, original.rate_hz, len(samples))
    assert told["original"]["sha256"] == record.sha256
    if written["full_scale_code"]:
        codes, _ = soundfile.read(path, dtype="int32", always_2d=True)
        shift = 2**31 // written["full_scale_code"]
        np.testing.assert_array_equal(codes // shift / written["full_scale_code"], samples)


def test_a_sound_flac_keeps_its_own_bytes(out):
    told = sidecars(out[1])["short.flac"]
    assert told["samples_file"]["sha256"] == told["original"]["sha256"]


def test_factor_and_offset_give_the_bench_s_volts_and_amperes(day, out):
    told = sidecars(out[1])["wide.wav"]
    (path,) = out[1].glob(f"sessions/*/captures/{told['samples_file']['file']}")
    samples, _ = soundfile.read(path, always_2d=True)
    roles = [(c["track"], c["role"], c["unit"], c["calibrated"]) for c in told["channels"]]
    assert roles == [
        (1, "load_voltage", "V", "2031-03-02"), (2, "load_current", "A", None), (3, "supply_voltage", "V", None),
        (4, None, None, None),
    ]  # fmt: skip
    store = Archive(day[0])
    session = store.open_session(day[1])
    original = open_recording(store.original_path(session, store.captures(session)[0]), Answers())
    record, _ = lay_on_bench(original, bench=session.bench)
    truth = tone().truth
    for channel, rms in zip(told["channels"], (truth.load_v_rms, None, None), strict=False):
        values = channel["offset"] + channel["factor"] * samples[:, channel["track"] - 1]
        track = record.track(channel["role"])
        np.testing.assert_allclose(values, record.values(track, original.read().samples), rtol=1e-15)
        if rms is not None:
            cycles = values[: round(48 * 48000 / 97)]
            assert sqrt(np.mean(cycles**2)) == pytest.approx(rms, rel=1e-4)
    assert told["channels"][1]["skew_s"] == 4e-6
    assert (told["load"], told["load_ohm"], told["clock_u"]) == ("4 ohm", 4.03, 3e-5)


def test_a_scale_said_on_the_command_line_is_the_factor(out):
    (channel,) = sidecars(out[1])["=scope, 1.csv"]["channels"]
    assert (channel["role"], channel["factor"], channel["unit"]) == ("load_voltage", 2.1, "V")


def test_typed_readings_are_kept_as_typed(out):
    told = sidecars(out[1])["readings.csv"]
    assert (told["kind"], told["samples"], told["samples_file"]["container"]) == ("readings", None, "CSV")
    (path,) = out[1].glob(f"sessions/*/captures/{told['samples_file']['file']}")
    assert path.read_text(encoding="utf-8") == READINGS
    typed = [row for row in rows_of(out[1], "figures") if row["kind"] == "readings"]
    assert {row["output"] for row in typed} >= {"A", "B"}
    assert len({row["capture"] for row in typed}) == 1


def test_what_cannot_be_decoded_is_kept_as_it_came_and_told(out):
    answer, folder = out
    told = sidecars(folder)["torn.wav"]
    assert told["void"] == "the recorder stopped"
    assert told["problem"]
    assert told["samples_file"]["sha256"] == hashlib.sha256(b"RIFFtorn").hexdigest()
    assert any("torn" in problem for problem in answer.problems)
    row = next(row for row in rows_of(folder, "captures") if row["file"] == "torn.wav")
    assert (row["void"], row["samples"]) == ("the recorder stopped", None)


def test_captures_lead_to_their_files(out):
    for row in rows_of(out[1], "captures"):
        assert (out[1] / row["samples_file"]).is_file()
        assert json.loads((out[1] / row["sidecar_file"]).read_text(encoding="utf-8"))["capture"] == row["capture"]


def test_verdicts_are_those_that_judge_gives(day, out):
    judged = tasks.judge(day[1], archive=day[0]).judged
    rows = rows_of(out[1], "verdicts")
    assert [row["verdict"] for row in rows] == [one.verdict for one in judged.judgements]
    assert len(rows) >= 1


def files(folder):
    return {path.relative_to(folder): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def test_equal_inputs_give_equal_bytes_and_an_earlier_export_is_replaced(day, out, tmp_path):
    archive, session = day
    wanted = files(out[1])
    for _ in range(2):
        tasks.export(session, archive=archive, out=tmp_path / "data")
        assert files(tmp_path / "data") == wanted
    assert [path.name for path in tmp_path.iterdir()] == ["data"]


def test_an_empty_session_gives_empty_tables(tmp_path):
    (tmp_path / "bench.toml").write_text(BENCH, encoding="utf-8")
    (tmp_path / "amplifier.toml").write_text('maker = "Sedge"\nmodel = "Wren 1"\n', encoding="utf-8")
    made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=tmp_path / "archive")
    found = tasks.export(made.session, archive=tmp_path / "archive", out=tmp_path / "data")
    assert {table.rows for table in found.tables} == {0}
    assert found.recordings == 0
    for table in found.tables:
        assert rows_of(tmp_path / "data", table.name) == []
        assert by_csv(tmp_path / "data", table.name) == []


def test_the_whole_archive_is_one_set_of_tables_and_a_broken_session_is_told(day, tmp_path, out):
    archive, session = tmp_path / "archive", day[1]
    store = Archive(day[0])
    shutil.copytree(day[0], archive)
    shutil.copytree(archive / session, archive / "2031-05-15-otter-4-beef")
    shutil.copytree(archive / session, archive / "2031-05-16-otter-4-dead")
    damaged = next((archive / "2031-05-16-otter-4-dead" / "captures").glob("*/original.flac"))
    damaged.write_bytes(b"x" + damaged.read_bytes()[1:])
    found = tasks.export(all=True, archive=archive, out=tmp_path / "data", tell=None)
    assert found.sessions == (session, "2031-05-15-otter-4-beef")
    assert any("2031-05-16-otter-4-dead is left out" in problem for problem in found.problems)
    assert sorted(path.name for path in (tmp_path / "data" / "sessions").iterdir()) == sorted(found.sessions)
    figures = polars.read_parquet(tmp_path / "data" / "figures.parquet")
    assert figures.n_unique(["session", "figure"]) == len(figures) == 2 * len(rows_of(out[1], "figures"))
    assert by_csv(tmp_path / "data", "figures") == figures.to_dicts()
    with pytest.raises(ArchiveError):
        tasks.export("dead", archive=archive, out=tmp_path / "one")
    assert not (tmp_path / "one").exists()
    assert store.verify(store.open_session(session)) == ()


def test_tables_only_leaves_the_recordings_out(day, tmp_path):
    folder = tmp_path / "data [1]*, =x"
    found = tasks.export(day[1], archive=day[0], out=folder, tables_only=True)
    assert found.recordings == 0
    assert {row["samples_file"] for row in rows_of(folder, "captures")} == {None}
    assert {path.suffix for path in files(folder)} == {".csv", ".parquet", ".json", ".txt"}
    assert next(row for row in rows_of(folder, "captures") if row["file"] == "wide.wav")["samples"] == 24000


@pytest.mark.parametrize("spoil", ["foreign", "changed", "other", "file", "broken"])
def test_what_is_not_ours_is_not_written_over(day, tmp_path, spoil):
    folder = tmp_path / "data"
    if spoil == "file":
        folder.write_text("mine")
    elif spoil in {"other", "broken"}:
        folder.mkdir()
        (folder / "index.json").write_text('{"holds": "recipes"}' if spoil == "other" else "{")
    else:
        tasks.export(day[1], archive=day[0], out=folder, tables_only=True)
        name = "my notes.txt" if spoil == "foreign" else "figures.csv"
        (folder / name).write_text("mine")
    before = {folder: folder.read_bytes()} if folder.is_file() else files(folder)
    with pytest.raises(SettingsError, match="written over") as caught:
        tasks.export(day[1], archive=day[0], out=folder, tables_only=True)
    assert before == ({folder: folder.read_bytes()} if folder.is_file() else files(folder))
    assert {"foreign": "my notes.txt", "changed": "figures.csv"}.get(spoil, "") in caught.value.why
    assert [path.name for path in tmp_path.iterdir()] == ["data"]


def test_nothing_half_written_is_left_by_a_disk_that_refuses(day, tmp_path, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise OSError(28, "No space left on device")

    folder = tmp_path / "data"
    tasks.export(day[1], archive=day[0], out=folder, tables_only=True)
    before = files(folder)
    monkeypatch.setattr(export_captures, "write_audio", refuse)
    with pytest.raises(FileMissingError, match="Cannot write"):
        tasks.export(day[1], archive=day[0], out=folder)
    assert files(folder) == before
    assert [path.name for path in tmp_path.iterdir()] == ["data"]


def test_nothing_is_written_into_the_archive_or_around_it(day):
    archive, session = day
    for folder in (archive / "data", archive, archive.parent):
        with pytest.raises(SettingsError, match="archive"):
            tasks.export(session, archive=archive, out=folder)


def test_one_or_all_must_be_said(day, tmp_path):
    with pytest.raises(SettingsError, match="What is to be exported"):
        tasks.export(archive=day[0], out=tmp_path / "data")
    with pytest.raises(SettingsError, match="One session, or all"):
        tasks.export(day[1], all=True, archive=day[0], out=tmp_path / "data")
    with pytest.raises(ArchiveError, match="no session"):
        tasks.export(all=True, archive=tmp_path / "nowhere", out=tmp_path / "data")
    with pytest.raises(FileMissingError):
        tasks.export(day[1], archive=day[0], out=tmp_path / "no" / "data")


def test_the_answer_says_what_was_written(out):
    text = out[0].text()
    assert str(out[1]) in text
    for table in out[0].tables:
        assert table.name in text
    assert "torn" in text


@pytest.mark.parametrize("name", [".", "..", "inner/.."])
def test_no_way_of_writing_a_folder_s_name_gets_past_the_refusal(day, tmp_path, monkeypatch, name):
    (tmp_path / "here" / "inner").mkdir(parents=True)
    (tmp_path / "here" / "mine.txt").write_text("mine")
    monkeypatch.chdir(tmp_path / "here")
    with pytest.raises(SettingsError, match="written over"):
        tasks.export(day[1], archive=day[0], out=Path(name), tables_only=True)
    assert (tmp_path / "here" / "mine.txt").read_text() == "mine"
