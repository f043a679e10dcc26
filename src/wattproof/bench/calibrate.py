"""Scale and offset of a channel from reference readings: a straight line and how far it can be trusted."""

from collections.abc import Sequence
from math import hypot, sqrt

import numpy as np
from pydantic import Field

from wattproof.bench.calibrate_checks import line_notices, refuse_flat, refuse_loose, refuse_pairs
from wattproof.errors import Notice
from wattproof.quantity import Ledger, Quantity
from wattproof.settings import Part

_K95_KNOWN = 1.959964


class Calibration(Part):
    """The line ``reference = offset + scale · reading`` through calibration points.

    The u of scale and offset have a part from the scatter about the line (type A, `dof` degrees of freedom) and one
    from the reference instrument (type B).
    """

    readings: tuple[float, ...] = Field(description="of the channel, in the file's units")
    references: tuple[float, ...] = Field(description="of the reference instrument, engineering units")
    residuals: tuple[float, ...] = Field(description="reference minus line, engineering units")
    scale: float
    offset: float
    scale_u: float = Field(description="relative standard uncertainty of the scale")
    offset_u: float = Field(description="standard uncertainty of the offset, engineering units")
    correlation: float = Field(description="of scale and offset")
    residual_sd: float = Field(description="standard deviation about the line, engineering units")
    dof: int = Field(description="degrees of freedom: points less two")
    mean_reading: float = Field(description="where the line is known best; there level and scale are uncorrelated")
    spread: float = Field(description="sum of squares of the readings about their mean")
    u_reference: float = 0.0
    u_reference_relative: float = 0.0
    notices: tuple[Notice, ...] = ()

    @property
    def scale_scatter_u(self) -> float:
        """Type A part of the scale's standard uncertainty, engineering units per unit of the file."""
        return self.residual_sd / sqrt(self.spread)

    @property
    def offset_scatter_u(self) -> float:
        """Type A part of the offset's standard uncertainty, engineering units."""
        return self._line_u(0.0)

    def predict(self, reading: float, *, unit: str) -> Quantity:
        """Give what the reference would have shown at a reading, scale, offset and their covariance considered.

        Parameters
        ----------
        reading : float
            Of the channel, in the file's units.
        unit : str
            Engineering unit of the result.

        Returns
        -------
        Quantity
            Its u is that of the line, not of one further reading, which scatters by `residual_sd` besides.
        """
        ledger = Ledger()
        value = self.offset + self.scale * reading
        scatter = ledger.source(
            "line", 0.0, self._line_u(reading), label="scatter about the line", kind="A", dof=self.dof
        )
        common = ledger.source("reference", 0.0, self.u_reference, label="reference, zero", kind="B")
        gain = ledger.source("reference scale", 1.0, self.u_reference_relative, label="reference, scale", kind="B")
        return ledger.quantity(value * gain + scatter + common, unit=unit)

    def stored_scale_u(self, *, swings: bool) -> float:
        """Relative u of the scale for a bench file, which holds neither degrees of freedom nor correlation."""
        scatter = self.scale_scatter_u / abs(self.scale)
        return hypot(self._widened(scatter), self.u_reference_relative) * self._apart(swings)

    def stored_offset_u(self, *, swings: bool) -> float:
        """Like `stored_scale_u`, of the offset, engineering units."""
        known = hypot(self.u_reference, self.offset * self.u_reference_relative)
        return hypot(self._widened(self.offset_scatter_u), known) * self._apart(swings)

    def _line_u(self, reading: float) -> float:
        share = 1 / len(self.readings) + (reading - self.mean_reading) ** 2 / self.spread
        return self.residual_sd * sqrt(share)

    def _widened(self, u: float) -> float:
        """Widen a u of few points so that 1.96 of it still are a 95 % interval."""
        from scipy.stats import t

        return u * float(t.ppf(0.975, self.dof)) / _K95_KNOWN

    def _apart(self, swings: bool) -> float:
        """Cover the correlation that is lost: 2·|r|·a·b never exceeds |r|·(a² + b²)."""
        return sqrt(1 + abs(self.correlation)) if swings else 1.0


def calibrate(
    pairs: Sequence[tuple[float, float]], *, u_reference: float = 0.0, u_reference_relative: float = 0.0
) -> Calibration:
    """Fit ``reference = offset + scale · reading`` by ordinary least squares (JCGM 100, H.3).

    Parameters
    ----------
    pairs : sequence of (reference, reading)
        Reference in engineering units, reading of the channel in the file's units; three or more.
    u_reference : float >= 0
        Standard uncertainty of the reference that all its readings share, engineering units: its zero. What differs
        from reading to reading shows in the scatter and must not be counted twice.
    u_reference_relative : float >= 0
        Relative standard uncertainty of the reference's scale, which all its readings share too.

    Raises
    ------
    SettingsError
        Fewer than three pairs, numbers that are not finite, readings or references that are all alike, or points so
        scattered that they settle no scale.

    Examples
    --------
    >>> line = calibrate([(-41.9, -1.0), (0.1, 0.0), (42.0, 1.0)], u_reference_relative=0.001)
    >>> round(line.scale, 3), round(line.offset, 3), line.dof
    (41.95, 0.067, 1)
    """
    references, readings = refuse_pairs(pairs, u_reference, u_reference_relative)
    mean_reading = float(np.mean(readings))
    about_mean = readings - mean_reading
    spread = float(about_mean @ about_mean)
    scale = float(about_mean @ references) / spread
    refuse_flat(scale, readings, references)
    offset = float(np.mean(references)) - scale * mean_reading
    residuals = references - offset - scale * readings
    dof = len(readings) - 2
    variance = float(residuals @ residuals) / dof
    scale_var = variance / spread + (scale * u_reference_relative) ** 2
    offset_var = (
        variance * (1 / len(readings) + mean_reading**2 / spread)
        + u_reference**2
        + (offset * u_reference_relative) ** 2
    )
    covariance = -variance * mean_reading / spread + scale * offset * u_reference_relative**2
    line = Calibration(
        readings=tuple(readings.tolist()),
        references=tuple(references.tolist()),
        residuals=tuple(residuals.tolist()),
        scale=scale,
        offset=offset,
        scale_u=sqrt(scale_var) / abs(scale),
        offset_u=sqrt(offset_var),
        correlation=_ratio(covariance, sqrt(scale_var * offset_var)),
        residual_sd=sqrt(variance),
        dof=dof,
        mean_reading=mean_reading,
        spread=spread,
        u_reference=u_reference,
        u_reference_relative=u_reference_relative,
        notices=line_notices(readings, references),
    )
    refuse_loose(line.stored_scale_u(swings=True))
    return line


def _ratio(covariance: float, product: float) -> float:
    return max(-1.0, min(1.0, covariance / product)) if product > 0 else 0.0
