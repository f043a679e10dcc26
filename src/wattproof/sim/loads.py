"""What hangs on an output: a resistor that warms, or a loudspeaker in a box; linear, stepped by trapezia."""

from dataclasses import dataclass, field
from math import pi

import numpy as np
from numpy.typing import NDArray

from wattproof.sim.heat import Bodies

Samples = NDArray[np.float64]
_LITTLE = 0.3
"""Inductance times sampling rate over resistance, up to which two terms of the series are enough."""


@dataclass(frozen=True, kw_only=True)
class Circuit:
    """A load as states: ``x' = A x + B v``, ``i = C x + D v``."""

    a: Samples
    b: Samples
    c: Samples
    d: float


@dataclass(frozen=True, kw_only=True)
class Resistor:
    """A load resistor: cold resistance, its growth, its inductance, and the contacts ahead of it."""

    resistance_ohm: float
    inductance_h: float = 2e-6
    contact_ohm: float = 0.002
    tempco_per_k: float = 60e-6
    bodies: Bodies = field(
        default=Bodies(inner_j_per_k=40.0, outer_j_per_k=900.0, between_k_per_w=0.06, outside_k_per_w=0.25)
    )
    reactive = False

    def ohm_at(self, rise_k: float) -> float:
        """Resistance at the terminals when the wire is so much warmer, ohm."""
        return self.contact_ohm + self.resistance_ohm * (1 + self.tempco_per_k * rise_k)

    def heating_ohm(self, rise_k: float) -> float:
        """Give the part that warms the wire, ohm."""
        return self.ohm_at(rise_k) - self.contact_ohm

    def circuit(self, rise_k: float) -> Circuit:
        """Give its states at a temperature; none without inductance."""
        ohm = self.ohm_at(rise_k)
        if self.inductance_h == 0:
            empty = np.empty(0)
            return Circuit(a=np.empty((0, 0)), b=empty, c=empty, d=1 / ohm)
        one = np.ones(1)
        return Circuit(a=np.array([[-ohm / self.inductance_h]]), b=one / self.inductance_h, c=one, d=0.0)


SHORT = Resistor(resistance_ohm=0.006, inductance_h=0.0, contact_ohm=0.002, tempco_per_k=0.0)
"""A piece of wire across the terminals."""


@dataclass(frozen=True, kw_only=True)
class Loudspeaker:
    """A driver in a box, by its small-signal parameters.

    Attributes
    ----------
    re_ohm, le_h, l2_h, r2_ohm : float
        Coil: resistance when cold, inductance, and a second inductance with the eddy currents' resistance across it.
    fs_hz, qms, qes : float
        Resonance in free air and its mechanical and electrical quality.
    alpha : float >= 0
        Compliance of the driver over that of the box (Vas / Vb).
    fb_hz : float or None
        What the vent is tuned to; None for a sealed box.
    ql : float
        Quality of the box at fb (leakage).
    """

    re_ohm: float = 3.3
    le_h: float = 0.6e-3
    l2_h: float = 1.1e-3
    r2_ohm: float = 4.0
    fs_hz: float = 29.0
    qms: float = 5.2
    qes: float = 0.44
    alpha: float = 1.3
    fb_hz: float | None = None
    ql: float = 9.0
    tempco_per_k: float = 0.0039
    bodies: Bodies = field(
        default=Bodies(inner_j_per_k=45.0, outer_j_per_k=2600.0, between_k_per_w=0.35, outside_k_per_w=0.9)
    )
    reactive = True

    def ohm_at(self, rise_k: float) -> float:
        """Resistance of the coil when it is so much warmer, ohm."""
        return self.re_ohm * (1 + self.tempco_per_k * rise_k)

    def heating_ohm(self, rise_k: float) -> float:
        """Give the part that warms the coil, ohm."""
        return self.ohm_at(rise_k)

    def circuit(self, rise_k: float) -> Circuit:
        """Give its states: currents of the coil, the eddies, the suspension; the cone's voltage; box and vent.

        Seen from the coil the cone's mass is a capacitor, suspension and air are inductors and losses a resistor, all
        in parallel; a vented box is air (inductor), leakage and vent (capacitor) in series across them.
        """
        w_s = 2 * pi * self.fs_hz
        cone_f, soft_h = self.qes / (w_s * self.re_ohm), self.re_ohm / (w_s * self.qes)
        lost_ohm = self.re_ohm * self.qms / self.qes
        if self.fb_hz is None:
            soft_h /= 1 + self.alpha
        size = 4 if self.fb_hz is None else 6
        a, b, c = np.zeros((size, size)), np.zeros(size), np.zeros(size)
        a[0, :3] = np.array([-self.ohm_at(rise_k) - self.r2_ohm, self.r2_ohm, -1.0]) / self.le_h
        a[1, :2] = np.array([self.r2_ohm, -self.r2_ohm]) / self.l2_h
        a[2, [0, 2, 3]] = np.array([1.0, -1 / lost_ohm, -1.0]) / cone_f
        a[3, 2] = 1 / soft_h
        b[0], c[0] = 1 / self.le_h, 1.0
        if self.fb_hz is not None:
            w_b, air_h = 2 * pi * self.fb_hz, soft_h / self.alpha
            a[2, 4] = -1 / cone_f
            a[4, [2, 4, 5]] = np.array([1.0, -w_b * air_h / self.ql, -1.0]) / air_h
            a[5, 4] = w_b**2 * air_h
        return Circuit(a=a, b=b, c=c, d=0.0)


AnyLoad = Resistor | Loudspeaker


@dataclass(frozen=True, kw_only=True)
class Stepped:
    """A circuit at a rate: ``y[n] = pole y[n-1] + gain (v[n] + v[n-1])``, ``i = sum weight y + d v``.

    Attributes
    ----------
    poles, weights : complex arrays, one of each pair
        Of the modes; real parts of pairs are doubled in the weights.
    into, out : matrices
        From states to modes, and back.
    d, instant_per_ohm : float
        Direct conductance, and conductance for a change within one sample, siemens.
    """

    poles: NDArray[np.complex128]
    weights: NDArray[np.complex128]
    gains: NDArray[np.complex128]
    into: NDArray[np.complex128]
    out: NDArray[np.complex128]
    d: float
    instant_per_ohm: float


def stepped(circuit: Circuit, rate_hz: float) -> Stepped:
    """Turn a circuit into modes by the trapezium rule, which neither makes nor loses energy of its own."""
    size = circuit.b.size
    half = circuit.a / (2 * rate_hz)
    inverse = np.linalg.inv(np.eye(size) - half)
    step, gain = inverse @ (np.eye(size) + half), inverse @ circuit.b / (2 * rate_hz)
    poles, out = np.linalg.eig(step)
    into = np.linalg.inv(out)
    gains = into @ gain
    kept = poles.imag >= 0
    twice = np.where(poles.imag > 0, 2.0, 1.0)
    return Stepped(
        poles=poles[kept].astype(complex),
        weights=((circuit.c @ out) * twice)[kept].astype(complex),
        gains=gains[kept].astype(complex),
        into=into[kept].astype(complex),
        out=(out * twice)[:, kept].astype(complex),
        d=circuit.d,
        instant_per_ohm=float(circuit.d + circuit.c @ gain),
    )


@dataclass(frozen=True, kw_only=True)
class Straight:
    """A resistor with little inductance: ``i = v / R - L / R**2 * dv/dt``, two terms of the series of 1 / (R + s L)."""

    per_ohm: float
    slope_per_ohm: float

    @property
    def instant_per_ohm(self) -> float:
        """Conductance for a change within one sample, siemens."""
        return self.per_ohm - self.slope_per_ohm


class Hanging:
    """A load on an output: its circuit at the present temperature and the states it is in.

    Parameters
    ----------
    load : a load, or None for an open output
    rate_hz : float > 0
    """

    def __init__(self, load: AnyLoad | None, rate_hz: float) -> None:
        self.load, self._rate_hz = load, rate_hz
        self._states = np.zeros(0 if load is None else load.circuit(0.0).b.size)
        self._volts = 0.0
        self.retune(0.0)
        # what the filters need is fetched before the first block is due
        self.current(np.zeros(1))

    def retune(self, rise_k: float) -> None:
        """Take the resistance of a new temperature; the currents stay what they are."""
        self.rise_k = rise_k
        self._branch = self._branch_at(rise_k)

    def _branch_at(self, rise_k: float) -> Straight | Stepped:
        if self.load is None:
            return Straight(per_ohm=0.0, slope_per_ohm=0.0)
        ohm = self.load.ohm_at(rise_k)
        if isinstance(self.load, Resistor):
            share = self.load.inductance_h * self._rate_hz / ohm
            if share < _LITTLE:
                return Straight(per_ohm=1 / ohm, slope_per_ohm=share / ohm)
        return stepped(self.load.circuit(rise_k), self._rate_hz)

    @property
    def instant_per_ohm(self) -> float:
        """Conductance for a change within one sample, siemens."""
        return self._branch.instant_per_ohm

    def still(self) -> None:
        """Forget all currents."""
        self._states, self._volts = np.zeros_like(self._states), 0.0

    def current(self, volts: Samples, *, keep: bool = False) -> Samples:
        """Give the current that voltages at the terminals drive from the present states on.

        Parameters
        ----------
        volts : Samples of shape (n_samples,)
        keep : bool
            Whether the states move on.
        """
        branch = self._branch
        amps = branch.instant_per_ohm * volts if isinstance(branch, Straight) else branch.d * volts
        if isinstance(branch, Straight):
            amps[1:] += branch.slope_per_ohm * volts[:-1]
            amps[0] += branch.slope_per_ohm * self._volts
        else:
            ended = _add_modes(branch, amps, volts, self._volts, branch.into @ self._states)
            if keep:
                self._states = (branch.out @ ended).real
        if keep:
            self._volts = float(volts[-1])
        return amps


def _add_modes(
    modes: Stepped, amps: Samples, volts: Samples, before_v: float, began: NDArray[np.complex128]
) -> NDArray[np.complex128]:
    """Add the currents of all modes to `amps`, and give where the modes end."""
    from scipy.signal import lfilter

    sums = volts.copy()
    sums[0] += before_v
    sums[1:] += volts[:-1]
    ended = np.empty_like(began)
    for k, pole in enumerate(modes.poles):
        real = pole.imag == 0
        at, gain, start = (z.real if real else z for z in (pole, modes.gains[k], began[k]))
        course, _ = lfilter([gain], [1.0, -at], sums, zi=np.array([at * start]))
        amps += (modes.weights[k] * course).real
        ended[k] = course[-1]
    return ended
