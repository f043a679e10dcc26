"""What is doubtful about captures, each kind of doubt once: its advice is given once, whoever it is told of."""

from collections.abc import Iterable
from dataclasses import dataclass

from wattproof.measure import CaptureResult
from wattproof.report.table import place_name


@dataclass(frozen=True, kw_only=True)
class Told:
    """A doubt as it was told, and of which captures."""

    message: str
    places: tuple[str, ...]


@dataclass(frozen=True, kw_only=True)
class Doubt:
    """All that was told under one code with one advice."""

    code: str
    hint: str
    told: tuple[Told, ...]

    @property
    def places(self) -> tuple[str, ...]:
        """All captures it was told of, each once."""
        return tuple(dict.fromkeys(place for told in self.told for place in told.places))


def doubts_of(results: Iterable[CaptureResult]) -> tuple[Doubt, ...]:
    """Gather the notices of captures by code and advice, in the order in which they first came.

    Parameters
    ----------
    results : iterable of CaptureResult
    """
    gathered: dict[tuple[str, str], dict[str, list[str]]] = {}
    for result in results:
        for notice in result.warnings:
            messages = gathered.setdefault((notice.code, notice.hint), {})
            messages.setdefault(notice.message, []).append(place_name(result))
    return tuple(
        Doubt(
            code=code,
            hint=hint,
            told=tuple(
                Told(message=message, places=tuple(dict.fromkeys(places))) for message, places in messages.items()
            ),
        )
        for (code, hint), messages in gathered.items()
    )
