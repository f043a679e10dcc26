"""The reader on the architecture page is a real one: it is put in as a plug-in and reads, warns and refuses."""

import re
import struct
import sys
from importlib.metadata import EntryPoint
from pathlib import Path
from types import ModuleType

import numpy as np
import pytest

from wattproof import tasks
from wattproof.errors import BrokenFileError
from wattproof.readers import registry

PAGE = Path(__file__).parents[2] / "docs" / "explanations" / "architecture.md"


@pytest.fixture
def plugged_in(monkeypatch):
    (code,) = re.findall(r"```python\n(.*?)```", PAGE.read_text(encoding="utf-8"), re.DOTALL)
    (entry,) = re.findall(r'^(\w+) = "(\w+):(\w+)"$', PAGE.read_text(encoding="utf-8"), re.MULTILINE)
    module = ModuleType(entry[1])
    exec(compile(code, str(PAGE), "exec"), module.__dict__)
    monkeypatch.setitem(sys.modules, entry[1], module)
    entries = [*registry.entry_points(group=registry.GROUP)]
    entries.append(EntryPoint(name=entry[0], value=f"{entry[1]}:{entry[2]}", group=registry.GROUP))
    monkeypatch.setattr(registry, "entry_points", lambda group: entries)
    registry._installed.cache_clear()
    yield
    registry._installed.cache_clear()


def dump(n_channels, rate_hz, values):
    return struct.pack("<6sIf", b"BHLOG1", n_channels, rate_hz) + np.asarray(values, "<f4").tobytes()


def test_it_reads_what_was_put_in(plugged_in, tmp_path):
    file = tmp_path / "kingfisher.dat"
    t = np.arange(4800) / 48000
    file.write_bytes(dump(2, 48000.0, np.column_stack([10 * np.sin(2 * np.pi * 1000 * t), np.full(4800, 14.5)])))
    (summary,) = tasks.read([file]).files
    assert (summary.reader, summary.sample_rate_hz, summary.samples) == ("boathouse", 48000.0, 4800)
    assert summary.channels[0].rms == pytest.approx(10 / np.sqrt(2), rel=1e-6)
    assert summary.channels[1].mean == 14.5
    assert summary.warnings == ()


def test_it_says_what_is_doubtful_and_refuses_what_makes_no_sense(plugged_in, tmp_path):
    file = tmp_path / "kingfisher.bhl"
    file.write_bytes(dump(2, 1000.0, np.ones(200)) + b"abc")
    (summary,) = tasks.read([file]).files
    assert [(w.code, "3 bytes" in w.message) for w in summary.warnings] == [("cut-off", True)]
    for content in (b"BHLOG1", dump(0, 1000.0, [1, 2]), dump(1, float("nan"), [1, 2])):
        file.write_bytes(content)
        with pytest.raises(BrokenFileError):
            tasks.read([file])
