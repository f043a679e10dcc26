"""Chart specifications drawn as SVG, without a browser and without the network."""

import re
from functools import cache, lru_cache
from hashlib import sha256
from html import escape
from importlib.util import find_spec
from json import dumps, loads
from pathlib import Path
from typing import TypeVar

from wattproof.report.drawing import Spec

VEGA_LITE = "6.4"
_FONT_PACKAGE = "font_source_sans_pro"
_NO_XML = "[\x00-\x08\x0b\x0c\x0e-\x1f\ud800-\udfff\ufffe\uffff]"
"""No drawing may hold these characters: the engine does not refuse them but brings the whole process down."""

_INNER_ROLES = r' (?:role="graphics-[a-z]+"|aria-roledescription="[^"]*")'
"""A drawing is one image with one description: parts of it that announce themselves without a name only disturb."""

_Part = TypeVar("_Part")


def draw_svg(spec: Spec) -> str:
    """Draw a Vega-Lite specification.

    Parameters
    ----------
    spec : dict
        One of the charts of this room, its data inline; characters that XML may not hold are left out.

    Returns
    -------
    str
        An ``<svg>`` element, an image with a title and a description; its ids are its own, so that many fit on a page.
    """
    return _drawn(dumps(spec, sort_keys=True))


@lru_cache(maxsize=128)
def _drawn(written: str) -> str:
    """Draw a specification once: the page, the print and the pictures ask for the same ones."""
    import vl_convert

    _register_font()
    spec = _writable(loads(written))
    drawn: str = vl_convert.vegalite_to_svg(spec, vl_version=VEGA_LITE)
    mark = sha256(dumps(spec, sort_keys=True).encode()).hexdigest()[:8]
    drawn = re.sub(_INNER_ROLES, "", drawn)
    drawn = re.sub(r'(\bid="|url\(#|href="#)', rf"\g<1>c{mark}-", drawn)
    return _told(drawn, mark, title=str(spec["title"]["text"]), description=str(spec["description"]))


def _writable(part: _Part) -> _Part:
    """Take what no drawing may hold out of every word of a specification."""
    whole: object = part
    if isinstance(part, str):
        whole = re.sub(_NO_XML, "", part)
    elif isinstance(part, list):
        whole = [_writable(one) for one in part]
    elif isinstance(part, dict):
        whole = {key: _writable(one) for key, one in part.items()}
    return whole  # type: ignore[return-value]  # each kind gives its own kind


def _told(drawn: str, mark: str, *, title: str, description: str) -> str:
    names = f'<title id="t{mark}">{escape(title)}</title><desc id="d{mark}">{escape(description)}</desc>'
    opened = f'<svg role="img" aria-labelledby="t{mark} d{mark}"'
    return re.sub(r"<svg\b([^>]*)>", lambda found: f"{opened}{found[1]}>{names}", drawn, count=1)


def font_folder() -> Path | None:
    """Give the folder of the font's files, ``SourceSansPro-*.ttf``; None where its package is not installed."""
    found = find_spec(_FONT_PACKAGE)
    folders = (found.submodule_search_locations or ()) if found else ()
    return next((Path(folder, "files") for folder in folders), None)


@cache
def _register_font() -> None:
    """Let the drawing measure its text in the font it names; without the package it measures in its own sans."""
    import vl_convert

    folder = font_folder()
    if folder is not None:
        vl_convert.register_font_directory(str(folder))
