"""A session's ratings judged from its typed readings: from two files and a sheet to verdicts in words."""

import hashlib
import json

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.errors import ArchiveError

BENCH = """
name = "Boathouse bench"
[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.01
[[loads]]
name = "2 ohm"
resistance_ohm = 2.0
resistance_u_ohm = 0.005
[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.3
[[meters]]
name = "panel"
quantity = "supply_voltage"
percent_of_reading = 0.2
[rule]
confidence = 0.9
"""
AMPLIFIER = """
maker = "Reed & Marten"
model = "Otter 4"
[[ratings]]
quantity = "power"
value = {watts}
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
channels_driven = 1
[[ratings]]
quantity = "crosstalk"
value = 60
unit = "dB"
"""
READINGS = """output,load,frequency_hz,kind,load_voltage_v,supply_voltage_v,thd_percent
A,4 ohm,47,steady,33.0,14.40,{thd}
A,2 ohm,47,steady,31.5,14.40,{thd}
"""


@pytest.fixture
def judged(tmp_path):
    def of(watts, thd):
        for name, text in (
            ("bench.toml", BENCH),
            ("amplifier.toml", AMPLIFIER.format(watts=watts)),
            ("readings.csv", READINGS.format(thd=thd)),
        ):
            (tmp_path / name).write_text(text, encoding="utf-8")
        archive = tmp_path / f"archive-{watts}"
        made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=archive)
        tasks.session_add(made.session, [tmp_path / "readings.csv"], archive=archive)
        return tasks.judge(made.session, archive=archive)

    return of


@pytest.mark.parametrize(
    ("watts", "thd", "verdict"),
    [
        (250, 0.8, "meets"),  # more than rated, and that below the limit of distortion
        (300, 1.3, "falls short"),  # less than rated even past the limit
        (300, 0.8, "cannot tell"),  # less than rated, but there may be more up to the limit
        (272, 0.8, "cannot tell"),  # as near to the rating as the meter can tell
    ],
)
def test_typed_readings_are_judged(judged, watts, thd, verdict):
    answer = judged(watts, thd)
    power, crosstalk = answer.judged.judgements
    assert answer.judged.rule.confidence == 0.9
    assert power.measured.value == pytest.approx(33.0**2 / 4)
    assert power.verdict == verdict
    assert crosstalk.verdict == "cannot tell"
    text = answer.text()
    assert f"{verdict.upper()}: sine at 1 % distortion, 4 ohm, 14.4 V" in text
    assert "at least 90 % probable" in text
    assert all(len(line) <= 120 for line in text.splitlines())
    assert json.loads(answer.to_json())["judged"]["judgements"][0]["verdict"] == verdict


def test_verdicts_are_kept_beside_the_figures_they_were_reached_from(judged, tmp_path):
    first = judged(250, 0.8)
    archive = tmp_path / "archive-250"
    store = Archive(archive)
    found = store.open_session(first.session)
    path = found.folder / "verdicts.json"
    kept = json.loads(path.read_text())
    last = store.history(found)[-1]
    assert last.did == "judged"
    assert last.details["verdicts_sha256"] == hashlib.sha256(path.read_bytes()).hexdigest()
    assert last.details["figures_sha256"] == kept["figures_sha256"]
    assert kept["figures_sha256"] == hashlib.sha256((found.folder / "figures.json").read_bytes()).hexdigest()
    assert [len(digest) for digest in kept["models_sha256"]] == [64]
    assert store.read_verdicts(found) == first.judged
    assert store.verify(found) == ()
    before = path.read_bytes()
    assert tasks.judge(first.session, archive=archive) == first
    assert path.read_bytes() == before
    assert len(store.history(found)) == 2
    # judged again from scratch, the bytes are the same: they hold no time of day
    path.unlink()
    assert tasks.judge(first.session, archive=archive) == first
    assert path.read_bytes() == before


def test_verdicts_of_other_figures_another_rule_or_version_are_not_given_again(judged, tmp_path):
    first = judged(250, 0.8)
    archive = tmp_path / "archive-250"
    store = Archive(archive)
    found = store.open_session(first.session)
    path = found.folder / "verdicts.json"
    for old, new in (('"confidence": 0.9', '"confidence": 0.99'), ('"wattproof": "', '"wattproof": "0.0.')):
        whole = path.read_text()
        path.write_text(whole.replace(old, new, 1))
        assert store.read_verdicts(found) is None
        assert tasks.judge(first.session, archive=archive) == first
        assert path.read_text() == whole
    (tmp_path / "more.csv").write_text(READINGS.format(thd=0.8).replace("33.0", "33.2"), encoding="utf-8")
    tasks.session_add(first.session, [tmp_path / "more.csv"], archive=archive)
    tasks.session_figures(first.session, archive=archive)
    assert store.read_verdicts(found) is None
    assert tasks.judge(first.session, archive=archive).judged == store.read_verdicts(found)


def test_damaged_verdicts_are_found_and_refused(judged, tmp_path):
    first = judged(250, 0.8)
    archive = tmp_path / "archive-250"
    store = Archive(archive)
    found = store.open_session(first.session)
    (found.folder / "verdicts.json").write_text('{"schema": 2}')
    assert [change.path for change in store.verify(found)] == ["verdicts.json"]
    with pytest.raises(ArchiveError, match=r"verdicts\.json is damaged"):
        tasks.judge(first.session, archive=archive)


def test_figures_changed_by_hand_do_not_become_sound_by_being_judged(judged, tmp_path):
    first = judged(250, 0.8)
    archive = tmp_path / "archive-250"
    store = Archive(archive)
    found = store.open_session(first.session)
    figures = found.folder / "figures.json"
    figures.write_text(figures.read_text() + "\n")
    assert tasks.judge(first.session, archive=archive) == first
    assert [(change.path, change.what) for change in store.verify(found)] == [("figures.json", "changed")]
