"""How a card's rows share a sheet: how large letters may be, how many rows fit, and what lies between them."""

from collections.abc import Sequence

MOST_GAP, LEAST_GAP = 2.2, 0.5
"""Between rows, in letters."""


def fitting(heights_px: Sequence[float], *, room_px: float, letter_px: float) -> int:
    """Count the rows that fit under one another, from the first.

    Parameters
    ----------
    heights_px : sequence of float, px
    room_px : float, px
    letter_px : float, px

    Returns
    -------
    int
    """
    used_px = 0.0
    for number, height_px in enumerate(heights_px):
        used_px += height_px
        if used_px > room_px:
            return number
        used_px += LEAST_GAP * letter_px
    return len(heights_px)


def gap(heights_px: Sequence[float], *, room_px: float, letter_px: float) -> float:
    """Give the room after each row, px, that spreads rows over what there is, but not too far apart.

    Parameters
    ----------
    heights_px : sequence of float, px
        Of the rows that are shown.
    room_px : float, px
    letter_px : float, px

    Returns
    -------
    float, px
    """
    spare_px = (room_px - sum(heights_px)) / max(len(heights_px), 1)
    return max(min(spare_px, MOST_GAP * letter_px), 0.0)
