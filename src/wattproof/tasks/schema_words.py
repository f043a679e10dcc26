"""Descriptions for schemas, where the rooms that own the classes have none; units stand with every number."""

from collections.abc import Mapping
from typing import Any

WORDS: Mapping[str, Mapping[str, str]] = {
    "": {
        "wattproof": "version that wrote it",
        "schema": "version of this form",
        "session": "name of the session's folder in the archive",
        "output": "which amplifier output; null for the amplifier as a whole",
        "captures": "in the order of the files",
        "judged": "the verdicts and their rule",
        "kind": "steady, ramp, burst, hold, idle, or readings for typed ones",
        "file": "name of the file",
        "unit": "SI unit of the numbers beside it; ratios are V/V, W/W or 1",
        "value": "in `unit`, all digits",
        "budget": "what u is made of, a line a source",
    },
    "BudgetLine": {
        "source": "the source's name for ever; figures that share one are correlated",
        "label": "the source in words",
        "sign": "1 or -1: which way the figure moves with the source",
        "type": "A: from the capture's own scatter; B: from calibration or data sheet",
    },
    "Figure": {
        "name": "name of the figure, as in the method sheets",
        "conditions": "numbers with the unit in the key, or words",
        "origin": "capture and span of time it was computed from",
    },
    "CapturedChannel": {
        "role": "load_voltage, load_current, supply_voltage, supply_current, drive_voltage, temperature or unassigned",
        "name": "the track's name in the file",
    },
    "CaptureResult": {
        "sample_rate_hz": "samples a second, Hz; null for typed readings",
        "samples": "samples of each channel",
        "duration_s": "length, seconds",
        "channels": "the tracks as they were used",
        "figures": "all that was measured",
        "curve": "frames of a ramp, a burst train or a hold",
        "warnings": "all that is doubtful",
        "views": "points that a page draws; never a source of figures",
    },
    "CurvePoint": {
        "t_s": "middle of the frame from the start of the capture, seconds",
        "load_voltage_rms": "voltage at the load, r.m.s., V",
        "load_current_rms": "current through the load, r.m.s., A",
        "load_power": "power in the load, W",
        "thd_n": "distortion with noise, a ratio",
        "gain": "load voltage over drive voltage, V/V",
        "supply_voltage": "mean voltage at the supply terminals, V",
        "supply_current": "mean supply current, A",
        "supply_power": "mean supply power, W",
        "efficiency": "power in the load over supply power, a ratio",
        "temperature": "in what its channel was scaled to, K or °C; only its rise is sure",
    },
    "Notice": {
        "code": "names the kind of remark",
        "message": "what was found, with the numbers",
        "hint": "what to do",
        "numbers": "the numbers of the message, by name; the unit in the name",
    },
    "Trace": {
        "name": "what is drawn",
        "x_label": "what x is",
        "x_unit": "its unit",
        "y_label": "what y is",
        "y_unit": "its unit",
        "x": "in x_unit",
        "y": "in y_unit, of equal length",
    },
    "Views": {
        "waveform": "a few cycles of each channel",
        "spectrum": "level against frequency",
        "supply": "supply voltage and current over the tone",
    },
    "Judged": {
        "amplifier": "maker and model",
        "rule": "fixed before the measurement",
        "judgements": "one for each reading of each rating",
    },
    "Judgement": {
        "quantity": "what is rated",
        "sense": "how the claim is meant",
        "reading": "how the rating was read",
        "measured_name": "name of the figure it was weighed against",
        "verdict": "by the rule",
        "why": "the reason in words",
        "settling": "what would settle it",
    },
    "Reading": {"frequency_hz": "of the tone, Hz; null: any"},
    "Rule": {"confidence": "probability from which a rating counts as met, or as fallen short of"},
    "Settling": {
        "kind": "what would be changed",
        "message": "in words",
        "source": "line of the budget to improve",
        "u_now": "its standard uncertainty, in `unit`",
        "u_needed": "what it would have to be, in `unit`",
    },
    "ExportIndex": {"holds": "what tells this index from any other"},
    "ExportedCapture": {"original": "the file as it came"},
}
"""By class, then by property; those of "" hold for every class."""


def with_words(schema: dict[str, Any]) -> dict[str, Any]:
    """Fill in the descriptions that are missing; those that are there stay."""
    classes = {schema.get("title", ""): schema, **schema.get("$defs", {})}
    for title, made in classes.items():
        known = {**WORDS[""], **WORDS.get(title, {})}
        for name, told in made.get("properties", {}).items():
            if name in known:
                told.setdefault("description", known[name])
    return schema
