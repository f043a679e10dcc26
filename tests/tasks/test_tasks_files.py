"""Files and folders that are written: whole or not at all, Ctrl-C at any moment included."""

from pathlib import Path

import numpy as np
import pytest

from wattproof.tasks.export_folder import folder_in_place
from wattproof.tasks.files import write_bytes
from wattproof.tasks.filming import keep_frames


def interrupt_at(monkeypatch, method, number):
    """Let the person press Ctrl-C as the `number`th call of a method of Path begins."""
    kept, calls = getattr(Path, method), []

    def pressed(*given, **named):
        calls.append(given)
        if len(calls) == number:
            raise KeyboardInterrupt
        return kept(*given, **named)

    monkeypatch.setattr(Path, method, pressed)


@pytest.mark.parametrize("method", ["write_bytes", "replace"])
def test_a_file_broken_off_is_as_it_was_and_nothing_lies_beside_it(tmp_path, monkeypatch, method):
    report = tmp_path / "report.md"
    write_bytes(report, b"before")
    interrupt_at(monkeypatch, method, 1)
    with pytest.raises(KeyboardInterrupt):
        write_bytes(report, b"after")
    assert {path.name: path.read_bytes() for path in tmp_path.iterdir()} == {"report.md": b"before"}


def exported(folder, archive):
    """Write what counts as an earlier export of one file."""
    with folder_in_place(folder, archive=archive) as aside:
        (aside / "index.json").write_text('{"holds": "exported measurements", "files": []}')


@pytest.mark.parametrize("number", [1, 2])
def test_an_earlier_export_is_in_its_place_however_its_successor_is_broken_off(tmp_path, monkeypatch, number):
    folder = tmp_path / "data"
    exported(folder, tmp_path / "archive")
    interrupt_at(monkeypatch, "rename", number)
    with pytest.raises(KeyboardInterrupt):
        exported(folder, tmp_path / "archive")
    assert [path.name for path in tmp_path.iterdir()] == ["data"]
    assert [path.name for path in folder.iterdir()] == ["index.json"]


def test_frames_are_written_where_a_killed_process_left_some(tmp_path):
    (tmp_path / ".frames.part").mkdir()
    keep_frames([np.zeros((2, 2, 4), np.uint8)], tmp_path / "frames")
    assert [path.name for path in (tmp_path / "frames").iterdir()] == ["frame-000000.png"]
    with pytest.raises(KeyboardInterrupt):
        keep_frames(_broken_off(), tmp_path / "more")
    assert {path.name for path in tmp_path.iterdir()} == {".frames.part", "frames"}


def _broken_off():
    yield np.zeros((2, 2, 4), np.uint8)
    raise KeyboardInterrupt
