"""What the simulated amplifiers and supplies are made of: numbers with their meaning, nothing that moves."""

from dataclasses import dataclass, field
from typing import Literal

from wattproof.sim.controls import Controls
from wattproof.sim.heat import Bodies


@dataclass(frozen=True, kw_only=True)
class Rail:
    """The converter and its store.

    Attributes
    ----------
    ratio : float
        Rail volts for each volt of the supply, at most.
    regulated_v : float or None
        Where the converter holds the rail; None where the rail follows the supply.
    stiffness_ohm : float
        Seen from the rail while the converter regulates.
    converter_ohm, converter_v : float
        What the converter loses on the supply's side: resistance and drop.
    store_f : float
        Farads across the rail.
    bleed_ohm : float
        Empties the store when the supply is gone.
    """

    ratio: float
    regulated_v: float | None = None
    stiffness_ohm: float = 0.02
    converter_ohm: float = 0.009
    converter_v: float = 0.35
    store_f: float = 0.0066
    bleed_ohm: float = 2200.0


@dataclass(frozen=True, kw_only=True)
class CurrentLimit:
    """What the output does when more current is asked for than it bears.

    Attributes
    ----------
    kind : "clamp", "foldback" or "retry"
        Holds the peak at `peak_a`; lets it fall to `folded_a` while it is exceeded; or shuts down and tries again.
    """

    kind: Literal["clamp", "foldback", "retry"]
    peak_a: float
    folded_a: float = 0.0
    retry_s: float = 0.8


@dataclass(frozen=True, kw_only=True)
class Stage:
    """The output stage with its feedback.

    Attributes
    ----------
    kind : "D" or "AB"
        A switching stage draws what it gives and its losses; a linear one draws rail times current.
    swing, swing_negative : float
        Share of the rail the output reaches upward, and downward.
    knee_doublings : int
        Hardness of the limit: ``u / (1 + |u/limit|**m)**(1/m)`` with ``m = 2**knee_doublings``.
    stage_ohm, closed_loop_ohm : float
        Output resistance when limiting, and with the feedback at work.
    dead_v, dead_a : float
        Size of the error around zero current (dead time, crossover), and the current over which it turns.
    square, cube, rail_leak : float
        Curvature of the transfer over the rail; share of the rail's movement that modulates the gain.
    turn_v, turn_a : float
        Switching losses ``turn_v * |i|``, rounded below `turn_a`; in class AB `turn_a` is the bias current.
    noise_v_per_rthz, hum_v, dc_v : float
        Of the output.
    residue_v, carrier_hz : float
        R.m.s. of the switching residue, and its frequency.
    """

    kind: Literal["D", "AB"] = "D"
    gain: float = 20.0
    swing: float = 0.97
    swing_negative: float = 0.966
    knee_doublings: int = 5
    stage_ohm: float = 0.06
    closed_loop_ohm: float = 0.012
    dead_v: float = 0.012
    dead_a: float = 0.6
    square: float = 4e-4
    cube: float = 6e-4
    rail_leak: float = 0.004
    turn_v: float = 1.2
    turn_a: float = 0.3
    noise_v_per_rthz: float = 9e-7
    hum_v: float = 6e-5
    dc_v: float = 0.004
    residue_v: float = 0.25
    carrier_hz: float = 211300.0
    limit: CurrentLimit = CurrentLimit(kind="clamp", peak_a=80.0)


@dataclass(frozen=True, kw_only=True)
class Protection:
    """What heat and a sagging supply bring about.

    Attributes
    ----------
    warm_per_k : float
        Growth of the resistances of stage and converter with the devices' rise.
    foldback_c, foldback_per_k, deepest_fold : float
        Device temperature from which the gain is turned down, by how much a kelvin, and to what share at most.
    shutdown_c, restart_c : float
        Device temperature at which the output goes silent, and at which it comes back.
    lowest_supply_v : float
        Below it the output goes silent, until the supply has been a volt higher for `wake_s`.
    """

    warm_per_k: float = 0.004
    foldback_c: float = 105.0
    foldback_per_k: float = 0.006
    deepest_fold: float = 0.5
    shutdown_c: float = 125.0
    restart_c: float = 100.0
    lowest_supply_v: float = 9.0
    wake_s: float = 0.3


@dataclass(frozen=True, kw_only=True)
class AmplifierParts:
    """An amplifier: outputs that share a rail, idle current ahead of the converter, a heat sink."""

    outputs: tuple[str, ...] = ("A",)
    rail: Rail
    stage: Stage = Stage()
    controls: Controls = field(default=Controls())
    protection: Protection = Protection()
    idle_a: float = 0.9
    bodies: Bodies = field(
        default=Bodies(inner_j_per_k=60.0, outer_j_per_k=900.0, between_k_per_w=0.15, outside_k_per_w=0.55)
    )


@dataclass(frozen=True, kw_only=True)
class Battery:
    """Two numbers that move: the electromotive force with the charge drawn, and a slow part of the resistance.

    Attributes
    ----------
    full_v, empty_v : float
        Rested electromotive force when full, and when the charge is gone.
    ohm, slow_ohm, slow_s : float
        Resistance at once, and what is added over `slow_s`.
    cold_per_k : float
        Growth of both for each kelvin under 25 degrees Celsius.
    """

    full_v: float = 12.85
    empty_v: float = 11.6
    charge_ah: float = 70.0
    ohm: float = 0.006
    slow_ohm: float = 0.004
    slow_s: float = 8.0
    cold_per_k: float = 0.012
    temperature_c: float = 21.0


@dataclass(frozen=True, kw_only=True)
class Feed:
    """The bench supply with its cable; a battery takes its place where there is one."""

    cable_ohm: float = 0.005
    max_current_a: float = 150.0
    battery: Battery | None = None
