"""Hands out the uncertain numbers of one measurement, so that equal sources of doubt stay one source."""

from math import inf, isinf
from typing import Any, Literal, NamedTuple

from wattproof.quantity.model import BudgetLine, Quantity

# GTC costs over a second to import, so it is fetched when the first uncertain number is made.
Uncertain = Any
_SMALL = 1e-6
"""Contributions under this share of the combined u are left out of the stored budget: together they are below 1e-10."""

MOST_DOF = 1e6
"""More degrees of freedom than this are as good as infinitely many."""


class _Source(NamedTuple):
    unit: Uncertain
    label: str
    kind: Literal["A", "B"]
    dof: float


class Ledger:
    """The sources of doubt of a measurement, each held once as an uncertain 0 of standard uncertainty 1.

    A number asked for is its value plus `u` times that of its source: two figures made of the same calibration are then
    correlated, as they should be, also where one of them was restored from a file before the other was measured.
    Arithmetic on the numbers is GTC's (JCGM 100 propagation, Welch-Satterthwaite).

    Examples
    --------
    >>> ledger = Ledger()
    >>> scale = ledger.source("bench: scale of load_voltage", 1.0, 0.002, label="scale of load_voltage", kind="B")
    >>> power = ledger.quantity((20.0 * scale) ** 2 / 4.0, unit="W")
    >>> round(power.value, 6), round(power.u, 6), power.budget[0].label
    (100.0, 0.4, 'scale of load_voltage')
    """

    def __init__(self) -> None:
        self._sources: dict[str, _Source] = {}

    def source(
        self, source: str, value: float, u: float, *, label: str, kind: Literal["A", "B"], dof: float = inf
    ) -> Uncertain:
        """Give an uncertain number that moves with a source, fully correlated with all others of the same source.

        Parameters
        ----------
        source : str
            Name that identifies the source across captures and sessions.
        value : float
            Best estimate, in the source's own unit.
        u : float >= 0
            Standard uncertainty, same unit. Zero gives a plain float, which is no source.
        label : str
            What the budget calls it.
        kind : "A" or "B"
            Evaluated from repeated observations, or from other knowledge (JCGM 100, 4.2 and 4.3).
        dof : float > 0
            Degrees of freedom; infinite where `u` is taken as known.
        """
        if u == 0:
            return value
        if source not in self._sources:
            from GTC import ureal

            self._sources[source] = _Source(ureal(0.0, 1.0, dof, label=source, independent=True), label, kind, dof)
        return value + u * self._sources[source].unit

    def quantity(self, number: Uncertain, *, unit: str) -> Quantity:
        """Freeze an uncertain number, or a plain float, into a `Quantity` with its budget, largest first."""
        if isinstance(number, int | float):
            return Quantity(value=float(number), u=0.0, unit=unit)
        from GTC import rp

        u = float(number.u)
        lines = []
        # GTC lists what the number depends on; the sources' names are its labels
        for influence in rp.budget(number, trim=0.0):
            name, source = influence.label, self._sources[influence.label]
            part = float(rp.u_component(number, source.unit))
            if abs(part) > _SMALL * u:
                dof = None if isinf(source.dof) else source.dof
                sign: Literal[-1, 1] = 1 if part > 0 else -1
                lines.append(
                    BudgetLine(source=name, label=source.label, u=abs(part), sign=sign, type=source.kind, dof=dof)
                )
        lines.sort(key=lambda line: (-line.u, line.source))
        effective = float(number.df)
        # rounding may leave a hair under the 1 that GTC's factor starts at
        finite = max(effective, 1.0) if effective <= MOST_DOF else None
        k95 = float(rp.k_factor(finite)) if finite is not None else 1.959964
        return Quantity(value=float(number.x), u=u, unit=unit, k95=k95, dof=finite, budget=tuple(lines))

    def restore(self, stored: Quantity) -> Uncertain:
        """Make a stored quantity an uncertain number again, correlated with all that share its sources."""
        number: Uncertain = stored.value
        for line in stored.budget:
            dof = inf if line.dof is None else line.dof
            unit = self.source(line.source, 0.0, 1.0, label=line.label, kind=line.type, dof=dof)
            number = number + line.sign * line.u * unit
        return number
