"""The reader of text captures: oscilloscopes' and loggers' tables of any dialect, with or without a preamble."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from wattproof.errors import NotAWaveformError, Notice
from wattproof.readers.contract import Answers
from wattproof.readers.text_axis import Axis, choose_axis, side_facts
from wattproof.readers.text_body import Kind, Table, kinds, read_table
from wattproof.readers.text_cells import number
from wattproof.readers.text_channels import make_channels
from wattproof.readers.text_clock import Clock
from wattproof.readers.text_decode import Text, decode, looks_like_text
from wattproof.readers.text_facts import ClockFacts, Number, Preamble, clock_facts, is_clock_row, read_preamble
from wattproof.readers.text_header import Header, read_header
from wattproof.readers.text_shape import Block, find_block
from wattproof.readers.text_timing import Timing, length_notices, settle_clock
from wattproof.waveform import MemoryRecording, Waveform

# A preamble is looked through in growing pieces; a table that starts later than the last is not found.
_WINDOWS = (1 << 14, 1 << 18, 1 << 23)
_START_WORDS = frozenset({"start", "starttime", "xorigin", "xorg"})
_STEP_WORDS = frozenset({"increment", "xinc", "xincrement", "tinc", "dt", "interval"})


@dataclass(frozen=True, kw_only=True)
class _Layout:
    """All that is known before the numbers are read."""

    block: Block
    header: Header
    preamble: Preamble
    facts: ClockFacts
    kinds: tuple[Kind, ...]
    axis: Axis
    sides: frozenset[int]


class TextReader:
    """Text captures: one row a sample, found by content whatever stands above it."""

    name = "text"
    suffixes = (".csv", ".txt", ".tsv", ".lvm", ".dat", ".asc", ".prn")

    def sniff(self, head: bytes) -> bool:
        """Say whether a file that starts with `head` is text that holds digits."""
        return looks_like_text(head)

    def open(self, path: Path, answers: Answers) -> MemoryRecording:
        """Read a text capture whole.

        Parameters
        ----------
        path : Path
            The file.
        answers : Answers
            What the file does not say, or says wrong: they overrule it.

        Returns
        -------
        MemoryRecording
            Its metadata is the preamble, line by line; its notices hold every assumption.

        Raises
        ------
        NotAWaveformError
            The text holds no table of samples in time.
        NeedsAnswerError
            Clock, unit, delimiter or decimal mark is open.
        BrokenFileError
            A row, a time stamp or the encoding contradicts the rest.
        """
        raw = path.read_bytes()
        return read_text(raw, source=path.name, answers=answers)


def read_text(raw: bytes, *, source: str, answers: Answers) -> MemoryRecording:
    """Read a text capture from its bytes; as `TextReader.open`."""
    text = decode(raw, source)
    block, above = _find(text, answers, source)
    layout = _layout(block, above, answers, source)
    cells = _cells_to_read(layout)
    table = read_table(text.body, block, wanted=cells, column_kinds=layout.kinds, ended=text.ended, source=source)
    n_rows = table.values.shape[1]
    if n_rows < 2:
        raise NotAWaveformError(
            f"{source} holds no table of samples.",
            why=f"Its only row of numbers is line {block.start + 1}.",
            hint="Give the file that holds the samples.",
        )
    axis_word = layout.header.unit(layout.axis.column) if layout.axis.column is not None else ""
    timing = Timing(axis=layout.axis, axis_word=axis_word, facts=layout.facts, rows=block.rows)
    clock = settle_clock(timing, table, answers=answers, source=source)
    return _recording(layout, table, clock, text, answers, source)


def _find(text: Text, answers: Answers, source: str) -> tuple[Block, list[str]]:
    for size in (*_WINDOWS, len(text.body)):
        whole = size >= len(text.body)
        piece = text.body if whole else text.body[: text.body.rfind(b"\n", 0, size) + 1]
        if not piece and not whole:
            continue
        lines = piece.decode("utf-8").split("\n")
        block = find_block(lines, answers=answers, whole=whole or size == _WINDOWS[-1], source=source)
        if block is not None:
            block = _without_stated_row(block, lines)
            return block, lines[: block.start]
    raise NotAWaveformError(
        f"{source} holds no table of numbers.",
        why=f"None was found in its first {_WINDOWS[-1]} bytes.",
        hint="Give the file that holds the samples.",
    )


def _without_stated_row(block: Block, lines: Sequence[str]) -> Block:
    """Give a row of a clock's start and step back to the preamble: numbers under their names, but no samples."""
    above = next((line for line in reversed(lines[: block.start]) if line.strip()), "")
    names, first = block.dialect.cells(above), block.rows[0]
    named = [index for index, cell in enumerate(names) if cell]
    if len(block.rows) < 2 or not is_clock_row(names) or named != [index for index, cell in enumerate(first) if cell]:
        return block
    start = next(index for index in range(block.start + 1, len(lines)) if lines[index].strip())
    return replace(block, start=start, width=max(map(len, block.rows[1:])), rows=block.rows[1:])


def _layout(block: Block, above: Sequence[str], answers: Answers, source: str) -> _Layout:
    header = read_header(above, block)
    preamble = read_preamble(above, delimiter=block.dialect.delimiter, decimal=block.dialect.decimal, skip=header.lines)
    facts = clock_facts(preamble)
    start, step = side_facts(header, block, _START_WORDS), side_facts(header, block, _STEP_WORDS)
    sides = frozenset(side[0] for side in (start, step) if side is not None)
    if step is not None:
        line = min(header.lines, default=0) + 1
        facts = replace(
            facts,
            step=Number(key=header.name(step[0]), line=line, value=step[1], unit=""),
            start=Number(key=header.name(start[0]), line=line, value=start[1], unit="") if start else facts.start,
            x_unit=_sequence_unit(header, facts.x_unit),
        )
    else:
        sides = frozenset()
    column_kinds: tuple[Kind, ...] = tuple(
        "words" if index in sides else kind for index, kind in enumerate(kinds(block))
    )
    axis = choose_axis(block, header, column_kinds, facts, answers=answers, source=source)
    return _Layout(
        block=block, header=header, preamble=preamble, facts=facts, kinds=column_kinds, axis=axis, sides=sides
    )


def _sequence_unit(header: Header, x_unit: str) -> str:
    """Give no unit of time: a start and a step beside a count are in seconds or in the count's own."""
    return x_unit if not header.unit(0) else ""


def _cells_to_read(layout: _Layout) -> list[int]:
    return [index for index, kind in enumerate(layout.kinds) if kind != "words" and index not in layout.axis.others]


def _recording(
    layout: _Layout, table: Table, clock: Clock, text: Text, answers: Answers, source: str
) -> MemoryRecording:
    cells = [
        cell
        for cell in table.columns
        if cell != layout.axis.column and not (layout.kinds[cell] == "blank" and np.isnan(table.column(cell)).all())
    ]
    if not cells:
        raise NotAWaveformError(
            f"{source} holds no channel.",
            why="Its only column of numbers is the time.",
            hint="Export the channel's samples too; if that column is the signal, say --time-column 0 --rate-hz.",
        )
    rows = [table.columns.index(cell) for cell in cells]
    first = rows[0]
    together = rows == list(range(first, first + len(rows)))
    samples = table.values[first : first + len(rows)] if together else table.values[rows]
    channels = make_channels(samples, cells, layout.header, layout.preamble, answers=answers, source=source)
    notices = (
        *text.notices,
        *layout.header.notices,
        *layout.axis.notices,
        *table.notices,
        *clock.notices,
        *length_notices(layout.facts, table.values.shape[1], clock.rate_hz),
        *_words_notices(layout),
        *_grouping_notices(layout.block),
        *channels.notices,
    )
    return MemoryRecording(
        waveform=Waveform(
            samples=channels.samples, rate_hz=clock.rate_hz, channels=channels.channels, start_s=clock.start_s
        ),
        source=source,
        reader=TextReader.name,
        metadata={**layout.preamble.metadata, "encoding": text.encoding, "layout": str(layout.block.dialect)},
        notices=notices,
    )


def _words_notices(layout: _Layout) -> tuple[Notice, ...]:
    words = [
        layout.header.name(index) or f"column {index + 1}"
        for index, kind in enumerate(layout.kinds)
        if kind == "words" and index not in layout.sides
    ]
    if not words:
        return ()
    notice = Notice(
        code="words-column",
        message=f"Words, not numbers, in {', '.join(words)}: left out of the record.",
        hint="Read them in the file itself; they may say what went wrong in a row.",
    )
    return (notice,)


def _grouping_notices(block: Block) -> tuple[Notice, ...]:
    if not block.dialect.grouped:
        return ()
    cell = next(
        cell
        for row in block.rows
        for cell in row
        if (value := block.dialect.number(cell)) is not None and number(cell, block.dialect.decimal) is None
    )
    notice = Notice(
        code="thousands-separators",
        message=f"Numbers have thousands separators: {cell!r} was read as {value:.12g}.",
        hint="If that mark is the decimal one, say so with --decimal.",
    )
    return (notice,)
