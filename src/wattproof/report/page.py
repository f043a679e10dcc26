"""One self-contained page of a session: no script, nothing fetched, every stranger's word escaped."""

import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from wattproof import __version__
from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.measure import CaptureResult
from wattproof.report import charts, inventory, palette, words
from wattproof.report.doubts import doubts_of
from wattproof.report.drawing import Spec
from wattproof.report.leading import leading_measured, leading_typed, strip
from wattproof.report.svg import draw_svg
from wattproof.report.table import (
    FigureGroup,
    FigureRow,
    budget_lines,
    figure_groups,
    output_name,
    place_name,
    spread_text,
)

if TYPE_CHECKING:
    import jinja2
    from markupsafe import Markup

_NARROW_PX = 340


@dataclass(frozen=True, kw_only=True)
class _Picture:
    wide: "Markup"
    narrow: "Markup"
    caption: str


def session_page(
    results: Iterable[CaptureResult],
    *,
    bench: Bench | None,
    amplifier: Amplifier | None,
    title: str,
    generated: datetime | None = None,
) -> str:
    """Write the page of a session.

    Parameters
    ----------
    results : iterable of CaptureResult
    bench : Bench or None
        None where the captures were measured without one.
    amplifier : Amplifier or None
    title : str
        What the page is called.
    generated : datetime or None
        When it was made; left out, the page does not say, and the same results give the same bytes.

    Returns
    -------
    str
        A complete HTML document.
    """
    kept = list(results)
    anchors = _anchors(kept)
    groups = figure_groups(kept)
    return page_environment().get_template("session.html.j2").render(
        say=words.PAGE,
        types=words.TYPES,
        heads=words.HEADS,
        cautions=words.CAUTIONS,
        css=page_styles(),
        title=title,
        lede=_lede(kept, bench, amplifier, title),
        found=_found(kept, anchors),
        strips=[parted for result in kept if (parted := strip(result))],
        doubts=doubts_of(kept),
        curves=_curves(kept),
        captures=[_capture(result, groups, anchors[id(result)]) for result in kept],
        amplifier=amplifier
        and {"facts": inventory.amplifier_facts(amplifier), "ratings": inventory.rating_lines(amplifier)},
        bench=bench and {"facts": inventory.bench_facts(bench), "tables": inventory.bench_tables(bench)},
        made=f"{words.PAGE['made']} {__version__}" + (f", {generated:%Y-%m-%d %H:%M}" if generated else ""),
    )  # fmt: skip


@dataclass(frozen=True, kw_only=True)
class FiguresFragments:
    """Pieces of another page: what a buyer asks first, the doubts with advice, and every figure with its budget.

    Attributes
    ----------
    leading, doubts : Markup
    captures : tuple of (anchor, name, Markup)
        One a capture that has figures: its tables, to stand under a heading of the third rank.
    """

    leading: "Markup"
    doubts: "Markup"
    captures: tuple[tuple[str, str, "Markup"], ...]


def figures_fragments(results: Iterable[CaptureResult]) -> FiguresFragments:
    """Write the figures of captures as pieces of HTML, every stranger's word escaped; charts are left to the report.

    Parameters
    ----------
    results : iterable of CaptureResult
    """
    from markupsafe import Markup

    kept = list(results)
    anchors, groups = _anchors(kept, "figures-of"), figure_groups(kept)
    known = {"say": words.PAGE, "types": words.TYPES, "heads": words.HEADS}
    parts: Any = page_environment().get_template("session_parts.html.j2").make_module(known)
    told = [(anchors[id(one)], _capture(one, groups, "", drawn=False)) for one in kept if one.figures]
    return FiguresFragments(
        leading=Markup(parts.leading(_found(kept, anchors))),
        doubts=Markup(parts.doubting(doubts_of(kept))),
        captures=tuple((anchor, str(one["file"]), Markup(parts.capturing(one))) for anchor, one in told),
    )


def _anchors(results: Sequence[CaptureResult], stem: str = "capture") -> dict[int, str]:
    return {id(result): f"{stem}-{number}" for number, result in enumerate(results, start=1)}


@cache
def page_environment(package: str = "wattproof.report") -> "jinja2.Environment":
    """Give what fills a package's page templates: every word is escaped, and a name that is not given is a fault."""
    import jinja2

    environment = jinja2.Environment(
        loader=jinja2.PackageLoader(package),
        autoescape=True,
        undefined=jinja2.StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters["typeset"] = typeset
    return environment


def typeset(text: str) -> str:
    """Set minus signs and ranges as print does, and keep a number with its unit on one line.

    Examples
    --------
    >>> typeset("-60.0 dB, 1.62-1.71 s").replace(chr(160), "~")
    '−60.0~dB, 1.62–1.71~s'
    """
    number = r"\d+(?:\.\d+)?"
    text = re.sub(rf"(?<![\w-])({number})-({number})(?![\w-]|\.\w)", r"\1–\2", text)
    text = re.sub(r"(?<![\w.–])-(?=\d)", "−", text)
    return re.sub(r"(?<=\d) (?=[^\W\d_]|[%°±µ])|(?<=±) ", "\N{NO-BREAK SPACE}", text)


def page_styles() -> "Markup":
    """Give the style sheet that pages share: letters, tables and figures, light and dark, on screen and on paper."""
    from markupsafe import Markup

    sheet = (files("wattproof.report") / "templates" / "page.css").read_text(encoding="utf-8")
    dark = palette.dark_rules(".chart")
    return Markup(f"{sheet}\n@media screen and (prefers-color-scheme: dark) {{\n{dark}\n}}")


def _lede(results: Sequence[CaptureResult], bench: Bench | None, amplifier: Amplifier | None, title: str) -> str:
    what = f"{amplifier.maker} {amplifier.model}" if amplifier else words.PAGE["unnamed_amplifier"]
    where = ", ".join(filter(None, ("" if what == title else what, bench.name if bench else "")))
    typed = sum(result.kind == "readings" for result in results)
    counts = (("captures", len(results) - typed), ("readings", typed))
    said = words.PAGE["and"].join(words.counted(words.PAGE[name], n) for name, n in counts if n)
    said = said or words.PAGE["nothing"]
    return f"{where}{'. ' if where else ''}{said[0].upper()}{said[1:]}."


def _found(results: Sequence[CaptureResult], anchors: dict[int, str]) -> list[dict[str, object]]:
    """Give the leading figures: those of recordings, and apart from them those that were typed."""
    parts = (
        ("measured", "", leading_measured(results, anchors)),
        ("typed", words.PAGE["typed_note"], leading_typed(results, anchors)),
    )
    return [{"title": words.PAGE[name], "note": note, "leading": part} for name, note, part in parts if part.rows]


def _curves(results: Sequence[CaptureResult]) -> list[_Picture]:
    """Draw what all captures show together."""
    return _pictures(
        lambda width_px: charts.distortion_against_power(results, width_px=width_px),
        lambda width_px: charts.supply_sag(results, width_px=width_px),
        lambda width_px: charts.efficiency_against_power(results, width_px=width_px),
    )


def _own_pictures(result: CaptureResult) -> list[_Picture]:
    """Draw what one capture shows alone."""
    return _pictures(
        lambda width_px: charts.power_over_time(result, width_px=width_px),
        lambda width_px: charts.waveform_at_limit(result, width_px=width_px),
        lambda width_px: charts.spectrum(result, width_px=width_px),
    )


def _pictures(*drawers: Callable[[int], Spec | None]) -> list[_Picture]:
    """Draw each chart twice, for wide and for narrow pages: shrunk letters could not be read on a telephone."""
    drawn = [(draw(charts.WIDE_PX), draw(_NARROW_PX)) for draw in drawers]
    return [
        _Picture(wide=_inline(wide), narrow=_inline(narrow), caption=str(wide["description"]))
        for wide, narrow in drawn
        if wide and narrow
    ]


def _inline(spec: Spec) -> "Markup":
    from markupsafe import Markup

    return Markup(draw_svg(spec))  # the drawing escapes the names it is given


def _capture(
    result: CaptureResult, groups: Iterable[FigureGroup], anchor: str, *, drawn: bool = True
) -> dict[str, object]:
    own = [group for group in groups if group.result is result]
    return {
        "anchor": anchor,
        "file": place_name(result),
        "told": _told(result),
        "groups": [
            {
                "title": output_name(group.output).capitalize()
                if group.output is None
                else _output_title(group.output),
                "heading": group.heading,
                "shared": group.shared,
                "placed": any(row.origin for row in group.rows),
                "rows": [_row(row) for row in group.rows],
            }
            for group in own
        ],
        "pictures": _own_pictures(result) if drawn else [],
        "channels": inventory.captured_lines(result.channels),
    }


def _output_title(output: str) -> str:
    return f"{words.PAGE['output'].capitalize()} {output}"


def _told(result: CaptureResult) -> str:
    parts = [words.KINDS[result.kind].capitalize()]
    parts += [] if result.duration_s is None else [f"{result.duration_s:.4g} s"]
    parts += [] if result.sample_rate_hz is None else [f"{result.samples} samples at {result.sample_rate_hz:.6g} Hz"]
    return ", ".join(parts)


def _row(row: FigureRow) -> dict[str, object]:
    budget = budget_lines(row.figure) if row.figure.u > 0 else []
    spread = spread_text(row.figure) if budget else ""
    said = "; ".join(filter(None, (row.remarks, row.own_conditions)))
    return {
        "name": row.name,
        "value": row.value,
        "said": said,
        "origin": row.origin,
        "budget": budget,
        "spread": spread,
    }
