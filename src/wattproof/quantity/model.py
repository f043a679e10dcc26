"""The frozen form in which a number travels between rooms and rests in files."""

from math import fsum
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class BudgetLine(BaseModel):
    """One source of doubt and what it adds to a quantity.

    ``source`` names the source for ever ("bench 1f3a: scale of load_voltage A"): two quantities whose budgets hold the
    same source are correlated through it, and `sign` says in which direction each of them moves with it.
    """

    model_config = ConfigDict(frozen=True, extra="forbid")

    source: str
    label: str
    u: float = Field(ge=0, description="standard uncertainty this source adds, in the quantity's unit")
    sign: Literal[-1, 1] = 1
    type: Literal["A", "B"]
    dof: float | None = Field(default=None, gt=0, description="degrees of freedom; null means infinitely many")


class Quantity(BaseModel):
    """A value with unit, standard uncertainty, factor to a 95 % interval, and the budget the uncertainty is made of."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    value: float
    u: float = Field(ge=0, description="combined standard uncertainty, in the same unit")
    unit: str = Field(description="SI unit; ratios are V/V, W/W or 1")
    k95: float = Field(default=1.959964, description="factor from u to the half width of a 95 % interval")
    dof: float | None = Field(default=None, description="effective degrees of freedom; null means infinitely many")
    budget: tuple[BudgetLine, ...] = ()

    @property
    def interval95(self) -> tuple[float, float]:
        """Lower and upper end of the 95 % interval, in the quantity's unit."""
        half = self.k95 * self.u
        return self.value - half, self.value + half


def correlation(first: Quantity, second: Quantity) -> float:
    """Correlation coefficient of two quantities through the sources their budgets share.

    The sum of products of signed contributions of the same source, over both standard uncertainties (F.1.2.3).

    Returns
    -------
    float, 1, -1 to 1
        0 where one of them carries no uncertainty.
    """
    if first.u == 0 or second.u == 0:
        return 0.0
    theirs = {line.source: line.sign * line.u for line in second.budget}
    shared = fsum(line.sign * line.u * theirs.get(line.source, 0.0) for line in first.budget)
    return max(-1.0, min(1.0, shared / (first.u * second.u)))
