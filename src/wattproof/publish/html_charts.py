"""The drawings of a page: each once for wide and once for narrow pages, and what the page's script needs of them."""

import re
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from functools import cache
from hashlib import sha256
from json import dumps
from math import isfinite
from typing import Any

from wattproof.publish.document import Chart, Document, Scale, Spec, Strip
from wattproof.publish.drawn import NARROW_PX, WIDE_PX
from wattproof.publish.html_words import PAGE
from wattproof.publish.interactive import Live, interactive
from wattproof.publish.scale_svg import scale_svg, strip_svg
from wattproof.report import VEGA_LITE, draw_svg

_DRAWERS = 2
"""The drawing engine gains by a second caller and by no third."""

_WORTH_SHARING = 2

_SAID = ("live", "zoom_in", "zoom_out", "reset", "hint", "at")


@dataclass(frozen=True, kw_only=True)
class Drawn:
    """A drawing for wide and for narrow pages; `live` is its number among the charts that the script can turn."""

    wide: str
    narrow: str
    live: int | None = None

    @property
    def widths_px(self) -> tuple[float, float]:
        """How wide both are where their letters are as large as the page's: no page may blow them up much."""
        return _width_px(self.wide), _width_px(self.narrow)


class Drawings:
    """All drawings of a document; the charts are made at once.

    Parameters
    ----------
    document : Document
    """

    def __init__(self, document: Document) -> None:
        charts = [block for section in document.sections for block in section.blocks if isinstance(block, Chart)]
        with ThreadPoolExecutor(_DRAWERS) as drawers:
            if charts:
                drawers.submit(engine)  # takes as long as all drawings together
            wide, narrow = (drawers.map(draw_svg, specs) for specs in _specs(charts))
            self._charts = dict(zip(map(id, charts), zip(wide, narrow, strict=True), strict=True))
        self.live: list[tuple[Live, Live]] = []
        self._marks: set[str] = set()

    def of(self, block: Chart | Scale | Strip) -> Drawn:
        """Give the next drawing of the page; its ids are its own, also where the same block stands twice."""
        if isinstance(block, Chart):
            wide, narrow = self._charts[id(block)]
            return Drawn(wide=self._own(wide), narrow=self._own(narrow), live=self._turned(block))
        if isinstance(block, Scale):
            wide, narrow = (scale_svg(block, width_px=width_px) for width_px in (WIDE_PX, NARROW_PX))
        else:
            wide, narrow = (strip_svg(block, width_px=width_px) for width_px in (WIDE_PX, NARROW_PX))
        return Drawn(wide=self._own(wide), narrow=self._own(narrow))

    def _turned(self, chart: Chart) -> int | None:
        wide, narrow = interactive(chart.wide), interactive(chart.narrow)
        if wide is None or narrow is None:
            return None
        self.live.append((wide, narrow))
        return len(self.live) - 1

    def _own(self, svg: str) -> str:
        """Tell the ids of a drawing from those of its like that stand before it."""
        found = re.search(r'aria-labelledby="t([0-9a-f]{8}) ', svg)
        mark = found[1] if found else ""
        number, own = 1, mark
        while own in self._marks:
            number += 1
            own = f"{mark}-{number}"
        self._marks.add(own)
        return svg.replace(mark, own) if own != mark else svg


@cache
def engine() -> str:
    """Give the chart engine as a script, which leaves ``vegaEmbed`` behind; making it takes seconds, once a run."""
    import vl_convert

    # said in full: its signature asks for a snippet
    snippet = "window.vegaEmbed = vegaEmbed"
    script: str = vl_convert.javascript_bundle(snippet, vl_version=VEGA_LITE)
    return script


def _width_px(svg: str) -> float:
    found = re.search(r'\swidth="([\d.]+)', svg)
    return float(found[1]) if found else float(WIDE_PX)


def _specs(charts: Sequence[Chart]) -> tuple[list[Spec], list[Spec]]:
    return [chart.wide for chart in charts], [chart.narrow for chart in charts]


def script_data(live: Sequence[tuple[Live, Live]]) -> dict[str, Any]:
    """Give what the page's script reads: charts, their rows apart so that both widths share them, and its words.

    Parameters
    ----------
    live : sequence of pairs of Live
        Each chart for wide and for narrow pages.

    Returns
    -------
    dict
    """
    rows: dict[str, object] = {}
    charts = [[{"spec": _lightened(one.spec, rows), "panels": one.panels} for one in pair] for pair in live]
    return {"say": {name: PAGE[name] for name in _SAID}, "charts": charts, "rows": rows}


def _lightened(spec: object, rows: dict[str, object]) -> object:
    """Put the data of a specification aside, under a name made of what it holds; a number that is none says nothing."""
    if isinstance(spec, list):
        return [_lightened(part, rows) for part in spec]
    if isinstance(spec, float) and not isfinite(spec):
        return None
    if not isinstance(spec, dict):
        return spec
    light = {key: _lightened(part, rows) for key, part in spec.items()}
    if set(light) != {"values"} or not isinstance(light["values"], list) or len(light["values"]) < _WORTH_SHARING:
        return light
    name = sha256(dumps(light["values"]).encode()).hexdigest()[:12]
    rows[name] = light["values"]
    return {"name": name}
