"""Every word that a site says of its own, in one place, so that it can be read over and translated."""

from collections.abc import Mapping
from types import MappingProxyType

SITE: Mapping[str, str] = MappingProxyType(
    {
        "title": "Amplifiers on the bench",
        "lead": "What was measured, with the doubt of every figure, and whether makers' ratings hold. Each name leads "
        "to its amplifier's page, and from there to the reports.",
        "compare_title": "Side by side on common terms",
        "terms": "Power at {thd} distortion with noise, {supply} V at the amplifier's terminals. ± spans 95 %. "
        "A figure marked * was carried to these terms from others near by, by a model of the amplifier; its interval "
        "says how far that can be trusted. Where several outputs were driven at once, it is the mean "
        "of one. An empty cell: not measured near enough to say.",
        "skip": "Skip to the table",
        "list": "All amplifiers",
        "compare": "Side by side",
        "search": "Search",
        "verdict": "Verdict",
        "any": "any",
        "shown": "Shown: {shown} of {all}",
        "sort": "Sort by",
        "amplifier": "Amplifier",
        "day": "Bench day",
        "bench": "Bench",
        "best": "Most power",
        "ratings": "Ratings",
        "none": "none judged",
        "price": "Price",
        "idle": "Idle current",
        "noise": "Noise, A-weighted",
        "driven": "Driven at once",
        "facts": "What the maker states",
        "sessions": "Bench days",
        "report": "The whole report of {day}",
        "found": "What was found",
        "verdict_caption": "Ratings and verdicts of {day}",
        "rating": "Rating",
        "reading": "Read as",
        "made": "Made by",
        "empty": "No session has been published yet.",
        "caution": "Figures hold for the amplifier that was tested, under the conditions that its report states. Who "
        "repeats a test works with hundreds of amperes and loud sound: the cautions in the reports come first.",
    }
)

SIGNS: Mapping[str, str] = MappingProxyType(
    {"meets": "●", "falls short": "▼", "cannot tell": "○", "depends on the reading": "◐"}
)
"""A shape for each verdict, beside its words."""

COUNTED: Mapping[str, str] = MappingProxyType(
    {
        "meets": "met",
        "falls short": "fallen short of",
        "cannot tell": "cannot be told",
        "depends on the reading": "depends on the reading",
    }
)
"""What is said of a number of ratings."""
