"""The words that print and post add of their own, in one place, so that they can be read over and translated."""

from collections.abc import Mapping
from types import MappingProxyType

SAY: Mapping[str, str] = MappingProxyType(
    {
        "appendix": "Appendix",
        "bench_day": "Bench day",
        "caution": "Caution",
        "chart": "Chart",
        "contents": "Contents",
        "generated": "made",
        "page": "page {page} of {pages}",
        "photo": "Photograph",
        "verdict": "Verdict",
    }
)
