"""What the parts of a rig said, as a tree that a person reads at the bench."""

from collections.abc import Iterator, Sequence
from typing import Literal, Protocol

STATES = ("failed", "doubtful", "good")
_WIDTH = max(len(state) for state in STATES)


class Said(Protocol):
    """What one part said, and what is inside it."""

    @property
    def part(self) -> str: ...  # noqa: D102
    @property
    def state(self) -> Literal["good", "doubtful", "failed"]: ...  # noqa: D102
    @property
    def said(self) -> str: ...  # noqa: D102
    @property
    def why(self) -> str: ...  # noqa: D102
    @property
    def hint(self) -> str: ...  # noqa: D102
    @property
    def inside(self) -> "Sequence[Said]": ...  # noqa: D102


def checks_text(name: str, parts: Sequence[Said]) -> str:
    """Draw a tree of checks under a bench's name, with a count of what is not good in its first line.

    Parameters
    ----------
    name : str
        Of the bench.
    parts : sequence of Said
        The recorder, the supply, the load and the meters.
    """
    return "\n".join([f"{name}: {_verdict(parts)}", *_branches(parts, "")])


def _verdict(parts: Sequence[Said]) -> str:
    counts = {state: sum(part.state == state for part in parts) for state in STATES}
    bad = [f"{counts[state]} {state}" for state in ("failed", "doubtful") if counts[state]]
    if not bad:
        return f"all {len(parts)} parts are good" if len(parts) != 1 else "its one part is good"
    return f"of {len(parts)} parts {' and '.join(bad)}"


def _branches(parts: Sequence[Said], before: str) -> Iterator[str]:
    for number, part in enumerate(parts, start=1):
        last = number == len(parts)
        below = before + ("    " if last else "│   ")
        yield f"{before}{'└── ' if last else '├── '}{part.state:<{_WIDTH}}  {_head(part)}"
        rail = below + ("│   " if part.inside else "    ") + " " * (_WIDTH - 2)
        for label, text in (("why", part.why), ("try", part.hint)):
            for row, line in enumerate(text.splitlines()):
                yield f"{rail}{f'{label}: ' if row == 0 else '     '}{line}"
        yield from _branches(part.inside, below)


def _head(part: Said) -> str:
    return f"{part.part}: {part.said}" if part.said else part.part
