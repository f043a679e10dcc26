"""Results as `measure` gives them, with curves whose every number is known, for clips."""

from wattproof.measure import CaptureResult, CurvePoint, Figure


def hold(*watts, seconds=None, temperature=True):
    """A hold of one-second frames; None leaves a frame out, so that there is a gap."""
    points = [
        CurvePoint(
            t_s=n + 0.5, load_power=value, thd_n=0.001 * (n + 1), supply_voltage=14.4 - 0.1 * n,
            supply_current=value / 10, supply_power=value / 0.8, efficiency=0.8,
            temperature=21.0 + n if temperature else None,
        )
        for n, value in enumerate(watts)
        if value is not None
    ]  # fmt: skip
    length_s = float(len(watts)) if seconds is None else seconds
    return CaptureResult(
        file="hold.wav", kind="hold", sample_rate_hz=1000.0, samples=round(1000 * length_s), duration_s=length_s,
        curve=tuple(points),
    )  # fmt: skip


def ramp(n=40, step_s=0.05, seconds=3.0):
    """A ramp whose power doubles every fourth frame; it ends before the capture does."""
    points = [
        CurvePoint(
            t_s=0.5 + step_s * (k + 0.5), load_power=0.5 * 2 ** (k / 4), thd_n=0.0005 + 0.0001 * 1.2**k,
            supply_voltage=14.4 - 0.01 * k, supply_current=1.0 + 0.5 * k, supply_power=10 + 2 ** (k / 4),
            efficiency=0.5 * 2 ** (k / 4) / (10 + 2 ** (k / 4)),
        )
        for k in range(n)
    ]  # fmt: skip
    return CaptureResult(
        file="ramp.wav", kind="ramp", sample_rate_hz=1000.0, samples=round(1000 * seconds), duration_s=seconds,
        curve=tuple(points),
    )  # fmt: skip


def bursts(starts_s=(1.0, 2.0, 3.0), length_s=0.25, seconds=5.0):
    """A burst train; a point stands where its burst begins."""
    points = [
        CurvePoint(t_s=start, load_power=100.0 + k, supply_voltage=14.0, supply_power=150.0)
        for k, start in enumerate(starts_s)
    ]
    length = Figure(name="burst_duration", value=length_s, u=1e-4, unit="s", origin="bursts.wav")
    return CaptureResult(
        file="bursts.wav", kind="burst", sample_rate_hz=1000.0, samples=round(1000 * seconds), duration_s=seconds,
        curve=tuple(points), figures=(length,),
    )  # fmt: skip
