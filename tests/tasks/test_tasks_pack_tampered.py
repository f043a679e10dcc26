"""What a forger can do to a pack, each found and named: as it is, and with every hash made to fit again."""

import importlib.util
from pathlib import Path

import pytest

from wattproof import tasks
from wattproof.archive import open_pack

_spec = importlib.util.spec_from_file_location("tasks_packs", Path(__file__).with_name("packs.py"))
packs = importlib.util.module_from_spec(_spec)
_spec.loader.exec_module(packs)


@pytest.fixture(scope="module")
def genuine(tmp_path_factory):
    folder = tmp_path_factory.mktemp("boathouse")
    root, name = packs.make_session(folder, ramps=False)
    return tasks.pack(name, archive=root, out=folder / "genuine.zip").file


@pytest.fixture
def forged(genuine):
    return packs.Forged.of(genuine)


def figures_of(forged, number=1):
    """Give the document of the figures and the first result of a capture."""
    document = forged.document("figures.json")
    return document, document["captures"][number - 1]["results"][0]


def figure(result, name):
    return next(figure for figure in result["figures"] if figure["name"] == name)


def flipped(data, at):
    return data[:at] + bytes([data[at] ^ 0x40]) + data[at + 1 :]


def with_figure(change, name="load_power", number=1):
    """Make a forgery that changes one figure of a capture."""

    def forge(forged):
        document, result = figures_of(forged, number)
        change(figure(result, name), result)
        forged.put("figures.json", document)

    return forge


def set_to(key, value):
    return lambda one, _result: one.__setitem__(key, value(one[key]))


def byte_in(end, at):
    return lambda forged: forged.files.__setitem__(forged.name(end), flipped(forged.files[forged.name(end)], at))


def text_in(end, old, new):
    def forge(forged):
        data = forged.files[forged.name(end)].decode()
        assert old in data
        forged.files[forged.name(end)] = data.replace(old, new, 1).encode()

    return forge


def both(*forgeries):
    def forge(forged):
        for one in forgeries:
            one(forged)

    return forge


def in_session(*path, value):
    def forge(forged):
        document = place = forged.document("session.json")
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value
        forged.put("session.json", document)

    return forge


def described(number, key, value):
    """Change what a capture was taken for, in its own document; who rehashes changes it in the figures as well."""

    def forge(forged):
        (name,) = [name for name in forged.files if f"/{number:02d}-" in name and name.endswith("capture.json")]
        document = packs.json.loads(forged.files[name])
        document["description"][key] = value
        forged.files[name] = packs.encoded(document)

    return forge


def wished(number, **wishes):
    return described(number, "answers", {"wishes": wishes})


def dropped(*, with_figures):
    def forge(forged):
        for name in [name for name in forged.files if "/02-" in name]:
            del forged.files[name]
        if with_figures:
            document = forged.document("figures.json")
            document["captures"] = [one for one in document["captures"] if one["number"] != 2]
            forged.put("figures.json", document)

    return forge


def swapped(forged):
    names = [name for name in forged.files if "/01-" in name or "/02-" in name]
    moved = {}
    for name in names:
        other = name.replace("01-steady", "02-steady") if "/01-" in name else name.replace("02-louder", "01-louder")
        moved[other] = forged.files.pop(name)
    forged.files |= moved


def renumbered(forged):
    for name in [name for name in forged.files if "/02-" in name]:
        forged.files[name.replace("/02-", "/06-")] = forged.files.pop(name)


def verdict(change):
    def forge(forged):
        document = forged.document("verdicts.json")
        change(document["judged"])
        forged.put("verdicts.json", document)

    return forge


def without(end):
    return lambda forged: forged.files.pop(forged.name(end))


SCALE, SCALE_U = 'role = "load_voltage"\nscale = 42.0', "scale = 42.0\nscale_u = 0.002"
LOUDER = text_in("bench.toml", SCALE, SCALE.replace("42.0", "43.0"))
DOUBT = text_in("bench.toml", SCALE_U, SCALE_U.replace("0.002", "0.001"))
RATED = text_in("amplifier.toml", "value = 90", "value = 80")

FIGURES = {
    # name: (which figure, what is done, what it is caught by); all done at once where every hash is made to fit
    "its value": ("load_power", set_to("value", lambda v: v * 1.01), "value:"),
    "its u": ("apparent_power", set_to("u", lambda u: u / 2), "u:"),
    "its factor to 95 %": ("thd_n", set_to("k95", lambda k: k / 2), "95 % half width:"),
    "its unit": ("supply_power", set_to("unit", lambda _unit: "kW"), "unit: kW -> W"),
    "its origin": ("thd_f", set_to("origin", lambda _o: "steady.wav 9-10 s"), "origin: steady.wav 9-10 s"),
    "its degrees of freedom": ("noise_rms", set_to("dof", lambda _dof: 3.0), "dof: 3.0"),
    "its output": ("heat", set_to("output", lambda _o: "B"), "state: added"),
    "its name": ("sinad", set_to("name", lambda _n: "snr"), "state: left out"),
    "its budget": ("load_voltage_rms", lambda one, _r: one["budget"].pop(0), "budget: bench Boathouse bench"),
    "a word of its budget": (
        "load_current_rms",
        lambda one, _r: one["budget"][0].__setitem__("label", "nothing much"),
        "budget: bench Boathouse bench",
    ),
    "a condition": (
        "load_power_v2r",
        lambda one, _r: one["conditions"].__setitem__("frequency_hz", 47.0),
        "conditions.frequency_hz: 47.0",
    ),
    "a condition more": (
        "efficiency",
        lambda one, _r: one["conditions"].__setitem__("seconds", 60.0),
        "conditions.seconds: 60.0 -> None",
    ),
    "a condition less": (
        "power_factor",
        lambda one, _r: one["conditions"].pop("load_ohm"),
        "conditions.load_ohm: None ->",
    ),
    "itself, deleted": ("crest_factor", lambda one, result: result["figures"].remove(one), "state: left out"),
    "itself, twice": ("load_impedance", lambda one, result: result["figures"].append(one), "state: added"),
}

TAMPERED = {
    # name: (what is done, what a rehashed pack is caught by)
    "a byte of a WAV": (byte_in("original.wav", 2001), ("figure", "1", "load_voltage_rms")),
    "a byte of a FLAC": (byte_in("original.flac", -900), ("finding", "02-louder-4-ohm/original.flac", "damaged")),
    "a digit of typed readings": (text_in("original.csv", "20.01", "21.01"), ("figure", "3", "load_voltage_rms")),
    "how long a capture is": (
        with_figure(lambda _one, result: result.__setitem__("samples", 480_000)),
        ("finding", "figures.json", "capture 1[0].samples: 480000 published"),
    ),
    "clipping denied": (
        with_figure(lambda _one, result: result["channels"][0].__setitem__("peak", 1.0)),
        ("finding", "figures.json", "channels[0].peak: 1.0 published"),
    ),
    "a notice deleted": (
        with_figure(lambda _one, result: result["warnings"].clear(), name="load_power_v2r", number=3),
        ("finding", "figures.json", "capture 3[0].warnings"),
    ),
    "a calibration in bench.toml": (LOUDER, ("finding", "bench.toml", "channels[0].scale: 43.0 here, 42.0 in")),
    "a calibration in session.json": (
        in_session("bench", "channels", 0, "scale", value=43.0),
        ("finding", "bench.toml", "channels[0].scale: 42.0 here, 43.0 in"),
    ),
    "a calibration in both": (
        both(LOUDER, in_session("bench", "channels", 0, "scale", value=43.0)),
        ("figure", "1", "load_voltage_rms", "value"),
    ),
    "a calibration's doubt in both": (
        both(DOUBT, in_session("bench", "channels", 0, "scale_u", value=0.001)),
        ("figure", "1", "load_voltage_rms", "u"),
    ),
    "a load in both": (
        both(
            text_in("bench.toml", "resistance_ohm = 4.0", "resistance_ohm = 3.9"),
            in_session("bench", "loads", 0, "resistance_ohm", value=3.9),
        ),
        ("figure", "1", "load_power_v2r"),
    ),
    "the accuracy of a meter in both": (
        both(
            text_in("bench.toml", "percent_of_reading = 0.8", "percent_of_reading = 0.1"),
            in_session("bench", "meters", 0, "percent_of_reading", value=0.1),
        ),
        ("figure", "3", "load_voltage_rms", "u"),
    ),
    "a rating in amplifier.toml": (RATED, ("finding", "amplifier.toml", "ratings[0].value: 80.0 here, 90.0 in")),
    "a rating in both": (
        both(RATED, in_session("amplifier", "ratings", 0, "value", value=80.0)),
        ("verdict", "power 90 W", "claimed: 90.0 -> 80.0"),
    ),
    "the amplifier's name": (
        in_session("amplifier", "model", value="Bittern 2"),
        ("finding", "session.json", "a session of that day and model"),
    ),
    "the day": (
        in_session("started", value="2031-05-15T00:00:00Z"),
        ("finding", "session.json", "a session of that day and model"),
    ),
    "the rule": (
        verdict(lambda judged: judged["rule"].__setitem__("confidence", 0.6)),
        ("finding", "verdicts.json", "rule.confidence: 0.6 here"),
    ),
    "a verdict": (
        verdict(lambda judged: judged["judgements"][0].__setitem__("verdict", "meets")),
        ("verdict", "power 90 W", "verdict"),
    ),
    "what a verdict is of": (
        verdict(lambda judged: judged["judgements"][0]["measured"].__setitem__("value", 95.0)),
        ("verdict", "power 90 W", "measured value"),
    ),
    "a verdict left out": (
        verdict(lambda judged: judged["judgements"].pop(0)),
        ("verdict", "power 90 W", "state: left out"),
    ),
    "the verdicts left out": (without("verdicts.json"), ("finding", "verdicts.json", "missing")),
    "the figures left out": (None, ("finding", "figures.json", "missing")),
    "captures swapped": (swapped, ("figure", "1", "load_power", "value")),
    "a capture dropped": (dropped(with_figures=False), ("finding", "figures.json", "no such capture")),
    "a capture dropped with its figures": (dropped(with_figures=True), ("finding", "-measured-", "captures.02: ")),
    "a capture of another number": (renumbered, ("finding", "figures.json", "no place for capture 6")),
    "a capture voided": (
        described(1, "void", "It does not suit us."),
        ("figure", "1", "load_power", "state: added"),
    ),
    "a capture taken for another load": (
        wished(1, load="2 ohm"),
        ("figure 1 load_voltage_rms", "conditions.load_ohm: 4.0 -> 2.0"),
    ),
    "a capture measured with another band": (wished(1, load="4 ohm", high_hz=2500.0), ("figure", "1", "thd_n")),
    "the version that measured": (
        lambda forged: forged.put("figures.json", {**forged.document("figures.json"), "wattproof": "9.9.9"}),
        ("finding", "figures.json", '"9.9.9"'),
    ),
}


def without_figures(forged):
    forged.rehash(manifest=False)
    del forged.files["session/figures.json"]


TAMPERED["the figures left out"] = (without_figures, TAMPERED["the figures left out"][1])


TOGETHER = (
    "a digit of typed readings",
    "how long a capture is",
    "clipping denied",
    "a calibration in bench.toml",
    "a rating in amplifier.toml",
    "the rule",
    "what a verdict is of",
    "the version that measured",
)
FITS = "a capture dropped with its figures"
"""Nothing in such a pack contradicts anything once history and verdicts are made to fit as well: the hashes find it."""


def told(found):
    """Write every finding, figure and verdict that is not as published, for the tests to look into."""
    lines = [f"finding {one.where} {one.what} {one.detail}" for one in found.findings]
    for kind, some in (("figure", found.figures), ("verdict", found.verdicts)):
        for one in some:
            if one.state not in {"same", "near"}:
                who = f"{one.capture} {one.name}" if kind == "figure" else one.words
                fields = " ".join(f"{field.field}: {field.published} -> {field.again}" for field in one.fields)
                lines.append(f"{kind} {who} state: {one.state} {fields}")
    return lines


def test_there_are_thirty_kinds():
    assert len(TAMPERED) + len(FIGURES) >= 40


def test_the_genuine_pack_is_reproduced(genuine):
    found = tasks.verify(genuine)
    assert told(found) == []
    assert found.reproduced
    assert {one.state for one in found.figures} == {"same"}
    assert len(found.figures) > 40
    assert len(found.verdicts) == 2


def test_every_part_of_a_figure_is_held_against_the_one_measured_again(forged, tmp_path):
    for name, change, _caught in FIGURES.values():
        with_figure(change, name)(forged)
    found = tasks.verify(forged.rehash().write(tmp_path / "forged.zip"))
    lines = told(found)
    for kind, (name, _change, caught) in FIGURES.items():
        mine = [line for line in lines if line.startswith(f"figure 1 {name} state: ")]
        assert any(caught in line for line in mine), (kind, lines)
    changed = sum(one.state in {"differs", "added", "left out"} for one in found.figures)
    # a figure of another name or another output is missed under its own and strange under the other
    assert changed == len(FIGURES) + 2
    assert found.findings == ()


@pytest.mark.parametrize("kind", TAMPERED)
def test_a_changed_file_is_named_by_its_hash(kind, genuine, forged, tmp_path):
    before = dict(forged.files)
    TAMPERED[kind][0](forged)
    found = open_pack(forged.write(tmp_path / "forged.zip"))
    names = {name for name in before.keys() | forged.files.keys() if before.get(name) != forged.files.get(name)}
    assert names
    assert {finding.where for finding in found.findings} >= names - {"session/session.json", "session/history"}
    assert not {finding.where for finding in found.findings} - names - {"the ZIP"}


def test_of_several_things_each_is_named(forged, tmp_path):
    """Those that stand in each other's way in nothing, all in one pack."""
    for kind in TOGETHER:
        TAMPERED[kind][0](forged)
    lines = told(tasks.verify(forged.rehash().write(tmp_path / "forged.zip")))
    for kind in TOGETHER:
        assert any(all(word in line for word in TAMPERED[kind][1]) for line in lines), (kind, lines)


def test_a_capture_dropped_with_its_figures_is_missed_by_the_history(forged, tmp_path):
    TAMPERED[FITS][0](forged)
    found = tasks.verify(forged.rehash(history=False).write(tmp_path / "forged.zip"))
    assert any(all(word in line for word in TAMPERED[FITS][1]) for line in told(found)), told(found)


@pytest.mark.parametrize("kind", [kind for kind in TAMPERED if kind not in {*TOGETHER, FITS}])
def test_a_pack_whose_hashes_all_fit_is_caught_all_the_same(kind, forged, tmp_path):
    forge, caught = TAMPERED[kind]
    forge(forged)
    forged = forged.remanifest() if kind == "the figures left out" else forged.rehash()
    pack = forged.write(tmp_path / "forged.zip")
    assert [f for f in open_pack(pack).findings if f.what != "reordered"] == []
    found = tasks.verify(pack)
    lines = told(found)
    assert any(all(word in line for word in caught) for line in lines), lines
    assert not found.reproduced
    text = found.text()
    assert text.splitlines()[1].startswith("NOT REPRODUCED")
    assert all(len(line) <= 200 and line.isprintable() for line in text.splitlines())
