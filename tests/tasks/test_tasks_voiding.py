"""A capture is marked as void, measured without, and taken back; nothing of it is lost."""

import pytest

from wattproof import tasks
from wattproof.archive import Archive
from wattproof.cli.app import main
from wattproof.errors import ArchiveError
from wattproof.sim.collection import FOLDER

READINGS = "load,load_voltage_v,load_current_a,thd_percent\n4 ohm,{},8.2,1.0\n"


@pytest.fixture
def session(tmp_path):
    archive, given = tmp_path / "archive", FOLDER / "bittern-1"
    made = tasks.session_new(given / "amplifier.toml", given / "bench.toml", archive=archive)
    for volts in ("33.1", "30.2"):
        path = tmp_path / f"at-{volts}.csv"
        path.write_text(READINGS.format(volts), encoding="utf-8")
        tasks.session_add(made.session, [path], archive=archive)
    return archive, made.session


def files_of(captures):
    return [one.file for one in captures if one.figures]


def test_what_is_void_is_left_out_until_it_counts_again(session):
    archive, name = session
    before = tasks.session_figures(name, archive=archive).captures
    assert files_of(before) == ["at-33.1.csv", "at-30.2.csv"]
    said = tasks.session_void(name, 1, why="the meter stood on its wrong range", archive=archive)
    assert (said.number, said.file, said.void) == (1, "at-33.1.csv", "the meter stood on its wrong range")
    assert files_of(tasks.session_figures(name, archive=archive).captures) == ["at-30.2.csv"]
    assert tasks.session_unvoid(name, 1, archive=archive).void is None
    assert tasks.session_figures(name, archive=archive).captures == before
    store = Archive(archive)
    did = [event.did for event in store.history(store.open_session(name))]
    assert did.count("voided") == 1
    assert "described" in did


def test_no_reason_no_such_capture_and_none_that_is_void_are_refused(session):
    archive, name = session
    with pytest.raises(ArchiveError, match="cannot be made void"):
        tasks.session_void(name, 1, archive=archive)
    with pytest.raises(ArchiveError, match="has no capture 7"):
        tasks.session_void(name, 7, why="gone", archive=archive)
    with pytest.raises(ArchiveError, match="is not void") as caught:
        tasks.session_unvoid(name, 2, archive=archive)
    assert "void are: none" in caught.value.why


def test_the_commands_say_what_holds_now(session, capsys):
    archive, name = session
    place = ["--archive", str(archive)]
    main(["session", "void", name, "2", "--why", "the lead came off", *place])
    assert "Capture 2, at-30.2.csv, is void: the lead came off" in capsys.readouterr().out
    main(["session", "unvoid", name, "2", *place])
    assert "counts" in capsys.readouterr().out
    with pytest.raises(SystemExit) as left:
        main(["session", "unvoid", name, "2", *place])
    assert left.value.code == 2
    assert "is not void" in capsys.readouterr().err
