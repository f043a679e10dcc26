"""A chart for broad and for narrow screens from one drawer."""

from collections.abc import Callable

from wattproof.publish.document import Chart, Spec

WIDE_PX = 640
NARROW_PX = 340


def chart(name: str, caption: str, draw: Callable[[int], Spec | None]) -> tuple[Chart, ...]:
    """Draw a chart twice; nothing where there is nothing to draw.

    Parameters
    ----------
    name : str
        What it is called by.
    caption : str
    draw : callable
        Gives the specification for a width in px.
    """
    wide, narrow = draw(WIDE_PX), draw(NARROW_PX)
    if wide is None or narrow is None:
        return ()
    return (Chart(name=name, caption=caption, wide=_told(wide, caption), narrow=_told(narrow, caption)),)


def _told(spec: Spec, caption: str) -> Spec:
    """Let the picture tell who cannot see it what its caption says."""
    return {**spec, "description": caption}
