"""The recorder's inputs as they truly are: gain, offset, lag a little off what the bench file says; noise, bits."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import ceil, pi, sqrt

import numpy as np
from numpy.typing import NDArray

from wattproof.bench import BenchChannel
from wattproof.errors import RigError
from wattproof.sim.engine import Happened
from wattproof.sim.halfband import Halver, there_and_back_samples

Samples = NDArray[np.float64]

BITS = 24
_NOISE = {"load_current": 8e-6, "supply_current": 1.2e-5}
_QUIET = 2e-6
_FARTHEST = 1.7
"""Nothing on this bench is farther off than so many of its standard uncertainties."""
_CARRIER_LEFT = 2e-4
"""What the input's own filter leaves of a switching residue."""
_MOST_LAG_S = 0.002


@dataclass(frozen=True, kw_only=True)
class Input:
    """One input of the recorder, as it truly is.

    Attributes
    ----------
    role, row
        What it is wired to; the row of the amplifier's output.
    scale, offset, lag_s : float
        ``file = (value - offset) / scale``, in engineering units per unit of the file.
    full_scale : float
        File units.
    noise : float
        R.m.s., file units.
    coupled_hz : float or None
        Corner of its AC coupling.
    """

    role: str
    row: int = 0
    scale: float = 1.0
    offset: float = 0.0
    lag_s: float = 0.0
    full_scale: float = 1.0
    noise: float = _QUIET
    coupled_hz: float | None = None


def true_inputs(channels: Sequence[BenchChannel], outputs: Sequence[str], *, seed: int) -> tuple[Input | None, ...]:
    """Draw what the bench's numbered channels truly are, each within its stated uncertainty.

    Returns
    -------
    tuple of Input or None
        In the order of the tracks; None where a track is in no channel.

    Raises
    ------
    RigError
        A channel is wired to an output that the amplifier does not have, or lags by more than 2 ms.
    """
    numbered = {channel.input: channel for channel in channels if isinstance(channel.input, int)}
    rng = np.random.default_rng([seed, 2])
    inputs: list[Input | None] = []
    for number in range(1, max(numbered, default=0) + 1):
        off = np.clip(rng.standard_normal(3), -_FARTHEST, _FARTHEST)
        channel = numbered.get(number)
        inputs.append(None if channel is None else _true(channel, outputs, off))
    return tuple(inputs)


def _true(channel: BenchChannel, outputs: Sequence[str], off: Samples) -> Input:
    by_output = channel.role in {"load_voltage", "load_current"}
    if by_output and channel.output not in outputs:
        raise RigError(
            f"Input {channel.input} records output {channel.output}, which the simulated amplifier does not have.",
            why=f"Its outputs are: {', '.join(outputs)}.",
            hint=f'Write output = "{outputs[0]}" at that channel, or choose another amplifier under [rig.simulated].',
        )
    lag_s = channel.skew_s + float(off[2]) * channel.skew_u_s
    if abs(lag_s) > _MOST_LAG_S:
        raise RigError(
            f"The simulated recorder cannot lag by {lag_s:.3g} s.",
            why=f"input {channel.input} has skew_s = {channel.skew_s:g}; it reaches {_MOST_LAG_S:g} s",
            hint="Correct skew_s in the bench file.",
        )
    return Input(
        role=channel.role,
        row=list(outputs).index(channel.output) if by_output else 0,
        # a file's number too large by e means that each of its units stands for fewer volts
        scale=channel.scale / (1 + float(off[0]) * channel.scale_u),
        offset=channel.offset + float(off[1]) * channel.offset_u,
        lag_s=lag_s,
        full_scale=channel.full_scale or 1.0,
        noise=_NOISE.get(channel.role, _QUIET) * (channel.full_scale or 1.0),
    )


class Inputs:
    """The recorder at work, block after block.

    Parameters
    ----------
    inputs : sequence of Input or None
        One a track.
    rate_hz : float
        The recorder's.
    doublings : int >= 0
        The simulation runs at ``rate_hz * 2**doublings``.
    seed : int
        Of its noise.

    Attributes
    ----------
    delay_samples : int
        From a sample of the drive to its place in the file, the filters ahead of the amplifier included.
    wrong : Samples of shape (n_tracks,)
        Factors on what reaches the inputs; 1 where nothing is broken.
    residue_v, carrier_hz : float
        R.m.s. of the switching residue ahead of the input's filter, and its frequency.
    """

    def __init__(self, inputs: Sequence[Input | None], *, rate_hz: float, doublings: int, seed: int) -> None:
        self.inputs = [one if one is not None else Input(role="") for one in inputs]
        self.rate_hz, self._inside_hz = rate_hz, rate_hz * 2**doublings
        earliest = min((one.lag_s for one in self.inputs), default=0.0)
        every = 1 << doublings
        # the cubic below wants one sample from ahead; whole samples of the recorder keep the delay a whole number
        self._base: int = every * ceil((2 + max(0.0, -earliest) * self._inside_hz) / every)
        self._kept = self._base + ceil(_MOST_LAG_S * self._inside_hz) + 4
        self._past = np.zeros((len(self.inputs), self._kept))
        self._halvers = [Halver(len(self.inputs)) for _ in range(doublings)]
        self.delay_samples: int = self._base // every + there_and_back_samples(doublings)
        self._rng = np.random.default_rng([seed, 3])
        self._sample = 0
        self._coupled = np.zeros(len(self.inputs))
        self._offsets = np.array([one.offset for one in self.inputs])
        self._scales = np.array([one.scale for one in self.inputs])
        self._noises = np.array([one.noise for one in self.inputs])
        self._steps = np.array([one.full_scale / 2 ** (BITS - 1) for one in self.inputs])
        self._hears_carrier = np.array([one.role == "load_voltage" for one in self.inputs])
        self.wrong = np.ones(len(self.inputs))
        self.residue_v, self.carrier_hz = 0.0, 0.0

    def recorded(self, happened: Happened) -> Samples:
        """Give what stands in the file, shape (n_samples, n_tracks)."""
        seen = np.concatenate([self._past, self._true(happened)], axis=1)
        self._past = seen[:, -self._kept :]
        rows = np.array([self._lagged(row, one.lag_s) for row, one in zip(seen, self.inputs, strict=True)])
        for halver in reversed(self._halvers):
            rows = halver.halved(rows)
        rows += self._hears_carrier[:, None] * self._carrier(rows.shape[1])
        for row, one in enumerate(self.inputs):
            if one.coupled_hz is not None:
                rows[row] = self._couple(row, rows[row], one.coupled_hz)
        noise = self._rng.standard_normal(rows.shape[::-1])
        self._sample += len(noise)
        return self._digitised(rows.T * self.wrong, noise)

    def _digitised(self, values: Samples, noise: Samples) -> Samples:
        """Turn engineering units into a file's numbers: scale, noise, bits and ends; shapes (n_samples, n_tracks)."""
        codes: Samples = (values - self._offsets) / self._scales + noise * self._noises
        codes /= self._steps
        np.rint(codes, out=codes)
        np.clip(codes, -(2 ** (BITS - 1)), 2 ** (BITS - 1) - 1, out=codes)
        codes *= self._steps
        return codes

    def settle(self, supply_v: float, supply_a: float, sink_c: float) -> None:
        """Take it that nothing but idling has been seen for long."""
        resting = {"supply_voltage": supply_v, "supply_current": supply_a, "temperature": sink_c}
        values = np.array([resting.get(one.role, 0.0) for one in self.inputs])
        self._past[:] = values[:, None]
        for halver in self._halvers:
            halver.settle(values)

    def break_divider(self, row: int, ratio: float) -> None:
        """Let so many times too much through to the load voltage's input of an output."""
        for track, one in enumerate(self.inputs):
            if one.role == "load_voltage" and one.row == row:
                self.wrong[track] = ratio

    def _true(self, happened: Happened) -> Samples:
        whole = {
            "supply_voltage": happened.supply_v,
            "supply_current": happened.supply_a,
            "temperature": happened.sink_c,
            "": np.zeros_like(happened.supply_v),
        }
        each = {
            "load_voltage": happened.load_v,
            "load_current": happened.load_a,
            "drive_voltage": happened.drive_v,
        }
        return np.array([each[one.role][one.row] if one.role in each else whole[one.role] for one in self.inputs])

    def _lagged(self, seen: Samples, lag_s: float) -> Samples:
        """Give the newest samples, late by the base delay and the input's lag, on the cubic through four neighbours."""
        late = self._base + lag_s * self._inside_hz
        whole = int(late)
        at = 1 - (late - whole)  # from the second of the four, samples
        n_samples = seen.size - self._kept
        if at > 1 - 1e-9:
            return seen[self._kept - whole : self._kept - whole + n_samples]
        weights = (
            -at * (at - 1) * (at - 2) / 6,
            (at + 1) * (at - 1) * (at - 2) / 2,
            -(at + 1) * at * (at - 2) / 2,
            (at + 1) * at * (at - 1) / 6,
        )
        start = self._kept - whole - 2
        return sum(
            (weight * seen[start + k : start + k + n_samples] for k, weight in enumerate(weights)),
            start=np.zeros(n_samples),
        )

    def _carrier(self, n_samples: int) -> Samples:
        """Give the switching residue where the recorder's rate folds it to."""
        phase = (self._sample + np.arange(n_samples)) * (self.carrier_hz / self.rate_hz % 1.0)
        carrier: Samples = sqrt(2) * _CARRIER_LEFT * self.residue_v * np.sin(2 * pi * phase)
        return carrier

    def _couple(self, row: int, values: Samples, corner_hz: float) -> Samples:
        """Take off what stands still: a first-order high-pass."""
        from scipy.signal import lfilter

        k = pi * corner_hz / self.rate_hz
        out, state = lfilter(
            [1 / (1 + k), -1 / (1 + k)], [1.0, (k - 1) / (1 + k)], values, zi=self._coupled[row : row + 1]
        )
        self._coupled[row] = state[0]
        coupled: Samples = out
        return coupled


def coupled(inputs: Sequence[Input | None], *, corner_hz: float) -> tuple[Input | None, ...]:
    """Give the same inputs with AC coupling on those of the load."""
    return tuple(
        replace(one, coupled_hz=corner_hz) if one is not None and one.role.startswith("load") else one for one in inputs
    )
