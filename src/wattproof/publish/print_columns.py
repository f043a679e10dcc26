"""How wide a printed table's columns are, and how large its letters: chosen by what the cells hold."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import ceil, sqrt

_TEXT_WIDTH_PT = 476.0
_SIZES_PT = (9.5, 8.5, 7.5)
_FEW_COLUMNS = 5
_LETTER = 0.46
"""Width of an average letter as a share of the letters' size."""

_GAP_LETTERS = 2.5
_SHORT_LETTERS = 18
_WHOLE_LINES = 16
_CRAMPED = 0.8
"""Where more than this share of the room cannot wrap, smaller letters are set."""


@dataclass(frozen=True, kw_only=True)
class Columns:
    """A table's columns.

    Attributes
    ----------
    size_pt : float
        Of the letters.
    shares : tuple of float
        Of the room that is left, for columns that wrap; 0 for one as wide as its longest cell.
    whole : bool
        True where the table is short enough to stand on one page.
    """

    size_pt: float
    shares: tuple[float, ...]
    whole: bool


@dataclass(frozen=True, kw_only=True)
class _Column:
    """Letters in the head, in the longest cell under it, and in the longest word of either."""

    head: int
    longest: int
    least: int

    @property
    def kept(self) -> bool:
        """True where its cells are to stand without wrapping; its head may wrap."""
        return self.longest <= max(_SHORT_LETTERS, self.least)

    @property
    def unwrapped(self) -> int:
        return max(self.longest, self.least) if self.kept else self.least


def columns_of(cells: Sequence[Sequence[Sequence[str]]]) -> Columns:
    """Choose columns for a table.

    Parameters
    ----------
    cells : sequence of sequence of sequence of str
        Rows of equal length, the head first; each cell as the pieces between which its line may end, besides at spaces.
    """
    columns = [_column(column) for column in zip(*cells, strict=True)]
    for size_pt in _SIZES_PT[: 2 if len(columns) <= _FEW_COLUMNS else 3]:
        if sum(max(column.head, column.longest) for column in columns) <= _room(size_pt, columns):
            return Columns(size_pt=size_pt, shares=(0.0,) * len(columns), whole=len(cells) <= _WHOLE_LINES)
    size_pt = _SIZES_PT[1] if _unwrapped(columns) <= _CRAMPED * _room(_SIZES_PT[1], columns) else _SIZES_PT[2]
    widths = _widths(columns, _room(size_pt, columns))
    lines = sum(max(ceil(_length(cell) / width) for cell, width in zip(row, widths, strict=True)) for row in cells)
    fits = _unwrapped(columns) <= _room(size_pt, columns)
    shares = tuple(
        0.0 if fits and column.kept and column.head <= column.longest else width + _GAP_LETTERS
        for column, width in zip(columns, widths, strict=True)
    )
    return Columns(size_pt=size_pt, shares=shares, whole=lines <= _WHOLE_LINES)


def _length(cell: Sequence[str]) -> int:
    return sum(map(len, cell))


def _column(cells: Sequence[Sequence[str]]) -> _Column:
    words = (len(word) for cell in cells for piece in cell for word in piece.split(" "))
    head, *under = map(_length, cells)
    return _Column(head=head, longest=max(under, default=0), least=max(words, default=0))


def _room(size_pt: float, columns: Sequence[_Column]) -> float:
    """Give how many letters stand side by side, without those that the gaps take."""
    return _TEXT_WIDTH_PT / (size_pt * _LETTER) - _GAP_LETTERS * len(columns)


def _unwrapped(columns: Sequence[_Column]) -> int:
    return sum(column.unwrapped for column in columns)


def _widths(columns: Sequence[_Column], room: float) -> list[float]:
    """Give each column what it cannot do without, and the wordy ones the rest by how wordy they are."""
    spare = max(room - _unwrapped(columns), 0.0)
    wordy = [0.0 if column.kept else sqrt(column.longest - column.least) for column in columns]
    return [
        max(column.unwrapped + (spare * share / sum(wordy) if share else 0.0), 1.0)
        for column, share in zip(columns, wordy, strict=True)
    ]
