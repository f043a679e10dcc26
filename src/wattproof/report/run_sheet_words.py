"""Every word that a run sheet says beside its own checks and questions, so that it can be read over and translated."""

from collections.abc import Mapping
from types import MappingProxyType

STATES: Mapping[str, str] = MappingProxyType(
    {"refused": "Refused", "doubtful": "Doubtful", "good": "Looked at and good"}
)

SHEET: Mapping[str, str] = MappingProxyType(
    {
        "title": "Run sheet",
        "lede": "{amplifier} on the {bench}, at {volts} at its terminals",
        "bridged": "outputs bridged in pairs",
        "totals": "{steps} steps in {time} with rests; {full} at full power, {energy} from the supply.",
        "compare": "The ramps spend {ramp_s} at full power; stepping through the same levels by hand, 0.1 dB and 1 s "
        "a step, would spend {stepping_s} and {stepping_energy} there.",
        "steps": "Steps",
        "limits": "Where the guard stops",
        "checks": "What was looked at",
        "decidable": "What this bench can judge",
        "questions": "To be answered before a run",
        "cautions": "Before anyone begins",
        "estimates": "Powers, currents, heat and rests are estimates from the maker's figures and usual efficiencies; "
        "limits are the bench's own, drawn closer where a step needs less.",
        "no_ratings": "The amplifier file states no ratings, so there is nothing to judge.",
        "no_knee": "No knee is expected, for nothing is rated: ramps rise slowly all the way and stop by the limits.",
        "must_be": "must be: {}",
        "any_words": "in any words",
        "what_to_do": "What to do",
        "step": "step {}",
        "can": "Can be judged",
        "cannot": "Cannot",
        "day": "Day",
        "who": "Who stays at the bench",
        "air": "Air, °C",
        "serial": "Serial number",
        "done": "Done",
        "made": "Made by Wattproof",
        "glance": "The day at a glance",
        "glance_note": "Power into the loads over time: ramps rise, bursts are a comb, blanks are rests.",
        "highest": "The highest is {}.",
        "table": "What stands on the table",
        "level": "Level, ",
        "nothing_set": "–",
        "below_minimum": "below the lowest load",
        "language": "en",
        "skip": "Skip to the steps",
    }
)

STEP_HEADS = (
    "",
    "Step",
    "Tone",
    "Level, V rms",
    "Power",
    "Supply",
    "Full power",
    "Energy",
    "Load warms",
    "Lasts",
    "Rest",
)
LIMIT_HEADS = ("", "Step", "Load, peak", "Load, peak", "Direct", "Supply", "Full power above", "for", "Energy")
