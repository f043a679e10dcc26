"""Answers of tasks as plain text for a terminal; every number comes from the task, rounded for reading."""

import sys
import textwrap
from collections.abc import Callable, Iterable
from pathlib import Path

from wattproof.tasks import CaptureResult, FileSummaries, SessionsListed


def show_read(found: FileSummaries) -> str:
    """Lay out what files were taken to be."""
    parts = []
    for file in found.files:
        lines = [
            f"{file.file}",
            f"  taken for  {file.reader}",
            f"  clock      {file.sample_rate_hz:.8g} samples a second, {file.samples} samples, "
            f"{file.duration_s:.6g} s, from {file.start_s:.6g} s",
        ]
        width = max([len(channel.name) for channel in file.channels] + [7])
        lines.append(f"  {'channel':<{width}}  {'unit':<6} {'mean':>12} {'rms':>12} {'min':>12} {'max':>12}  at limit")
        for c in file.channels:
            numbers = [
                f"{'-' if value is None else format(value, '.6g'):>12}" for value in (c.mean, c.rms, c.min, c.max)
            ]
            lines.append(f"  {c.name:<{width}}  {c.unit or '?':<6} {' '.join(numbers)}  {c.clipped or '-':>8}")
        lines += [f"  {key}: {text}" for key, text in list(file.metadata.items())[:12]]
        lines += _notice_lines(file.warnings)
        parts.append("\n".join(lines))
    return "\n\n".join(parts)


def _six(value: float | None) -> str:
    return "-" if value is None else format(value, ".6g")


def show_sessions(found: SessionsListed) -> str:
    """Lay out the archive's sessions, one a line."""
    if not found.sessions:
        return f"No sessions in {found.folder}. Begin one: wattproof session new amplifier.toml bench.toml"
    width = max(len(item.session) for item in found.sessions)
    lines = [f"{'session':<{width}}  captures  figures  amplifier"]
    lines += [
        f"{s.session:<{width}}  {s.captures:>8}  {s.figures:>7}  {s.amplifier}"
        + (f" ({s.void} void)" if s.void else "")
        for s in found.sessions
    ]
    return "\n".join([*lines, *[f"! {problem}" for problem in found.problems]])


def show_notices(captures: Iterable[CaptureResult]) -> None:
    """Print what is doubtful on standard error, so that a table on standard output stays a table."""
    for capture in captures:
        lines = _notice_lines(capture.warnings)
        if lines:
            print("\n".join([f"\n{capture.file}: {len(capture.warnings)} to note", *lines]), file=sys.stderr)


def progress() -> Callable[[str], None] | None:
    """Give what prints progress on standard error; None where nobody watches a terminal."""
    if not sys.stderr.isatty():
        return None
    return lambda line: print(line, file=sys.stderr, flush=True)


def saved(*files: Path | None) -> None:
    """Say where files were written."""
    for file in files:
        if file is not None:
            print(f"\nWritten: {file}")


def _notice_lines(warnings: Iterable[object]) -> list[str]:
    lines = []
    for warning in warnings:
        code, message, hint = (str(getattr(warning, name, "")) for name in ("code", "message", "hint"))
        lines += textwrap.wrap(f"! {code}: {message}", 116, initial_indent="  ", subsequent_indent="    ")
        lines += textwrap.wrap(hint, 116, initial_indent="    ", subsequent_indent="    ") if hint else []
    return lines
