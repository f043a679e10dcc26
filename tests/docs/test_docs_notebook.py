"""The worked notebook runs from its first cell to its last on an exported session, and finds what was put in."""

import json
import shutil
from pathlib import Path

import pytest
import soundfile

from wattproof import tasks
from wattproof.report import FORMS
from wattproof.testing import Recorder, Source, clipped_ramp, steady_tone, workshop_wiring

DOCS = Path(__file__).parents[2] / "docs"
PATH = DOCS / "notebooks" / "one-session.ipynb"
NOTEBOOK = json.loads(PATH.read_text(encoding="utf-8"))
ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")
WIRING = tuple(
    channel.model_copy(update={"skew_s": 4.2e-6, "offset": -0.015}) if channel.role == "load_current" else channel
    for channel in workshop_wiring(*ROLES, scale_u=0.002)
)
STEADY = steady_tone(
    tone_hz=47.0, load_v_rms=20.0, resistance_ohm=4.03, inductance_h=1e-4, source=Source(), wiring=WIRING,
    recorder=Recorder(rate_hz=48000.0, seconds=1.0, bits=24, noise_rms={"load_voltage": 2e-4}),
)  # fmt: skip
RAMP = clipped_ramp(limit_v=30.0, resistance_ohm=4.03, wiring=WIRING, recorder=Recorder(seconds=1.0))


def cells(kind):
    return ["".join(cell["source"]) for cell in NOTEBOOK["cells"] if cell["cell_type"] == kind]


def run_all(sources):
    """Carry the cells out in order in one namespace, as a kernel does."""
    names = {"__name__": "__main__"}
    for number, source in enumerate(sources, 1):
        exec(compile(source, f"{PATH.name}, code cell {number}", "exec"), names)
    return names


def bench_toml():
    lines = ['name = "Boathouse bench"']
    for channel in WIRING:
        lines += ["[[channels]]", f"input = {channel.input}", f'role = "{channel.role}"', f"scale = {channel.scale}"]
        lines += [f"offset = {channel.offset}", f"scale_u = {channel.scale_u}", f"skew_s = {channel.skew_s!r}"]
    return "\n".join([*lines, "[[loads]]", 'name = "4 ohm"', "resistance_ohm = 4.03", "resistance_u_ohm = 0.008", ""])


@pytest.fixture(scope="module")
def exported(tmp_path_factory):
    """A folder as the notebook asks for it, of a session whose true power is known."""
    home = tmp_path_factory.mktemp("notebook")
    (home / "amplifier.toml").write_text('maker = "Saltmarsh & Daughter"\nmodel = "Bittern 1"\n', encoding="utf-8")
    (home / "bench.toml").write_text(bench_toml(), encoding="utf-8")
    archive, wishes = home / "archive", tasks.Wishes(load="4 ohm")
    tasks.session_new(home / "amplifier.toml", home / "bench.toml", archive=archive)
    for name, made in {"steady.wav": STEADY, "ramp.wav": RAMP}.items():
        soundfile.write(home / name, made.waveform.samples.T, round(made.waveform.rate_hz), subtype="FLOAT")
        tasks.session_add("bittern", [home / name], archive=archive, wishes=wishes)
    tasks.export("bittern", archive=archive, out=home / "bittern-data")
    return home


@pytest.fixture
def ran(exported, monkeypatch, capsys):
    monkeypatch.chdir(exported)
    names = run_all(cells("code"))
    return names, capsys.readouterr().out


def test_the_power_by_hand_is_the_published_one_and_the_one_put_in(ran):
    names, printed = ran
    published, by_hand_w = names["published"], names["by_hand_w"]
    assert published["low95"] < by_hand_w < published["high95"]
    # both use the same calibration: what is left is how a mean over cycles differs from a fit
    assert by_hand_w == pytest.approx(published["value"], rel=2e-5)
    assert by_hand_w == pytest.approx(STEADY.truth.load_power_w, rel=2e-5)
    assert f"{by_hand_w:.3f} W" in printed


def test_it_tells_the_units_the_curve_and_the_budget(ran):
    names, printed = ran
    assert "SI unit" in printed
    assert names["ramp"]["thd_n"].max() > 0.1
    assert printed.count("distortion under") == 4
    assert "scale of load_current A" in printed


def test_a_spoilt_calibration_would_be_seen(exported, tmp_path, monkeypatch):
    """The comparison can fail: with a factor 1 % off, the power by hand leaves the interval."""
    shutil.copytree(exported / "bittern-data", tmp_path / "bittern-data")
    (path,) = tmp_path.glob("bittern-data/sessions/*/captures/01-*.json")
    told = json.loads(path.read_text(encoding="utf-8"))
    told["channels"][0]["factor"] *= 1.01
    path.write_text(json.dumps(told), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(AssertionError):
        run_all(cells("code"))


def test_it_is_kept_without_outputs_and_as_written():
    assert PATH.read_text(encoding="utf-8") == json.dumps(NOTEBOOK, indent=1, ensure_ascii=False) + "\n"
    assert (NOTEBOOK["nbformat"], NOTEBOOK["nbformat_minor"]) == (4, 5)
    names = [cell["id"] for cell in NOTEBOOK["cells"]]
    assert len(set(names)) == len(names)
    for cell in NOTEBOOK["cells"]:
        assert set(cell) >= {"cell_type", "id", "metadata", "source"}
        if cell["cell_type"] == "code":
            assert (cell["outputs"], cell["execution_count"]) == ([], None)


def test_pages_lead_to_it():
    assert "../notebooks/one-session.ipynb" in (DOCS / "howto" / "data-out.md").read_text(encoding="utf-8")


def test_the_page_s_dictionary_of_columns_is_the_tables_own():
    page = (DOCS / "howto" / "data-out.md").read_text(encoding="utf-8")
    sections = dict(part.split("\n", 1) for part in page.split("\n### ")[1:])
    assert list(sections) == [form.name for form in FORMS]
    for form in FORMS:
        rows = [line.split(" | ") for line in sections[form.name].splitlines() if line.startswith("| `")]
        told = [(row[0].strip("| `"), row[1], row[2].replace("`", ""), row[3].removesuffix(" |")) for row in rows]
        assert told == [
            (c.name, c.type, c.unit or (f"as in {c.unit_in}" if c.unit_in else ""), c.about) for c in form.columns
        ]
        assert f"A row is {form.row}." in sections[form.name]
