"""The boathouse's simulated amplifiers: each teaches something, and none is any maker's."""

from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path

from wattproof.errors import RigError
from wattproof.sim.controls import Controls, Edge
from wattproof.sim.heat import Bodies
from wattproof.sim.parts import AmplifierParts, CurrentLimit, Protection, Rail, Stage

FOLDER = Path(__file__).parent / "boathouse"

BITTERN_1 = AmplifierParts(
    rail=Rail(ratio=3.66, converter_ohm=0.008, converter_v=0.35, store_f=0.0066),
    stage=Stage(turn_v=1.3, limit=CurrentLimit(kind="foldback", peak_a=60.0, folded_a=25.0)),
    idle_a=0.92,
)
"""Its rails follow the supply: it makes its rating at 14.4 V, and only there."""

DABCHICK_600 = AmplifierParts(
    rail=Rail(ratio=5.2, regulated_v=53.2, converter_ohm=0.005, converter_v=0.4, store_f=0.01, stiffness_ohm=0.03),
    stage=Stage(
        gain=24.0,
        stage_ohm=0.045,
        closed_loop_ohm=0.008,
        turn_v=1.5,
        limit=CurrentLimit(kind="clamp", peak_a=40.0),
        carrier_hz=237700.0,
    ),
    idle_a=1.15,
    bodies=Bodies(inner_j_per_k=80.0, outer_j_per_k=1700.0, between_k_per_w=0.1, outside_k_per_w=0.4),
)
"""Regulated and honest: the same power from 11.5 to 15 V, at the price of more current."""

WHIMBREL_3000 = AmplifierParts(
    rail=Rail(ratio=3.35, converter_ohm=0.011, converter_v=0.4, store_f=0.0033),
    stage=Stage(
        gain=22.0,
        stage_ohm=0.11,
        closed_loop_ohm=0.03,
        dead_v=0.03,
        turn_v=1.6,
        residue_v=0.9,
        limit=CurrentLimit(kind="clamp", peak_a=21.5),
    ),
    idle_a=1.4,
)
"""Three thousand watts on the box, sixty amperes of fuse, and a current limit that loads under 2 ohm meet."""

REDSTART_4 = AmplifierParts(
    outputs=("A", "B", "C", "D"),
    rail=Rail(ratio=1.83, converter_ohm=0.006, converter_v=0.4, store_f=0.0094),
    stage=Stage(
        kind="AB",
        gain=15.0,
        swing=0.91,
        swing_negative=0.905,
        knee_doublings=4,
        stage_ohm=0.16,
        closed_loop_ohm=0.03,
        dead_v=0.004,
        dead_a=0.05,
        square=2e-4,
        cube=3e-4,
        turn_v=0.3,
        turn_a=0.08,
        noise_v_per_rthz=4e-7,
        hum_v=4e-5,
        dc_v=-0.009,
        residue_v=0.0,
        limit=CurrentLimit(kind="retry", peak_a=14.0),
    ),
    controls=Controls(low_pass=Edge(corner_hz=104.0, order=2)),
    idle_a=1.6,
    bodies=Bodies(inner_j_per_k=90.0, outer_j_per_k=1500.0, between_k_per_w=0.12, outside_k_per_w=0.35),
)
"""Four linear channels; the dial of the low-pass says 80 Hz and 24 dB an octave, the filter is another."""

PTARMIGAN_350 = AmplifierParts(
    rail=Rail(ratio=3.05, converter_ohm=0.009, converter_v=0.4, store_f=0.0047),
    stage=Stage(
        gain=18.0,
        stage_ohm=0.07,
        turn_v=1.7,
        limit=CurrentLimit(kind="foldback", peak_a=45.0, folded_a=20.0),
        carrier_hz=187900.0,
    ),
    protection=Protection(foldback_c=55.0, foldback_per_k=0.03, shutdown_c=95.0, restart_c=70.0),
    idle_a=0.8,
    bodies=Bodies(inner_j_per_k=10.0, outer_j_per_k=36.0, between_k_per_w=0.2, outside_k_per_w=1.2),
)
"""Makes its rating cold; half a minute later its protection has turned it down."""

COLLECTION: Mapping[str, AmplifierParts] = {
    "bittern-1": BITTERN_1,
    "dabchick-600": DABCHICK_600,
    "whimbrel-3000": WHIMBREL_3000,
    "redstart-4": REDSTART_4,
    "ptarmigan-350": PTARMIGAN_350,
}


def parts_of(name: str) -> AmplifierParts:
    """Give the parts of a simulated amplifier.

    Raises
    ------
    RigError
        There is none of that name; all names are listed.
    """
    if name not in COLLECTION:
        raise RigError(
            f'There is no simulated amplifier "{name}".',
            why=f"There are: {', '.join(COLLECTION)}.",
            hint=f'Write amplifier = "{next(iter(COLLECTION))}" under [rig.simulated].',
        )
    return COLLECTION[name]


def quiet(parts: AmplifierParts) -> AmplifierParts:
    """Give the same amplifier without hiss, mains lines, offset and switching residue: for truths and tests."""
    return replace(parts, stage=replace(parts.stage, noise_v_per_rthz=0.0, hum_v=0.0, dc_v=0.0, residue_v=0.0))
