"""The rows of a text table to arrays: fast where all is regular, cell by cell where not, never past a bad cell."""

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from wattproof.errors import BrokenFileError, Notice
from wattproof.readers.text_cells import clock_seconds, is_missing, is_off_scale, number, off_scale_value
from wattproof.readers.text_shape import Block, Dialect

Kind = Literal["number", "clock", "blank", "words"]
# Above this many irregular cells it is quicker to read the whole table cell by cell.
_FEW = 20_000


@dataclass(frozen=True, kw_only=True)
class Table:
    """The numbers of a text table.

    Attributes
    ----------
    values : NDArray[np.float64] of shape (n_columns, n_rows)
        As the file has them; NaN where it has nothing, an infinity for a word that says "off scale".
    columns : tuple of int
        Which cell of a row each column is, counted from 0.
    lines : NDArray[np.int64] of shape (n_rows,)
        Line number of each row, counted from 1.
    notices : tuple of Notice
        Rows that were left out.
    """

    values: NDArray[np.float64]
    columns: tuple[int, ...]
    lines: NDArray[np.int64]
    notices: tuple[Notice, ...] = ()

    def column(self, cell: int) -> NDArray[np.float64]:
        """Give the column of a cell counted from 0."""
        row: NDArray[np.float64] = self.values[self.columns.index(cell)]
        return row


@dataclass(frozen=True, kw_only=True)
class _Grid:
    """Numbers read so far, which cells are still open, and how to look a row up."""

    values: NDArray[np.float64]
    open_cells: list[tuple[int, int]]
    lines: NDArray[np.int64]
    cells_of: Callable[[int], list[str]]


def kinds(block: Block) -> tuple[Kind, ...]:
    """Say what each column of a block holds, by its first rows."""
    return tuple(
        _kind([row[index] if index < len(row) else "" for row in block.rows], block) for index in range(block.width)
    )


def _kind(cells: Sequence[str], block: Block) -> Kind:
    told = [cell for cell in cells if not is_missing(cell)]
    if not told:
        return "blank"
    if any(block.dialect.number(cell) is not None for cell in told):
        return "number"
    if any(clock_seconds(cell) is not None for cell in told):
        return "clock"
    return "number" if all(is_off_scale(cell) for cell in told) else "words"


def read_table(
    body: bytes, block: Block, *, wanted: Sequence[int], column_kinds: Sequence[Kind], ended: bool, source: str
) -> Table:
    """Read the rows of a block.

    Parameters
    ----------
    body : bytes
        The whole text, UTF-8 with plain line ends.
    block : Block
        Where its table starts and how it is written.
    wanted : sequence of int
        The cells to read of each row, counted from 0.
    column_kinds : sequence of str
        As `kinds` gives them.
    ended : bool
        Whether the file's last line has its line end.
    source : str
        The file's name, for messages.

    Raises
    ------
    BrokenFileError
        A cell in the middle is no number, or a row has too many or too few cells.
    """
    rows = _from_line(body, block.start)
    grid = None
    simple = not (block.dialect.grouped or block.dialect.paired or "clock" in {column_kinds[cell] for cell in wanted})
    if simple and b'"' not in rows:
        grid = _fast(rows, block, wanted, column_kinds)
    if grid is None:
        grid = _careful(rows, block, wanted, column_kinds, source)
    return _settle(grid, block, wanted, ended=ended, source=source)


def _from_line(body: bytes, line: int) -> bytes:
    at = 0
    for _ in range(line):
        at = body.index(b"\n", at) + 1
    return body[at:]


def _fast(rows: bytes, block: Block, wanted: Sequence[int], column_kinds: Sequence[Kind]) -> _Grid | None:
    """Read by polars; None where the table is too irregular for it."""
    import polars

    delimiter = block.dialect.delimiter
    text = _single_blanks(rows) if delimiter == " " else _no_blanks_before(rows, delimiter)
    try:
        frame = polars.read_csv(
            text,
            has_header=False,
            separator=delimiter or "\x1f",
            schema={f"column_{index + 1}": polars.Float64 for index in range(block.width)},
            columns=list(wanted),
            ignore_errors=True,
            quote_char=None,
            decimal_comma=block.dialect.decimal == ",",
        )
    except polars.exceptions.PolarsError:
        return None
    holes = [int(count) for count in frame.null_count().row(0)]
    unread = any(
        count == frame.height and column_kinds[cell] == "number" for count, cell in zip(holes, wanted, strict=True)
    )
    if unread or sum(count for count in holes if count < frame.height) > _FEW:
        return None
    open_cells = [
        (int(row), column)
        for column, count in enumerate(holes)
        if 0 < count < frame.height
        for row in np.flatnonzero(frame[:, column].is_null().to_numpy())
    ]
    told = max(
        1, sum(count < frame.height for count in holes)
    )  # a row with nothing at all is a blank line: not for here
    if max(Counter(row for row, _ in open_cells).values(), default=0) == told:
        return None
    lookup = _Lookup(rows, block.dialect)
    return _Grid(
        values=np.ascontiguousarray(frame.to_numpy().T, dtype=np.float64),
        open_cells=sorted(open_cells),
        lines=np.arange(block.start + 1, block.start + 1 + frame.height, dtype=np.int64),
        cells_of=lookup.cells,
    )


def _single_blanks(rows: bytes) -> bytes:
    rows = rows.replace(b"\t", b" ")
    while b"  " in rows:
        rows = rows.replace(b"  ", b" ")
    return rows.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")


def _no_blanks_before(rows: bytes, delimiter: str) -> bytes:
    if b" " not in rows:
        return rows
    for mark in (delimiter.encode(), b"\n"):
        while mark and b" " + mark in rows:
            rows = rows.replace(b" " + mark, mark)
    return rows


class _Lookup:
    """Cells of single rows of a long text; the line ends are only searched for when first needed."""

    def __init__(self, rows: bytes, dialect: Dialect) -> None:
        self._rows = rows
        self._dialect = dialect
        self._ends: NDArray[np.int64] | None = None

    def cells(self, row: int) -> list[str]:
        if self._ends is None:
            self._ends = np.flatnonzero(np.frombuffer(self._rows, dtype=np.uint8) == 10)
        start = int(self._ends[row - 1]) + 1 if row else 0
        stop = int(self._ends[row]) if row < self._ends.size else len(self._rows)
        return self._dialect.cells(self._rows[start:stop].decode("utf-8"))


def _careful(rows: bytes, block: Block, wanted: Sequence[int], column_kinds: Sequence[Kind], source: str) -> _Grid:
    """Read cell by cell; blank lines are stepped over."""
    table: list[list[str]] = []
    lines: list[int] = []
    for index, line in enumerate(rows.decode("utf-8").split("\n"), block.start + 1):
        if line.strip():
            table.append(block.dialect.cells(line))
            lines.append(index)
    values = np.full((len(wanted), len(table)), np.nan)
    open_cells: list[tuple[int, int]] = []
    for row, cells in enumerate(table):
        _refuse_wide(cells, block, lines[row], source)
        for column, cell_index in enumerate(wanted):
            cell = cells[cell_index] if cell_index < len(cells) else ""
            value = _clock(cell) if column_kinds[cell_index] == "clock" else block.dialect.number(cell)
            if value is None:
                open_cells.append((row, column))
            else:
                values[column, row] = value
    return _Grid(
        values=values, open_cells=open_cells, lines=np.array(lines, dtype=np.int64), cells_of=table.__getitem__
    )


def _clock(cell: str) -> float | None:
    read = clock_seconds(cell)
    return None if read is None else read[0] * 86400.0 + read[1]


def _refuse_wide(cells: Sequence[str], block: Block, line: int, source: str) -> None:
    extra = [cell for cell in cells[block.width :] if cell]
    if not extra:
        return
    raise BrokenFileError(
        f"{source} has a row with too many cells.",
        why=f"Line {line} has {len(cells)} cells where the table has {block.width}; {extra[0]!r} is one too many.",
        hint="Mend that line; if the decimal mark is a comma, export with semicolons or tabs between cells.",
    )


def _settle(grid: _Grid, block: Block, wanted: Sequence[int], *, ended: bool, source: str) -> Table:
    """Decide what every open cell is; leave out a cut-off last row or closing words, refuse a bad cell before them."""
    keep = grid.values.shape[1]
    bad: list[tuple[int, int]] = []
    for row, column in grid.open_cells:
        cells = grid.cells_of(row)
        value = _open_value(cells, wanted[column], block)
        if value is None:
            bad.append((row, column))
        else:
            grid.values[column, row] = value
    notices: list[Notice] = []
    if bad and _only_shorter(bad, grid, wanted):
        bad = []
    if bad:
        keep = _closing_rows(bad, keep, grid, block, wanted, source)
        notices.append(_left_out(grid, keep))
    elif not ended and keep > 1 and _looks_cut(grid.cells_of(keep - 1), block):
        keep -= 1
        notices.append(_left_out(grid, keep))
    return Table(values=grid.values[:, :keep], columns=tuple(wanted), lines=grid.lines[:keep], notices=tuple(notices))


def _open_value(cells: Sequence[str], index: int, block: Block) -> float | None:
    """Give the value of a cell that is no plain number; None where it may not stand in the table."""
    if index >= len(cells):
        first = block.rows[0]
        return np.nan if index >= len(first) else None
    cell = cells[index]
    if is_missing(cell):
        return float("nan")
    if is_off_scale(cell):
        return off_scale_value(cell)
    value = block.dialect.number(cell)
    return number(cell, block.dialect.decimal) if value is None else value


def _only_shorter(bad: Sequence[tuple[int, int]], grid: _Grid, wanted: Sequence[int]) -> bool:
    """Say whether the open cells are the end of a shorter channel: absent from some row to the last, two or more."""
    rows = sorted({row for row, _ in bad})
    if len(rows) < 2 or rows != list(range(rows[0], grid.values.shape[1])):
        return False
    return all(1 < len(grid.cells_of(row)) <= wanted[column] for row, column in bad)


def _closing_rows(
    bad: Sequence[tuple[int, int]], n_rows: int, grid: _Grid, block: Block, wanted: Sequence[int], source: str
) -> int:
    """Give how many rows come before closing words or a cut-off row; refuse where good rows follow a bad one."""
    bad_rows = {row for row, _ in bad}
    first = min(bad_rows)
    tail = bad_rows == set(range(first, n_rows)) and first > 0
    if tail and (len(bad_rows) == 1 or all(_is_closing(grid.cells_of(row)) for row in bad_rows)):
        return first
    row, column = bad[0]
    cells = grid.cells_of(row)
    index = wanted[column]
    line = int(grid.lines[row])
    if index >= len(cells):
        why = f"Line {line} has {len(cells)} cells where the table has {block.width}."
    else:
        why = f"Line {line}, cell {index + 1} is {cells[index]!r}; the table is read with {block.dialect}."
    raise BrokenFileError(
        f"{source} has a row that is no row of numbers.",
        why=why,
        hint="Mend or delete that line; if the table is written another way, say so with --delimiter and --decimal; "
        "if a second record starts there, save each as its own file.",
    )


def _is_closing(cells: Sequence[str]) -> bool:
    """Say whether a row is words below the table: its first cell does not start like a number."""
    first = next((cell for cell in cells if cell), "")
    return not first[:1].isdigit() and first[:1] not in {"+", "-", ".", ","}


def _left_out(grid: _Grid, keep: int) -> Notice:
    dropped = grid.values.shape[1] - keep
    line = int(grid.lines[keep])
    if dropped == 1:
        return Notice(
            code="cut-off",
            message=f"The last row (line {line}) is incomplete: {' '.join(grid.cells_of(keep))[:60]!r} was left out.",
            hint="If the file was cut off while it was written, samples are missing at its end; export it again.",
            numbers={"line": line, "rows_left_out": 1},
        )
    return Notice(
        code="trailing-text",
        message=f"{dropped} lines from line {line} on are no samples and were left out.",
        hint="Look at them: they are kept out of the record.",
        numbers={"line": line, "rows_left_out": dropped},
    )


def _looks_cut(cells: Sequence[str], block: Block) -> bool:
    """Say whether the last cell of an unfinished last line lacks digits that every row above has."""
    above = [row for row in block.rows[:-1] if len(row) == len(block.rows[0])][:50]
    last = next((index for index in range(len(cells) - 1, -1, -1) if cells[index]), None)
    if last is None or not above:
        return False
    shapes = {_tail_shape(row[last]) for row in above if last < len(row)}
    (decimals, exponent), end = next(iter(shapes), (-1, -1)), _tail_shape(cells[last])
    return len(shapes) == 1 and (end[0] < decimals or end[1] < exponent)


def _tail_shape(cell: str) -> tuple[int, int]:
    """Give how many decimals and how many exponent digits a number is printed with."""
    mantissa, _, exponent = cell.lower().partition("e")
    for mark in ".,":
        if mark in mantissa:
            return len(mantissa.partition(mark)[2]), len(exponent.lstrip("+-"))
    return -1, len(exponent.lstrip("+-")) or -1
