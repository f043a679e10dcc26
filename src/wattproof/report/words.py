"""Every word a report says, in one place, so that it can be read over and translated."""

import re
from collections.abc import Mapping
from types import MappingProxyType

FIGURES: Mapping[str, str] = MappingProxyType(
    {
        "fundamental_frequency": "Frequency of the tone",
        "load_voltage_rms": "Load voltage, r.m.s.",
        "load_voltage_fundamental": "Load voltage, tone only",
        "load_current_rms": "Load current, r.m.s.",
        "load_current_fundamental": "Load current, tone only",
        "load_power": "Power in the load",
        "load_power_v2r": "Power from voltage and load",
        "apparent_power": "Apparent power",
        "power_factor": "Power factor",
        "load_impedance": "Load impedance",
        "load_resistance": "Load resistance",
        "load_phase": "Load angle",
        "thd_f": "Harmonic distortion (THD)",
        "thd_r": "Harmonic distortion re total",
        "thd_n": "Distortion and noise (THD+N)",
        "sinad": "Signal over the rest (SINAD)",
        "noise_rms": "Noise, r.m.s.",
        "noise_rms_a": "Noise, A-weighted",
        "snr": "Signal over noise",
        "dc_offset": "Direct voltage at the output",
        "crest_factor": "Crest factor",
        "gain": "Gain",
        "damping_factor": "Damping factor",
        "output_resistance": "Output resistance",
        "supply_voltage": "Supply voltage, mean",
        "supply_voltage_min": "Supply voltage, lowest",
        "supply_current": "Supply current, mean",
        "supply_power": "Power from the supply",
        "supply_ripple_rms": "Supply ripple, r.m.s.",
        "efficiency": "Efficiency",
        "heat": "Heat in the amplifier",
        "source_resistance": "Resistance of the supply and its leads",
        "power_at_clip_onset": "Power where clipping begins",
        "load_voltage_at_clip_onset": "Load voltage where clipping begins",
        "burst_power": "Burst power",
        "burst_voltage_rms": "Burst voltage, r.m.s.",
        "burst_headroom": "Burst headroom",
        "burst_droop": "Fall of power within a burst",
        "mean_over_burst_power": "Mean power as a share of burst power",
        "burst_duration": "Length of a burst",
        "burst_period": "Time from burst to burst",
        "burst_recovery": "Recovery",
        "sustained_power": "Sustained power",
        "idle_current": "Supply current at idle",
        "temperature": "Temperature",
        "temperature_rise": "Rise of temperature",
    }
)
"""Figure names in plain words. Harmonics and powers at a limit are worded by `figure_name`."""

KINDS: Mapping[str, str] = MappingProxyType(
    {
        "steady": "steady tone",
        "ramp": "level ramp",
        "burst": "tone bursts",
        "hold": "held tone",
        "idle": "no signal",
        "readings": "typed meter readings",
    }
)

ROLES: Mapping[str, str] = MappingProxyType(
    {
        "load_voltage": "load voltage",
        "load_current": "load current",
        "supply_voltage": "supply voltage",
        "supply_current": "supply current",
        "drive_voltage": "drive voltage",
        "temperature": "temperature",
    }
)

ROLE_UNITS: Mapping[str, str] = MappingProxyType(
    {
        "load_voltage": "V",
        "load_current": "A",
        "supply_voltage": "V",
        "supply_current": "A",
        "drive_voltage": "V",
        "temperature": "K",
    }
)

HEADS: dict[str, tuple[str, ...]] = {
    "channels": ("Channel", "Input", "Largest", "Samples at the limit"),
    "ratings": ("Rating", "Value", "Stated with it", "Not stated", "Source"),
    "calibration": ("Channel", "Input", "Scale", "u of the scale", "Skew", "Calibrated"),
    "loads": ("Load", "Cold", "u", "With heat", "Inductance", "Continuous"),
    "meters": ("Meter", "Reads", "Accuracy", "In the band"),
}

CONDITIONS: Mapping[str, str] = MappingProxyType(
    {
        "weighting": "{}-weighted",
        "harmonics": "harmonics 2 to {}",
        "thd_n": "at {} distortion and noise",
        "thd_basis": "distortion and noise re {}",
        "which": "{}",
        "kind": "{}",
        "onset": "{}",
        "clock": "clock {}",
        "frame_cycles": "read every cycle|read every {} cycles",
        "slope_db_per_s": "rising {} dB/s",
        "ripple_hz": "from the ripple at {}",
        "outputs_measured": "one output measured|{} outputs measured",
        "bursts": "one burst|over {} bursts",
        "burst_cycles": "bursts of one cycle|bursts of {} cycles",
        "settled_cycles": "one settled cycle read in each|{} settled cycles read in each",
        "steady_power_w": "against {} steady",
        "of": "of {}",
        "within": "back to within {}",
        "smoothed_s": "means over {}",
        "emf_v": "{} at no current",
        "current_a": "currents {}",
        "readings": "one reading|{} readings",
        "peak_bandwidth_hz": "peak read {}",
    }
)
"""Conditions that read better in a phrase of their own; the others are said as name, value, unit.

A phrase with two forms, parted by a stroke, has the first for one and the second for any other number.
"""

VALUES: Mapping[tuple[str, str], str] = MappingProxyType(
    {
        ("onset", "where a hard limit would begin to give this distortion"): "where distortion starts to rise",
        ("of", "level between the bursts"): "the level between bursts",
        ("of", "supply voltage"): "the supply voltage",
        ("which", "worst frame"): "the highest in the hold",
        **{("kind", kind): said for kind, said in KINDS.items()},
    }
)
"""Words by which the engine tells how something was found, as a person would say them."""

UP_TO = "up to {}"
SMALL_SIGNAL = "from the tone while under {} of the highest voltage"

RATINGS: Mapping[str, str] = MappingProxyType(
    {
        "power": "Power",
        "thd": "Distortion",
        "snr": "Signal over noise",
        "frequency_low": "Lower frequency limit",
        "frequency_high": "Upper frequency limit",
        "idle_current": "Current at idle",
        "damping_factor": "Damping factor",
    }
)

BASES: Mapping[str, str] = MappingProxyType(
    {
        "v*i": "from v·i",
        "v^2/r": "from v²/R",
        "fundamental": "re fundamental",
        "total": "re total",
        "typed": "as typed",
        "v^2/r, nominal load": "from v²/R, nominal load",
        "v*i in a resistor": "from volts times amperes in a resistor",
        "i^2*r": "from i²·R",
        "product of means": "mean volts times mean amperes",
        "drive voltage": "against the drive voltage",
        "even slope of the ramp": "against the ramp's even slope",
        "": "",
    }
)
"""What a figure was made of, or what a ratio is referred to: the condition ``basis``."""

REFERENCES: Mapping[str, str] = MappingProxyType(
    {"thd_f": "re fundamental", "thd_r": "re total", "thd_n": "re total", "harmonic": "re fundamental"}
)
"""What a ratio in dB is referred to where its basis is not stated; the trade says it with distortion, not with gain."""

TYPES: Mapping[str, str] = MappingProxyType({"A": "from repeats", "B": "from other knowledge"})

AT_DISTORTION = "{} at {:g} % distortion"
AT_THE_FLOOR = "at the recorder's floor of {}"
FLOOR = "recorder's floor {}"
BELOW = "below {}"
WHOLE = "whole amplifier"
UNKNOWN = "not known"
NO_FIGURES = "No figures."

CAUTIONS: tuple[str, ...] = (
    "Fuse the supply lead close to the source. Hundreds of amperes flow: take off rings, watches and chains.",
    "A kilowatt into 4 ohm is over 63 V r.m.s. at the terminals. Make connections with the supply off.",
    "Wear eye protection. Load resistors get hot enough to burn and to light things: guard them and let air through.",
    "Ventilate the place where batteries are charged, and keep sparks from them.",
    "Have a hardware stop within reach that cuts drive and supply together, and never leave a run alone.",
    "Both terminals of a bridged output are live. Never ground either of them, not even through a probe's clip.",
    "Where a loudspeaker plays, protect your hearing: the levels here can harm it within seconds.",
    "Cable, fuse and battery figures are estimates: follow the makers' data, local codes and a qualified installer.",
)

PAGE: Mapping[str, str] = MappingProxyType(
    {
        "language": "en",
        "unnamed_amplifier": "An amplifier without a file of its own",
        "captures": "one capture|{} captures",
        "readings": "one typed reading|{} typed readings",
        "and": " and ",
        "nothing": "no capture",
        "skip": "Skip to the figures",
        "key": "What was found",
        "key_note": "Each figure stands with its 95 % interval, and it holds for the load, the supply voltage and the "
        "conditions beside it.",
        "measured": "Measured from recordings",
        "typed": "Typed from meters",
        "typed_note": "Read from meters and typed in. No recording stands behind these figures; the intervals come "
        "from what the bench file says of the meters.",
        "mean_over": "mean over {}",
        "at_power": "at {} in the load",
        "at_first": "{} {}",
        "no_key": "These captures gave no figure that sums them up; all that was measured is listed below.",
        "strip": "Where the supply's power went",
        "strip_note": "The whole width, 100 %, is the mean power taken from the supply during the capture.",
        "strip_heading": "{} from the supply",
        "no_supply": "supply voltage not recorded",
        "heat": "heat",
        "output": "output",
        "load": "load",
        "doubts": "Doubts",
        "no_doubts": "Nothing doubtful was noticed in these captures.",
        "advice": "What to do",
        "curves": "Curves",
        "each": "Capture by capture",
        "shared": "Unless a row says otherwise",
        "figure": "Figure",
        "value": "Value, with 95 % interval",
        "conditions": "Conditions and remarks",
        "found_in": "Found in",
        "capture": "Capture",
        "budget": "what the uncertainty is made of",
        "channels": "Channels of this capture",
        "tested": "What was tested, and on what",
        "amplifier": "Amplifier",
        "ratings": "What the maker states",
        "ratings_note": "Repeated from the maker's papers. This page reports what was measured and judges nothing.",
        "bench": "Bench",
        "calibration": "Channels and their calibration",
        "loads": "Loads",
        "meters": "Meters",
        "cautions": "Before anyone repeats this",
        "made": "Made by Wattproof",
        "method": "The interval is value ± U, where U is the standard uncertainty times the factor for 95 % coverage "
        "at its degrees of freedom (JCGM 100). Figures are rounded to their uncertainty, and to five digits at most; "
        "where the uncertainty is smaller than the fifth digit, ± is rounded up to it. JSON and CSV hold all digits.",
    }
)

CHARTS: Mapping[str, str] = MappingProxyType(
    {
        "load": "Load (ohm)",
        "predicted_title": "Power against load, by the model",
        "load_power": "Power in the load (W)",
        "thd_n": "Distortion and noise (%)",
        "time": "Time (s)",
        "time_ms": "Time (ms)",
        "frequency": "Frequency (Hz)",
        "supply_voltage": "Supply voltage (V)",
        "supply_current": "Supply current (A)",
        "temperature": "Rise of temperature (K)",
        "efficiency": "Efficiency (%)",
        "spectrum": "Level (dB re {})",
        "fundamental": "fundamental",
        "distortion_told": "Distortion and noise over power in the load, both logarithmic.",
        "sag_told": "Supply voltage and current over power in the load.",
        "sag_time_told": "Supply voltage and current over time.",
        "efficiency_told": "Efficiency over power in the load.",
        "sustain_told": "What was held and how it changed with time. The marks are the sustained powers of the table, "
        "with bars as long as their 95 % intervals.",
        "waveform_told": "A few cycles as recorded.",
        "spectrum_told": "Level over frequency, frequency logarithmic.",
        "distortion_title": "Distortion against power",
        "waveform_title": "Waveform at the limit",
        "waveform_plain_title": "Waveform",
        "spectrum_title": "Spectrum",
        "sag_title": "Supply under load",
        "sustain_title": "Power over time",
        "efficiency_title": "Efficiency against power",
    }
)

_AT_A_LIMIT = {"power": "Power", "load_voltage": "Load voltage", "gain_compression": "Change of gain"}
_LIMIT = re.compile(rf"({'|'.join(_AT_A_LIMIT)})_at_thd_(\d+(?:[_.p]\d+)?)")
_ORDINALS = {2: "2nd", 3: "3rd"}


def counted(phrase: str, number: float, *, said: str = "") -> str:
    """Put a number into a phrase, whose two forms, parted by a stroke, are for one and for any other number.

    Examples
    --------
    >>> counted("one capture|{} captures", 1), counted("one capture|{} captures", 6)
    ('one capture', '6 captures')
    """
    one, _, many = phrase.partition("|")
    return (one if number == 1 or not many else many).format(said or number)


def figure_name(name: str) -> str:
    """Word a figure's name; a name without a word of its own is spelt out.

    Examples
    --------
    >>> figure_name("power_at_thd_0_1")
    'Power at 0.1 % distortion'
    >>> figure_name("harmonic_3"), figure_name("harmonic_3_phase")
    ('3rd harmonic', '3rd harmonic, phase')
    >>> figure_name("time_to_mute")
    'Time to mute'
    """
    if name in FIGURES:
        return FIGURES[name]
    if match := _LIMIT.fullmatch(name):
        return f"{_AT_A_LIMIT[match[1]]} at {_percent(match[2]):g} % distortion"
    if match := re.fullmatch(r"harmonic_(\d+)(_phase)?", name):
        order = int(match[1])
        return f"{_ORDINALS.get(order, f'{order}th')} harmonic{', phase' if match[2] else ''}"
    return name.replace("_", " ").capitalize()


def limit_percent(name: str) -> float | None:
    """Give the distortion limit, %, of a power at a limit from its name; None for other figures.

    Examples
    --------
    >>> limit_percent("power_at_thd_10"), limit_percent("power_at_thd_0_1"), limit_percent("heat")
    (10.0, 0.1, None)
    """
    match = _LIMIT.fullmatch(name)
    return _percent(match[2]) if match and match[1] == "power" else None


def names_a_limit(name: str) -> bool:
    """Say whether a figure's name tells the distortion it was found at."""
    return _LIMIT.fullmatch(name) is not None


def _percent(digits: str) -> float:
    return float(re.sub("[_p]", ".", digits))
