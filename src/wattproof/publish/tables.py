"""Tables with no column that says nothing."""

from collections.abc import Sequence

from wattproof.publish.document import Column, Row, Table, Words
from wattproof.publish.wording import HEADS

NONE = "–"
Cell = tuple[Words, ...]


def table(
    caption: str,
    heads: Sequence[str],
    rows: Sequence[Sequence[Cell]],
    *,
    words: Sequence[str] = (),
    anchors: Sequence[str] = (),
    notes: Sequence[str] = (),
    say: bool = True,
) -> Table:
    """Make a table, leaving out the columns in which every cell says nothing.

    Parameters
    ----------
    caption : str
    heads : sequence of str
        Keys of `wording.HEADS`, or the heads themselves with `say` False.
    rows : sequence of rows of cells
    words : sequence of str
        The heads whose columns hold words; all others hold numbers. The first column always holds words.
    anchors : sequence of str
        One a row, where rows are led to.
    notes : sequence of str
    say : bool
    """
    kept = [n for n in range(len(heads)) if n == 0 or any(row[n] not in {(NONE,), ("",)} for row in rows)]
    return Table(
        caption=caption,
        columns=tuple(
            Column(head=HEADS[heads[n]] if say else heads[n], numeric=n > 0 and heads[n] not in words) for n in kept
        ),
        rows=tuple(
            Row(cells=tuple(row[n] for n in kept), anchor=anchors[place] if anchors else "")
            for place, row in enumerate(rows)
        ),
        notes=tuple(notes),
    )


def cell(text: str) -> Cell:
    """Make a cell of words; a dash where there are none."""
    return (text or NONE,)
