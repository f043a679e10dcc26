"""The words that the page adds of its own, in one place, so that they can be read over and translated."""

from collections.abc import Mapping
from types import MappingProxyType

from wattproof.publish.print_words import SAY

PAGE: Mapping[str, str] = MappingProxyType(
    {
        **SAY,
        "skip": "Skip to what was found",
        "live": "Chart to read off: left and right arrows read values, plus and minus zoom, zero shows all.",
        "zoom_in": "Zoom in",
        "zoom_out": "Zoom out",
        "reset": "Show all",
        "hint": "Point at the chart to read values; drag to move along it once zoomed.",
        "at": "at",
    }
)
