"""All that a clip is made of, and what it says at each moment."""

from dataclasses import dataclass

from wattproof.publish.overlay_axes import Curve, curve_of
from wattproof.publish.overlay_course import Course, Shares
from wattproof.publish.overlay_words import BURST, number_text


@dataclass(frozen=True, kw_only=True)
class Claim:
    """A rated power and the words beside its mark."""

    power_w: float
    text: str


@dataclass(frozen=True, kw_only=True)
class Moment:
    """What a frame shows.

    Attributes
    ----------
    numbers : tuple of str
        One a line of the ledger.
    shares : Shares or None
    points : int
        How many of the curve's points are drawn.
    gone_s : float, seconds
        Time of the capture that has passed, from 0 to its length.
    remark : str
        Beside the title: which burst.
    """

    numbers: tuple[str, ...]
    shares: Shares | None
    points: int
    gone_s: float
    remark: str = ""


@dataclass(frozen=True, kw_only=True, eq=False)
class Scene:
    """A capture as a clip shows it.

    Attributes
    ----------
    course : Course
    curve : Curve or None
    claim : Claim or None
    title : str
        What is seen, one short line.
    """

    course: Course
    curve: Curve | None
    claim: Claim | None
    title: str

    @property
    def has_strip(self) -> bool:
        """Whether it is ever known where the supply's power goes."""
        return any(self.course.shares(k) is not None for k in range(self.course.known_s.size))

    def at(self, t_s: float) -> Moment:
        """Give what is known at a time of the capture."""
        course = self.course
        index, points = course.latest(t_s), course.known(t_s)
        return Moment(
            numbers=tuple(number_text(name, course.value(name, index)) for name in course.columns),
            shares=course.shares(index),
            points=points,
            gone_s=min(max(t_s, 0.0), course.duration_s),
            remark=BURST.format(points, course.known_s.size) if course.kind == "burst" and points else "",
        )


def scene_of(course: Course, *, title: str, claim: Claim | None = None) -> Scene:
    """Put a clip together."""
    curve = curve_of(course, claim_w=None if claim is None else claim.power_w)
    return Scene(course=course, curve=curve, claim=claim, title=title)
