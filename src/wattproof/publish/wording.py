"""Every word that a report says of its own, in one place, so that it can be read over and translated.

Names of figures, kinds of captures and conditions are worded in `report`; verdicts and doubts where they are reached.
A phrase with two forms, parted by a stroke, has the first for one and the second for any other number.
"""

from collections.abc import Mapping
from types import MappingProxyType

LANGUAGE = "en"

SECTIONS: Mapping[str, str] = MappingProxyType(
    {
        "ratings": "Ratings and verdicts",
        "power": "Power at the limits of distortion",
        "distortion": "Distortion",
        "supply": "What it draws, and where that goes",
        "holds": "Held at full power",
        "bursts": "Bursts",
        "signal": "Spectrum and waveform",
        "model": "What was not measured, by the model",
        "inside": "Seen inside",
        "opinion": "What the tester thinks of it",
        "conditions": "Under which conditions",
        "bench": "Bench and calibration",
        "figures": "Every figure, with what its uncertainty is made of",
        "captures": "Captures",
        "cautions": "Before anyone repeats this",
    }
)
"""Headings, by anchor, in the order of a report."""

LEAD: Mapping[str, str] = MappingProxyType(
    {
        "what": "The {name}, {kind} with {outputs}, was tested on {day} on the bench {bench}, in {captures}.",
        "kind": "a class {} amplifier",
        "plain_kind": "an amplifier",
        "outputs": "one output|{} outputs",
        "bench": "“{}”",
        "no_bench": "of which no name was noted",
        "captures": "one capture|{} captures",
        "readings": "one reading typed from meters|{} readings typed from meters",
        "nothing": "no capture",
        "powers": "At {limit} of distortion it gave {powers}{driven}.",
        "power": "{value} into {load}{supply}",
        "unknown_load": "an unknown load",
        "at": " at {}",
        "weakest": " from the weakest of {} outputs driven at once",
        "one_driven": ", one output driven",
        "typed": "By meters, typed in, it gave {powers}.",
        "typed_power": "{value} into {load}{supply}, {limit}",
        "typed_limit": "at {} of distortion",
        "no_typed_limit": "distortion not read",
        "no_power": "No power at a limit of distortion was measured.",
        "no_ratings": "No rating of the maker was given, so none was judged.",
        "not_judged": "The maker's ratings were not judged.",
        "count": "Of the maker's {} it {}.",
        "all_meets": "It meets every one of the maker's {}.",
        "all_falls short": "It falls short of every one of the maker's {}.",
        "all_depends": "Every one of the maker's {} is met under some readings of it only.",
        "all_cannot tell": "None of the maker's {} can be told.",
        "ratings": "one rating|{} ratings",
        "meets": "meets one|meets {}",
        "falls short": "falls short of one|falls short of {}",
        "depends": "meets one under some readings of it only|meets {} under some readings of them only",
        "cannot tell": "leaves one that cannot be told|leaves {} that cannot be told",
        "count_one": "The maker states one rating: {}.",
        "one_meets": "it is met",
        "one_falls short": "it is not met",
        "one_depends": "it is met under some readings of it only",
        "one_cannot tell": "whether it is met cannot be told",
        "rated": "rated {claim}{load}{driven}{seconds}: {finding}",
        "rated_other": "{quantity} rated {claim}{load}{driven}{seconds}: {finding}",
        "into": " into {}",
        "rated_seconds": " for {}",
        "rated_driven": " with {} driven",
        "found_meets": "met, with {value} at the rated conditions",
        "found_falls short": "falls short, with {value} at the rated conditions, {away} the rating",
        "found_falls short_at most": "falls short, with at most {value} at the rated conditions, {away} the rating",
        "found_cannot tell": "cannot be told, with {value} at the rated conditions, {probability} likely to be met",
        "found_cannot tell_at most": "cannot be told, with at most {value} at the rated conditions",
        "found_cannot tell_at least": "cannot be told, with at least {value} at the rated conditions",
        "found_meets_at least": "met, with at least {value} at the rated conditions",
        "under": "{} below",
        "over": "{} above",
        "found_none": "cannot be told, because {why}",
        "found_depends": "met under some readings of it only",
        "found_every": "falls short however it is read, with {value} at best",
        "hold": "Held for {time} into {load}, {what} then gave {last}, {share} of what it gave at {first}.",
        "hold_one": "it",
        "hold_output": "output {}",
        "efficiency": "At 1 % of distortion into {load} it turned {value} of what it drew into power in the load.",
        "rule": "The rule was fixed beforehand: met, or fallen short of, where that is at least {confidence} probable; "
        "between the two nobody can tell, and ± spans 95 %.",
        "interval": "± spans 95 %.",
    }
)

RATINGS: Mapping[str, str] = MappingProxyType(
    {
        "rule": "Each rating was read before it was weighed, and the rule was fixed beforehand: it is met, or fallen "
        "short of, where that is at least {confidence} probable; between the two nobody can tell.",
        "none": "The amplifier file states no rating, so there is nothing to judge.",
        "not_judged": "The ratings were not judged.",
        "reading": "Read as: {}",
        "title_reading": "{title}; read as: {reading}",
        "best": "the most favourable of {} ways to read it",
        "assumed": "Not stated, and assumed: {}.",
        "measured": "Measured {value}",
        "where": " in {}",
        "unmeasured": "Nothing that was measured answers it.",
        "at_rated": "At the rated conditions {value}, carried there by {correction}.",
        "probability": "{} probable that it is met",
        "least": "under 0.1 %",
        "most": "over 99.9 %",
        "margin": "{} from the rated number",
        "at most": "what is rated is at most this",
        "at least": "what is rated is at least this",
        "makes": "That makes {}.",
        "settle": "To settle it: {}",
        "other": "Read as: {reading}: {verdict}{value}.",
        "true": "The number would be true for: {}.",
        "true_none": "The number is true under no reading that was tried.",
        "several": "This rating leaves open what it means, and how it is read decides about it.",
        "source": "Stated in: {}.",
    }
)

QUANTITIES: Mapping[str, str] = MappingProxyType(
    {
        "power": "Power",
        "thd": "Distortion",
        "efficiency": "Efficiency",
        "snr": "Signal over noise",
        "noise": "Noise",
        "gain": "Gain",
        "sensitivity": "Sensitivity",
        "idle_current": "Current at idle",
        "filter": "Filter frequency",
        "filter_slope": "Filter slope",
        "frequency_low": "Lower frequency limit",
        "frequency_high": "Upper frequency limit",
        "damping_factor": "Damping factor",
        "output_resistance": "Output resistance",
    }
)

POWER: Mapping[str, str] = MappingProxyType(
    {
        "measured": "As measured, each at the supply voltage that the amplifier had at that moment",
        "none": "No power at a limit of distortion was measured.",
        "clip": "where clipping begins",
        "typed_limit": "read at {}",
        "no_limit": "not read",
        "no_supply": "not recorded",
        "terms": "On common terms: {supply} at the terminals, {driven}",
        "terms_why_rated": "This is the supply voltage at which its power is rated.",
        "terms_why_chosen": "This is the usual supply voltage, or the one nearest to it that the captures reach.",
        "terms_mean": "Of several outputs it is the mean of those that were measured.",
        "one_driven": "one output driven",
        "all_driven": "{} outputs driven at once",
        "as_measured": "as measured, so near are its conditions",
        "carried": "carried by the model, {by}",
        "bounded": "carried by the model, {by}, bounded",
        "bounded_note": "Bounded: how the rails follow the supply was not measured; the interval reaches from rails "
        "that stand to rails that follow in full.",
        "refused": "What cannot be put on these terms",
        "refused_one": "{what} into {load}, {driven}: {why}. {hint}",
        "of_power": "of {}",
    }
)

HEADS: Mapping[str, str] = MappingProxyType(
    {
        "load": "Load",
        "output": "Output",
        "limit": "Distortion",
        "power": "Power",
        "supply": "Supply at the terminals",
        "how": "How it was found",
        "capture": "Capture",
        "from_supply": "From the supply",
        "current": "Supply current",
        "efficiency": "Efficiency",
        "heat": "Heat",
        "lowest": "Lowest supply voltage",
        "first": "At first",
        "last": "At the end",
        "kept": "Share kept",
        "warmer": "Warmer by",
        "burst": "Burst power",
        "headroom": "Over steady power",
        "length": "Length",
        "droop": "Fall within a burst",
        "recovery": "Recovery",
        "figure": "Figure",
        "value": "Value",
        "conditions": "Conditions",
        "origin": "Where",
        "budget": "Its uncertainty is made of",
        "kind": "Kind",
        "seconds": "Length",
        "rate": "Samples a second",
        "channels": "Channels, largest value",
        "parameter": "Parameter",
        "at_v": "At {}",
    }
)

SUPPLY: Mapping[str, str] = MappingProxyType(
    {
        "caption": "Drawn from the supply",
        "none": "The supply's voltage and current were not recorded.",
        "idle": "Without a signal it draws {value}{at}.",
        "strip": "{what}: {total} from the supply",
        "at_limit": "At 1 % of distortion",
        "heat": "heat",
        "load": "load",
        "supply_chart": "Supply voltage and current against power in the load. Lowest supply voltage: {}.",
        "supply_chart_plain": "Supply voltage and current against power in the load.",
        "efficiency_chart": "Efficiency against power in the load. {}.",
        "efficiency_chart_plain": "Efficiency against power in the load.",
        "efficiency_into": "{value} into {load}",
        "lowest_into": "{value} into {load}",
    }
)

TIME: Mapping[str, str] = MappingProxyType(
    {
        "no_hold": "No tone was held at full power, so how long its power lasts was not measured.",
        "hold": "Power that was still there with time",
        "hold_chart": "Power, distortion, supply and temperature over time, {file}, {load}: {told}.",
        "hold_at": "{value} at {time}",
        "no_burst": "No bursts were measured.",
        "burst": "Short bursts over a low level",
        "burst_chart": "One burst as recorded, {file}, {load}: burst power {told}.",
    }
)

SIGNAL: Mapping[str, str] = MappingProxyType(
    {
        "none": "No capture keeps a spectrum or a waveform at the limit.",
        "waveform": "Waveform, {file}{load}: a few cycles as recorded{at}.",
        "spectrum": "Spectrum, {file}{load}: the tone and what comes with it, over some cycles{at}.",
        "at": " around {time}",
        "at_limit": " around {time}, where distortion reaches {limit}",
    }
)

MODEL: Mapping[str, str] = MappingProxyType(
    {
        "none": "No model of its behaviour could be fitted, so nothing is said of what was not measured.",
        "what": "A model of the amplifier was fitted to {points}, from {loads} and {volts} at the terminals, {driven}. "
        "What follows is computed and was not measured; each number stands with its 95 % interval, and where the "
        "captures say nothing, nothing is said. A power that was measured nearby and put on common terms above is the "
        "better answer: it takes only the step from the model.",
        "points": "one measured power|{} measured powers",
        "table": "Power in watts at {limit} of distortion, by load and by supply voltage at the terminals",
        "drawn": "What it draws for that, from {supply} at the terminals",
        "each": "Power is that of each output; what is drawn, and heat, are those of all {} together.",
        "cell": "{value} ({low} to {high})",
        "refused": "not said [{}]",
        "refusal": "[{number}] {why}.",
        "chart": "Power against load by the model, at {supply} and {limit} of distortion, with its 95 % interval: "
        "{told}. {marks}",
        "chart_at": "{value} into {load}",
        "marks": "The marks are powers as measured{at}.",
        "marks_at": ", at {}",
        "fit": "The fitted numbers",
        "not_seen": "not seen in these captures",
        "not_fixed": "{low} to {high}, for the captures do not fix it",
        "complaints": "What the captures cannot say",
        "checked": "Each load left out in turn and predicted from the others, it missed by {} at most.",
        "span": "{low} to {high}",
    }
)

PARAMETERS: Mapping[str, str] = MappingProxyType(
    {
        "rail_v": "Largest voltage that the output could reach without load, peak, at {}",
        "rail_exponent": "How the rail follows the supply (0: not at all, 1: in proportion)",
        "output_ohm": "Resistance between rail and load",
        "limit_a": "Current limit, peak",
        "knee": "Softness of the limit (0: hard)",
        "idle_w": "Power at idle",
        "loss_v": "Loss in proportion to the current",
        "loss_ohm": "Loss with the square of the current",
        "converter_v": "Lost in the converter, whatever the current",
        "converter_ohm": "Resistance of the converter",
    }
)

SEEN: Mapping[str, str] = MappingProxyType(
    {
        "none": "Nothing was noted of its inside.",
        "note": "Read from the parts or measured at them, with the lid off.",
        "rail_capacitance_f": "Capacitors across the rails",
        "rail_capacitor_v": "Voltage printed on a rail capacitor",
        "rail_v": "Rail without signal",
        "rail_at_supply_v": "Supply while the rail was measured",
        "converter": "Converter between supply and rails",
        "full_bridge": "Both terminals of an output are driven",
        "fuses_a": "Fuses",
        "output_devices": "Output devices",
        "cable_mm2": "Supply lead",
        "terminal_mm2": "Largest wire the terminals take",
        "seen": "Also seen",
        "yes": "yes",
        "no": "no",
    }
)

OPINION: Mapping[str, str] = MappingProxyType(
    {
        "note": "This section is the tester's opinion. Nothing in it was measured, and no verdict rests on it.",
        "pros": "Liked",
        "cons": "Not liked",
    }
)

CONDITIONS: Mapping[str, str] = MappingProxyType(
    {
        "supply": "Supply at the terminals",
        "supply_span": "{low} to {high} where powers were read",
        "sensed": "Supply sensed at the amplifier's terminals",
        "loads": "Loads",
        "tone": "Test tone",
        "bandwidth": "Bandwidth of distortion",
        "driven": "Outputs driven at once",
        "controls": "Controls",
        "controls_said": "Controls, as said before the run",
        "temperature": "Temperature",
        "temperature_rise": "rose by up to {} in a hold",
        "before": "Before the powers",
        "before_none": "no run sheet is kept with these captures: what the amplifier did before them is not known",
        "steps": "{steps}, then {rest} of rest",
        "bridged": "Bridged outputs",
        "note": "Note of the session",
        "not_recorded": "not recorded",
        "not_noted": "not noted",
        "doubts": "What is doubtful about these captures",
        "no_doubts": "Nothing doubtful was noticed in these captures.",
        "doubt": "{messages} {hint}",
        "doubt_of": "{message} [{places}]",
        "span": "{low} to {high} {unit}",
        "amplifier": "The amplifier",
    }
)

BENCH: Mapping[str, str] = MappingProxyType(
    {
        "facts": "The bench",
        "none": "The bench file says nothing of this.",
        "interval": "Scales and their standard uncertainties u are those of the bench file when the session began.",
    }
)

APPENDIX: Mapping[str, str] = MappingProxyType(
    {
        "figures": "An interval is value ± U, where U is the standard uncertainty times the factor for 95 % coverage "
        "at its degrees of freedom (JCGM 100). Numbers are rounded to their uncertainty, and to five digits at most. "
        "Shares are of the variance; A is from repeats, B from other knowledge.",
        "no_figures": "No figure was measured.",
        "rest": "{} more, together {}",
        "little": "under 0.1 %",
        "exact": "no uncertainty stated",
        "whole": "whole capture",
        "captures": "Captures, in the order in which they were kept",
        "no_captures": "Nothing was captured.",
        "clipped": "{} at the recorder's limit",
        "origin": "{file} {span}",
        "of": "{heading}",
        "program": "Wattproof {}",
    }
)

TITLES: Mapping[str, str] = MappingProxyType({"subtitle": "Bench report of session {}"})

NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")

AND = " and "
JOIN = ", "
