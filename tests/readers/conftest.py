"""Small builders of captures, so that every fault can be written down byte by byte."""

import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

SHARED = Path(__file__).parents[3] / "shared" / "data"


def build_wav(
    fmt=(1, 1, 48000, 96000, 2, 16),
    *,
    data=b"",
    dsize=None,
    riff=None,
    pre=b"",
    post=b"",
    extra=b"",
    order="<",
    mark=None,
) -> bytes:
    """A RIFF file with every length free to lie."""
    body = b"WAVE" + b"fmt " + struct.pack(f"{order}I", 16 + len(extra)) + struct.pack(f"{order}HHIIHH", *fmt) + extra
    body += pre + b"data" + struct.pack(f"{order}I", len(data) if dsize is None else dsize) + data
    body += (b"\0" if len(data) % 2 and post else b"") + post
    mark = mark or (b"RIFF" if order == "<" else b"RIFX")
    return mark + struct.pack(f"{order}I", len(body) if riff is None else riff) + body


def build_chunk(name: bytes, content: bytes, *, size=None, pad=True, order="<") -> bytes:
    odd = b"\0" if pad and len(content) % 2 else b""
    return name + struct.pack(f"{order}I", len(content) if size is None else size) + content + odd


@pytest.fixture
def riff() -> Callable[..., bytes]:
    return build_wav


@pytest.fixture
def chunk() -> Callable[..., bytes]:
    return build_chunk


@pytest.fixture
def sine16() -> bytes:
    """480 samples of a 1 kHz sine at 48 kHz: ten whole cycles, 16 bits."""
    return np.round(20000 * np.sin(2 * np.pi * 1000 * np.arange(480) / 48000)).astype("<i2").tobytes()


@pytest.fixture
def write(tmp_path: Path) -> Callable[[bytes], Path]:
    def to_file(content: bytes, name: str = "reed warbler.dat") -> Path:
        path = tmp_path / name
        path.write_bytes(content)
        return path

    return to_file


@pytest.fixture
def shared_data() -> Path:
    if not SHARED.is_dir():
        pytest.skip("the shared captures are not beside this project")
    return SHARED
