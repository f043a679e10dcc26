"""How long a text capture takes to read, against the bare parse of the same file."""

import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import polars

from wattproof.readers.contract import Answers
from wattproof.readers.text_capture import TextReader

ROWS = 1_000_000
MOST = 3.0


def write_capture(path: Path, rows: int = ROWS) -> None:
    """Write a table of time and three channels under one header row."""
    noise = np.random.default_rng(47).normal(size=(3, rows))
    frame = polars.DataFrame(
        {"Time (s)": np.arange(rows) * 1e-6, "A (V)": noise[0], "B (V)": noise[1], "C (A)": noise[2]}
    )
    frame.write_csv(path, float_scientific=True, float_precision=6)


def best_s(work: Callable[[], object], repeats: int = 5) -> float:
    """Time the quickest of some runs, seconds."""
    times = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        times.append(time.perf_counter() - start)
    return min(times)


def text_ratio() -> float:
    """Print and return how many times longer than polars' own reading ours takes; at most 3 is promised."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "capture.csv"
        write_capture(path)
        bare_s = best_s(lambda: polars.read_csv(path))
        ours_s = best_s(lambda: TextReader().open(path, Answers()))
    ratio = ours_s / bare_s
    print(
        f"text capture, {ROWS} rows x 4: {ours_s:.3f} s, {ratio:.2f} x bare parsing ({bare_s:.3f} s); at most {MOST:g}"
    )
    return ratio


if __name__ == "__main__":
    text_ratio()
