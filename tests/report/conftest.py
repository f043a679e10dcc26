"""Captures of an invented bench day, made of a hard-clipped sine over a sagging supply; numbers only, no samples."""

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from wattproof.amplifier import Amplifier, Price, Rating
from wattproof.bench import Bench, BenchChannel, Limits, Load, Meter, Supply
from wattproof.errors import Notice
from wattproof.measure import CapturedChannel, CaptureResult, CurvePoint, Figure, Trace, Views
from wattproof.quantity import BudgetLine

TONE_HZ = 47.0
SOURCE_OHM = 0.0125
EMF_V = 14.42
RAIL_RATIO = 3.06
NOISE_V = 0.0021
IDLE_W = 14.0


def clipped(overdrive: float) -> tuple[float, float]:
    """THD_F of a sine clipped at 1/overdrive of its peak, and its mean square over that of the unclipped limit."""
    angle = np.arange(4096) / 4096 * 2 * np.pi
    wave = np.clip(overdrive * np.sin(angle), -1, 1)
    fundamental = 2 * abs(np.fft.rfft(wave)[1]) ** 2 / wave.size**2
    total = float(np.mean(wave**2))
    return float(np.sqrt(max(total - fundamental, 0) / fundamental)), 2 * total


def working_point(level: float, load_ohm: float) -> dict[str, float]:
    """Load power, distortion and supply at a drive level (1 = clipping at the unloaded supply's rail)."""
    supply_v = EMF_V
    for _ in range(60):
        rail_v = RAIL_RATIO * supply_v - 1.6 * 45.0 / load_ohm / 11.25
        overdrive = level * RAIL_RATIO * EMF_V / rail_v
        thd, square = clipped(overdrive) if overdrive > 1 else (1e-9, overdrive**2)
        volts = rail_v / np.sqrt(2) * np.sqrt(square)
        power = volts**2 / load_ohm
        amps = volts / load_ohm
        supply_w = IDLE_W + power + 1.1 * amps + 0.11 * amps**2
        supply_v = EMF_V - SOURCE_OHM * supply_w / supply_v
    return {
        "load_voltage_rms": volts,
        "load_current_rms": amps,
        "load_power": power,
        "thd_n": float(np.hypot(np.hypot(thd, 0.00018 + 0.00002 * volts), NOISE_V / volts)),
        "gain": volts / (level * 1.2),
        "supply_voltage": supply_v,
        "supply_current": supply_w / supply_v,
        "supply_power": supply_w,
        "efficiency": power / supply_w,
    }


def figure(name, value, relative_u, unit, *, origin, output="A", **conditions):
    """A figure whose doubt is mostly the voltage scale's, then the load's, then repeats."""
    u = abs(value) * relative_u
    parts = [
        ("scale of load_voltage", 0.9, "B", None),
        ("resistance of 4 ohm", 0.4, "B", None),
        ("frame to frame", 0.1732, "A", 41),
    ]
    budget = tuple(
        BudgetLine(source=f"boathouse: {label}", label=label, u=u * share, type=kind, dof=dof)
        for label, share, kind, dof in parts
    )
    return Figure(
        name=name,
        value=value,
        u=u,
        unit=unit,
        k95=1.98,
        dof=120.0,
        budget=budget,
        output=output,
        conditions=conditions,
        origin=origin,
    )


def ramp(file: str, load_ohm: float, *, output: str = "A", floor: float = 0.000031) -> CaptureResult:
    levels = 10 ** (np.linspace(-34, 3.5, 110) / 20)
    points = [working_point(float(level), load_ohm) for level in levels]
    curve = tuple(CurvePoint(t_s=0.05 + 0.17 * index, output=output, **point) for index, point in enumerate(points))
    power, thd = (np.array([point[key] for point in points]) for key in ("load_power", "thd_n"))
    steep = int(np.argmin(thd))
    figures = []
    common = {"frequency_hz": TONE_HZ, "load_ohm": load_ohm, "bandwidth_hz": (10.0, 20000.0)}
    for name, limit in (("power_at_thd_0_1", 0.001), ("power_at_thd_1", 0.01), ("power_at_thd_10", 0.1)):
        at = float(np.exp(np.interp(np.log(limit), np.log(thd[steep:]), np.log(power[steep:]))))
        supply_v = float(np.interp(at, power, [point["supply_voltage"] for point in points]))
        figures.append(
            figure(name, at, 0.0042, "W", origin=f"{file} 14.62-14.71 s", output=output, supply_v=supply_v, **common)
        )
    figures += [
        figure(
            "thd_n",
            float(thd.min()),
            0.02,
            "V/V",
            origin=f"{file} 12.1-12.3 s",
            output=output,
            floor=floor,
            supply_v=14.2,
            **common,
        ),
        figure("gain", 36.77, 0.0021, "V/V", origin=f"{file} 0.0-3.0 s", output=output, **common),
        figure(
            "supply_voltage_min",
            min(p["supply_voltage"] for p in points),
            0.001,
            "V",
            origin=f"{file} 18.6-18.7 s",
            output=None,
        ),
        figure("source_resistance", SOURCE_OHM, 0.03, "ohm", origin=f"{file} 0.0-18.7 s", output=None),
    ]
    t = np.linspace(0, 2 / TONE_HZ, 240)
    wave = np.clip(1.0293 * np.sin(2 * np.pi * TONE_HZ * t), -1, 1)
    peak_v = float(np.sqrt(2 * figures[1].value * load_ohm / 1.0475))
    tones = TONE_HZ * np.arange(1, 420) / 4
    rng = np.random.default_rng(5)
    level_db = -112 + 3 * rng.standard_normal(tones.size)
    for order in range(1, 40):
        level_db[4 * order - 1] = 0 if order == 1 else (-43 - 22 * np.log10(order / 3) if order % 2 else -92)
    views = Views(
        waveform=(
            Trace(
                name="load voltage",
                output=output,
                x_label="time",
                x_unit="s",
                y_label="load voltage",
                y_unit="V",
                x=tuple(t),
                y=tuple(peak_v * wave),
            ),
            Trace(
                name="load current",
                output=output,
                x_label="time",
                x_unit="s",
                y_label="load current",
                y_unit="A",
                x=tuple(t),
                y=tuple(peak_v / load_ohm * wave),
            ),
        ),
        spectrum=(
            Trace(
                name="load voltage",
                output=output,
                x_label="frequency",
                x_unit="Hz",
                y_label="level",
                y_unit="dB re fundamental",
                x=tuple(tones),
                y=tuple(level_db),
            ),
        ),
    )
    return CaptureResult(
        file=file,
        kind="ramp",
        sample_rate_hz=96000.0,
        samples=1795200,
        duration_s=18.7,
        figures=tuple(figures),
        curve=curve,
        views=views,
        channels=(
            CapturedChannel(role="load_voltage", output=output, name="1", peak=peak_v, clipped=0),
            CapturedChannel(role="supply_voltage", output=None, name="3", peak=14.42, clipped=0),
            CapturedChannel(role="supply_current", output=None, name="4", peak=61.0, clipped=3),
        ),
    )


def hold(file: str, load_ohm: float) -> CaptureResult:
    at = np.linspace(0, 300, 151)
    start = working_point(0.88, load_ohm)
    fade = 1 - 0.06 * (1 - np.exp(-at / 110))
    curve = tuple(
        CurvePoint(
            t_s=float(t),
            load_power=start["load_power"] * f,
            thd_n=0.004 + 0.002 * (1 - f),
            supply_voltage=start["supply_voltage"] + 0.2 * (1 - f),
            supply_current=start["supply_current"] * f,
            supply_power=start["supply_power"] * f,
            efficiency=start["efficiency"],
            temperature=24.0 + 600 * (1 - f),
        )
        for t, f in zip(at, fade, strict=True)
    )
    common = {"frequency_hz": TONE_HZ, "load_ohm": load_ohm, "supply_v": start["supply_voltage"]}
    figures = [
        figure(
            "sustained_power",
            start["load_power"] * float(np.interp(s, at, fade)),
            0.0043,
            "W",
            origin=f"{file} {s - 1}-{s + 1} s",
            at_s=float(s),
            **common,
        )
        for s in (10, 60, 290)
    ]
    mean = float(fade.mean())
    figures += [
        figure("load_power", start["load_power"] * mean, 0.0042, "W", origin=f"{file} 0-300 s", basis="v*i", **common),
        figure(
            "supply_power", start["supply_power"] * mean, 0.003, "W", origin=f"{file} 0-300 s", output=None, **common
        ),
        figure(
            "heat",
            (start["supply_power"] - start["load_power"]) * mean,
            0.02,
            "W",
            origin=f"{file} 0-300 s",
            output=None,
            **common,
        ),
        figure("efficiency", start["efficiency"], 0.005, "W/W", origin=f"{file} 0-300 s", output=None, **common),
    ]
    warning = Notice(
        code="calibration-overdue",
        message="The calibration of load_voltage A is 438 days old; the bench file allows 365.",
        hint="Calibrate the channel again, or state a longer interval in calibration_days.",
        numbers={"age_s": 438 * 86400.0},
    )
    return CaptureResult(
        file=file,
        kind="hold",
        sample_rate_hz=48000.0,
        samples=14400000,
        duration_s=300.0,
        figures=tuple(figures),
        curve=curve,
        warnings=(warning,),
    )


def burst(file: str) -> CaptureResult:
    common = {"frequency_hz": 997.0, "load_ohm": 4.03, "supply_v": 14.31, "bandwidth_hz": (20.0, 20000.0)}
    return CaptureResult(
        file=file,
        kind="burst",
        sample_rate_hz=96000.0,
        samples=480000,
        duration_s=5.0,
        figures=(
            figure("burst_power", 247.31, 0.0045, "W", origin=f"{file} 0.51-0.53 s", **common),
            figure("burst_headroom", 1.113, 0.004, "W/W", origin=f"{file} 0.51-0.53 s", **common),
        ),
    )


def idle(file: str) -> CaptureResult:
    return CaptureResult(
        file=file,
        kind="idle",
        sample_rate_hz=96000.0,
        samples=960000,
        duration_s=10.0,
        figures=(
            figure("idle_current", 0.974, 0.004, "A", origin=f"{file} 0-10 s", output=None, supply_v=14.41),
            figure("noise_rms", 0.00206, 0.01, "V", origin=f"{file} 0-10 s", bandwidth_hz=(20.0, 20000.0)),
            figure("noise_rms", 0.0000842, 0.01, "V", origin=f"{file} 0-10 s", weighting="A"),
            figure("dc_offset", -0.0113, 0.03, "V", origin=f"{file} 0-10 s"),
        ),
    )


def steady(file: str) -> CaptureResult:
    point = working_point(0.5, 4.03)
    common = {"frequency_hz": 997.0, "load_ohm": 4.03, "supply_v": point["supply_voltage"]}
    band = {"bandwidth_hz": (20.0, 20000.0)}
    where = {"origin": f"{file} 0.0-3.0 s"}
    figures = (
        figure("load_power", point["load_power"], 0.0042, "W", basis="v*i", **where, **common, **band),
        figure("gain", 36.71, 0.0021, "V/V", **where, **common, **band),
        figure("thd_f", 0.0000402, 0.09, "V/V", floor=0.000031, **where, **common, **band),
        figure("thd_n", 0.000412, 0.01, "V/V", floor=0.000052, **where, **common, **band),
        figure("harmonic_2", 0.0000181, 0.2, "V/V", floor=0.000011, **where, **common, **band),
        figure("supply_power", point["supply_power"], 0.003, "W", output=None, **where, **common),
        figure("efficiency", point["efficiency"], 0.005, "W/W", output=None, **where, **common),
        figure("heat", point["supply_power"] - point["load_power"], 0.02, "W", output=None, **where, **common),
    )
    return CaptureResult(
        file=file, kind="steady", sample_rate_hz=96000.0, samples=288000, duration_s=3.0, figures=figures
    )


@pytest.fixture(scope="session")
def results() -> tuple[CaptureResult, ...]:
    return (
        ramp("02-ramp-4-ohm.wav", 4.03),
        ramp("03-ramp-2-ohm.wav", 2.01),
        steady("01-steady-997.wav"),
        burst("04-burst-997.wav"),
        hold("05-hold-4-ohm.wav", 4.03),
        idle("06-idle.wav"),
    )


@pytest.fixture(scope="session")
def bench() -> Bench:
    return Bench(
        name="Boathouse bench",
        channels=(
            BenchChannel(
                input=1,
                role="load_voltage",
                scale=42.0,
                scale_u=0.002,
                full_scale=1.0,
                calibrated=date(2031, 3, 2),
                calibration_days=365,
            ),
            BenchChannel(input=3, role="supply_voltage", scale=10.0, scale_u=0.001),
            BenchChannel(input=4, role="supply_current", scale=100.0, scale_u=0.003, skew_s=1.2e-6),
        ),
        loads=(
            Load(
                name="4 ohm",
                resistance_ohm=4.03,
                resistance_u_ohm=0.008,
                tempco_per_k=60e-6,
                inductance_h=2e-6,
                continuous_w=1000,
            ),
            Load(name="2 ohm", resistance_ohm=2.01, resistance_u_ohm=0.005),
        ),
        meters=(
            Meter(
                name="handheld",
                quantity="load_voltage",
                percent_of_reading=0.8,
                digits=3,
                resolution=0.01,
                frequency_hz=(45, 400),
            ),
        ),
        supply=Supply(nominal_v=14.4, max_current_a=150),
        limits=Limits(load_voltage_v=90, supply_current_a=120, supply_voltage_v=(10.5, 16.0), temperature_c=85),
    )


@pytest.fixture(scope="session")
def amplifier() -> Amplifier:
    return Amplifier(
        maker="Saltmarsh & Daughter",
        model="Bittern 1",
        class_="D",
        supply="unregulated",
        price=Price(amount=329, currency="GBP"),
        fuse_a=60,
        minimum_load_ohm=2,
        size_mm=(310, 180, 52),
        mass_kg=3.4,
        controls={"gain": "full", "filter": "off"},
        ratings=(
            Rating(
                quantity="power",
                value=520,
                unit="W",
                load_ohm=2,
                supply_v=14.4,
                thd_percent=1,
                channels_driven=1,
                source="owner's manual",
            ),
            Rating(quantity="snr", value=95, unit="dB"),
        ),
    )


@pytest.fixture(scope="session")
def clip() -> Callable[[float], tuple[float, float]]:
    return clipped
