"""Ratings on a line and the supply's power as a strip: drawings small enough to be made by hand, for page and print."""

from collections.abc import Iterable
from dataclasses import dataclass
from hashlib import sha256
from html import escape
from math import floor, isfinite, log10

from wattproof.publish.document import Mark, Scale, Strip, plain_words
from wattproof.publish.print_data import cleaned
from wattproof.quantity import value_text
from wattproof.report import FONT, GRID, INK, LIMIT, PAPER, SERIES, SOFT, Axis, linear_axis, log_axis, typeset

_LETTER_PX = 7.3
"""Width of an average letter at 13 px in a broad font: labels stay inside also where the reader has not ours."""

_MOST_DIGITS = 5
"""As elsewhere in a report: nobody reads more of them aloud."""

_MARGIN_PX = 12
_CLAIM_WORDS_PX, _FLAG_PX, _WORDS_PX, _SHADE_PX, _DOT_PX, _LINE_PX, _TICKS_PX, _TITLE_PX = (
    14,
    21,
    43,
    51,
    64,
    80,
    99,
    117,
)
_SCALE_PX = 124
_TICK_ROOM_PX = 80
_SENSES = {True: "at least", False: "at most", None: "about"}
_COLOURS = {"meets": SERIES[2].light, "falls short": SERIES[1].light, "cannot tell": SERIES[0].light}

_SIGN_PX = 20
_BAR_PX = 40
_ROW_PX = 24
_SWATCH_PX = 14
_GAP_PX = 22
_BAR_GAP_PX = 2
_LEAST_PART_PX = 2.0


def scale_svg(scale: Scale, *, width_px: int) -> str:
    """Draw a rating on its line: the claim as a flag that points to where it is kept, what was measured as a dot.

    The dot is a full circle where the rating is met, a triangle on its tip where the amplifier falls short, and an
    open diamond where nothing can be told; the bar through it is its 95 % interval.

    Parameters
    ----------
    scale : Scale
    width_px : int, px
        The drawing's width; its letters keep their size.

    Returns
    -------
    str
        An ``<svg>`` element with a title and a description of its own, all attributes, no style sheet: colours are
        those of the palette on light paper. Equal scales give equal bytes.
    """
    axis = _axis(scale, width_px)
    parts = [*_kept_side(scale, axis, width_px), *_axis_marks(axis, width_px), *_claim(scale, axis, width_px)]
    parts += _measured(scale, axis, width_px)
    told = f"{scale.verdict}. {plain_words(scale.told)}"
    size = (width_px, _SCALE_PX)
    return _svg(parts, size, mark=_mark(repr(scale), width_px), title=scale.title, told=told.rstrip())


def verdict_svg(verdict: str) -> str:
    """Draw a verdict's shape alone, as large as a letter, to stand beside its word.

    Parameters
    ----------
    verdict : {"meets", "falls short", "cannot tell"}

    Returns
    -------
    str
        An ``<svg>`` element that is hidden from who hears the page: the word beside it says the same.
    """
    shape = _dot(verdict, _SIGN_PX / 2, _COLOURS[verdict])
    box = f"0 {_DOT_PX - _SIGN_PX // 2} {_SIGN_PX} {_SIGN_PX}"
    return f'<svg aria-hidden="true" width="{_SIGN_PX}" height="{_SIGN_PX}" viewBox="{box}">{shape}</svg>'


def strip_svg(strip: Strip, *, width_px: int) -> str:
    """Draw where the supply's power goes: parts as wide as their shares, told apart by their hatching, named below.

    Parameters
    ----------
    strip : Strip
    width_px : int, px
        The drawing's width; its letters keep their size.

    Returns
    -------
    str
        An ``<svg>`` element as `scale_svg` gives it.
    """
    mark = _mark(repr(strip), width_px)
    looks = _looks(len(strip.parts))
    parts = [_pattern(look, f"p{mark}-{number}") for number, look in enumerate(looks)]
    left = 0.0
    for number, (width, look) in enumerate(zip(_widths(strip, width_px), looks, strict=True)):
        parts.append(_swatch(look, f"p{mark}-{number}", left, 0, width, _BAR_PX))
        left += width + _BAR_GAP_PX
    names = [f"{part.name} {part.text}" for part in strip.parts]
    x, y = 0.0, _BAR_PX + 8.0
    for number, (name, look) in enumerate(zip(names, looks, strict=True)):
        wide = _SWATCH_PX + 7 + _LETTER_PX * len(name)
        if x > 0 and x + wide > width_px:
            x, y = 0.0, y + _ROW_PX
        parts.append(_swatch(look, f"p{mark}-{number}", x, y + 4, _SWATCH_PX, _SWATCH_PX))
        parts.append(_text(name, x + _SWATCH_PX + 7, y + 16))
        x += wide + _GAP_PX
    told = f"{'; '.join(names)}. {plain_words(strip.told)}"
    return _svg(parts, (width_px, round(y + _ROW_PX)), mark=mark, title=strip.title, told=told.rstrip())


def _axis(scale: Scale, width_px: int) -> Axis:
    title = f"{scale.quantity} ({scale.unit})" if scale.unit else scale.quantity
    inside = [scale.low, scale.high, scale.claim, *(end for end in _ends(scale.measured) if end is not None)]
    many = max(2, (width_px - 2 * _MARGIN_PX) // _TICK_ROOM_PX)
    if scale.log:
        return log_axis(title, inside, labels=many)
    return linear_axis(title, inside, ticks=many, tight=True)


def _ends(mark: Mark) -> tuple[float | None, float | None, float | None]:
    """Give what can be drawn of a mark: numbers that are none are left out."""
    low, value, high = (end if end is not None and isfinite(end) else None for end in (mark.low, mark.value, mark.high))
    return low, value, high


def _place(axis: Axis, value: float, width_px: int) -> float:
    share = 0.0 if axis.log and value <= 0 else axis.share(value)
    return _MARGIN_PX + (width_px - 2 * _MARGIN_PX) * min(max(share, 0.0), 1.0)


def _kept_side(scale: Scale, axis: Axis, width_px: int) -> list[str]:
    """Shade the side of the claim on which it is kept; neither, where it is to be near."""
    if scale.at_least is None:
        return []
    at = _place(axis, scale.claim, width_px)
    left, right = (at, width_px - _MARGIN_PX) if scale.at_least else (_MARGIN_PX, at)
    size = f'x="{_px(left)}" y="{_SHADE_PX}" width="{_px(right - left)}" height="{_LINE_PX - _SHADE_PX}"'
    return [f'<rect {size} fill="{GRID.light}" fill-opacity="0.7"/>']


def _axis_marks(axis: Axis, width_px: int) -> list[str]:
    ends = f'x1="{_MARGIN_PX}" x2="{width_px - _MARGIN_PX}"'
    parts = [f'<line {ends} y1="{_LINE_PX}" y2="{_LINE_PX}" stroke="{LIMIT.light}"/>']
    for tick in axis.ticks:
        at = _place(axis, tick, width_px)
        parts.append(
            f'<line x1="{_px(at)}" x2="{_px(at)}" y1="{_LINE_PX}" y2="{_LINE_PX + 5}" stroke="{LIMIT.light}"/>'
        )
        parts.append(_inside(f"{tick:.10g}", at, _TICKS_PX, width_px, fill=SOFT.light, edge_px=0))
    parts.append(_text(axis.title, width_px / 2, _TITLE_PX, fill=SOFT.light, anchor="middle"))
    return parts


def _claim(scale: Scale, axis: Axis, width_px: int) -> list[str]:
    at = _place(axis, scale.claim, width_px)
    tip = at + (-9 if scale.at_least is False else 9)
    flag = f"M{_px(at)} {_FLAG_PX}L{_px(tip)} {_FLAG_PX + 5}L{_px(at)} {_FLAG_PX + 10}Z"
    words = f"claimed: {_SENSES[scale.at_least]} {scale.claim:.6g}{_unit(scale)}"
    down = f'x1="{_px(at)}" x2="{_px(at)}" y1="{_FLAG_PX}" y2="{_LINE_PX + 5}"'
    return [
        f'<line {down} stroke="{INK.light}" stroke-width="2"/>',
        f'<path d="{flag}" fill="{INK.light}"/>',
        _inside(words, at, _CLAIM_WORDS_PX, width_px, fill=INK.light),
    ]


def _measured(scale: Scale, axis: Axis, width_px: int) -> list[str]:
    low, value, high = _ends(scale.measured)
    if value is None:
        return [_halo(_inside("not measured", width_px / 2, _DOT_PX, width_px, fill=SOFT.light))]
    colour = _COLOURS[scale.verdict]
    at = _place(axis, value, width_px)
    parts = []
    if low is not None and high is not None:
        ends = f'x1="{_px(_place(axis, low, width_px))}" x2="{_px(_place(axis, high, width_px))}"'
        bar = f'y1="{_DOT_PX}" y2="{_DOT_PX}" stroke="{colour}"'
        parts.append(f'<line {ends} {bar} stroke-width="5" stroke-opacity="0.55"/>')
    parts.append(_dot(scale.verdict, at, colour))
    parts.append(
        _halo(_inside(_found_words(scale, low, value, high, width_px), at, _WORDS_PX, width_px, fill=INK.light))
    )
    return parts


def _found_words(scale: Scale, low: float | None, value: float, high: float | None, width_px: int) -> str:
    """Say how the number came about, in as many words as there is room for, and the number."""
    said = _number_words(scale, low, value, high)
    ways = ("carried to rated conditions", "carried") if scale.carried else ("found",)
    fits = (way for way in ways if _LETTER_PX * len(f"{way}: {said}") < width_px)
    return f"{next(fits, ways[-1])}: {said}"


def _number_words(scale: Scale, low: float | None, value: float, high: float | None) -> str:
    if low is None or high is None:
        return f"{value:.4g}{_unit(scale)}, doubt unknown"
    finest = 10.0 ** (floor(log10(abs(value))) - _MOST_DIGITS + 2) if value else 0.0
    doubt = max((high - low) / 2, finest)
    first, middle, last = (value_text(one, uncertainty=doubt) for one in (low, value, high))
    return f"{middle}{_unit(scale)} (95 %: {first} to {last})"


def _unit(scale: Scale) -> str:
    return f" {scale.unit}" if scale.unit else ""


def _dot(verdict: str, at: float, colour: str) -> str:
    x, y = _px(at), _DOT_PX
    edge = f'stroke="{PAPER.light}" stroke-width="1.5"'
    if verdict == "meets":
        return f'<circle cx="{x}" cy="{y}" r="6.5" fill="{colour}" {edge}/>'
    if verdict == "falls short":
        return f'<path d="M{_px(at - 8)} {y - 6}H{_px(at + 8)}L{x} {y + 8}Z" fill="{colour}" {edge}/>'
    path = f"M{x} {y - 8}L{_px(at + 8)} {y}L{x} {y + 8}L{_px(at - 8)} {y}Z"
    return f'<path d="{path}" fill="{PAPER.light}" stroke="{colour}" stroke-width="2.5"/>'


@dataclass(frozen=True)
class _Look:
    colour: str
    hatching: str


_HATCHINGS = {
    "full": "",
    "rising": "M-2 2L2 -2M0 8L8 0M6 10L10 6",
    "upright": "M2 0V8M6 0V8",
    "dotted": "M2 1V3M6 5V7",
    "level": "M0 2H8M0 6H8",
    "falling": "M-2 6L2 10M0 0L8 8M6 -2L10 2",
}


def _looks(many: int) -> list[_Look]:
    """Give each part its colour and hatching: the last is what becomes heat, in rust and hatched."""
    heat = _Look(SERIES[1].light, _HATCHINGS["rising"])
    pairs = zip((0, 2, 3, 4, 5), ("full", "upright", "dotted", "level", "falling"), strict=True)
    rest = [_Look(SERIES[colour].light, _HATCHINGS[name]) for colour, name in pairs]
    return [*(rest[number % len(rest)] for number in range(many - 1)), heat] if many > 1 else rest[:many]


def _pattern(look: _Look, name: str) -> str:
    if not look.hatching:
        return ""
    hatch = f'<path d="{look.hatching}" stroke="{look.colour}" stroke-width="2.2" fill="none"/>'
    return f'<pattern id="{name}" width="8" height="8" patternUnits="userSpaceOnUse">{hatch}</pattern>'


def _swatch(look: _Look, pattern: str, x: float, y: float, width: float, height: float) -> str:
    size = f'width="{_px(max(width - 1, 1))}" height="{_px(height - 1)}"'
    fill = f"url(#{pattern})" if look.hatching else look.colour
    return f'<rect x="{_px(x + 0.5)}" y="{_px(y + 0.5)}" {size} fill="{fill}" stroke="{look.colour}"/>'


def _widths(strip: Strip, width_px: int) -> list[float]:
    """Share the bar among the parts; one of nearly nothing is still seen, and the others give way for it."""
    room = width_px - _BAR_GAP_PX * max(len(strip.parts) - 1, 0)
    shares = [min(max(part.share, 0.0), 1.0) if isfinite(part.share) else 0.0 for part in strip.parts]
    widths = [max(room * share, _LEAST_PART_PX) for share in shares]
    return [width * min(room / sum(widths), 1.0) for width in widths]


def _inside(words: str, at: float, y: float, width_px: int, *, fill: str, edge_px: float = 2) -> str:
    """Write words centred on a place, moved where they would leave the drawing."""
    half = _LETTER_PX * len(words) / 2
    middle = min(max(at, half + edge_px), width_px - half - edge_px) if 2 * half < width_px else width_px / 2
    return _text(words, middle, y, fill=fill, anchor="middle")


def _text(words: str, x: float, y: float, *, fill: str = INK.light, anchor: str = "start") -> str:
    said = escape(typeset(cleaned(words)))
    return f'<text x="{_px(x)}" y="{_px(y)}" fill="{fill}" text-anchor="{anchor}">{said}</text>'


def _halo(text: str) -> str:
    """Write over a halo of paper, so that the claim's line may pass behind."""
    paper = f'<text stroke="{PAPER.light}" stroke-width="4" stroke-linejoin="round" '
    return text.replace("<text ", paper, 1) + text


def _px(value: float) -> str:
    return f"{value:.2f}".rstrip("0").rstrip(".")


def _mark(what: str, width_px: int) -> str:
    return sha256(f"{width_px} {what}".encode("utf-8", "replace")).hexdigest()[:8]


def _svg(parts: Iterable[str], size_px: tuple[int, int], *, mark: str, title: str, told: str) -> str:
    width_px, height_px = size_px
    size = f'width="{width_px}" height="{height_px}" viewBox="0 0 {width_px} {height_px}"'
    names = f'<title id="t{mark}">{escape(cleaned(title))}</title><desc id="d{mark}">{escape(cleaned(told))}</desc>'
    letters = f'font-family="{escape(FONT)}" font-size="13"'
    opened = f'<svg role="img" aria-labelledby="t{mark} d{mark}" xmlns="http://www.w3.org/2000/svg" {size} {letters}>'
    return f"{opened}{names}{''.join(parts)}</svg>"
