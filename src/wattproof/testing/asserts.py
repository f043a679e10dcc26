"""Comparisons that say how far off they are."""

from wattproof.quantity import Quantity


def assert_within(
    measured: Quantity | float | None,
    truth: float,
    *,
    relative: float = 0.0,
    absolute: float = 0.0,
    times_u: float = 0.0,
) -> None:
    """Raise unless `measured` is within ``relative * |truth| + absolute + times_u * u`` of the truth.

    Parameters
    ----------
    measured : Quantity, float or None
        None (a figure that was not given) always fails.
    truth : float
        In the same unit.
    relative, absolute, times_u : float >= 0
        At least one of them above zero.

    Raises
    ------
    AssertionError
        With both numbers, their difference and the allowance.

    Examples
    --------
    >>> assert_within(100.001, 100.0, relative=20e-6)
    """
    if measured is None:
        raise AssertionError(f"nothing was measured; the truth is {truth!r}")
    value, u = (measured.value, measured.u) if isinstance(measured, Quantity) else (measured, 0.0)
    allowance = relative * abs(truth) + absolute + times_u * u
    if not (allowance > 0 and abs(value - truth) <= allowance):  # a NaN must fail too
        off = f"{value - truth:+.3e}" + (f" ({(value - truth) / truth:+.3e} of it)" if truth else "")
        raise AssertionError(f"{value!r} is off the truth {truth!r} by {off}; allowed {allowance:.3e}")
