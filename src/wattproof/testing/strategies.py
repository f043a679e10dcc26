"""Hypothesis strategies; the only file that imports hypothesis, so the other helpers run without it."""

import numpy as np
from hypothesis import strategies as st

from wattproof.testing.capture import Capture, Recorder
from wattproof.testing.steady import Harmonic, SteadyTruth, steady_tone
from wattproof.waveform import Channel, Waveform


def harmonic_lists(
    *, max_order: int = 10, min_ratio: float = 1e-5, max_ratio: float = 0.3
) -> st.SearchStrategy[tuple[Harmonic, ...]]:
    """Draw harmonics of different orders from the second up, ratios spread evenly in dB, any phase."""
    one = st.builds(
        lambda order, exponent, phase: Harmonic(order, 10.0**exponent, phase),
        st.integers(2, max_order),
        st.floats(np.log10(min_ratio), np.log10(max_ratio)),
        st.floats(-np.pi, np.pi),
    )
    return st.lists(one, max_size=max_order - 1, unique_by=lambda h: h.order).map(lambda parts: tuple(sorted(parts)))


def waveforms(*, max_channels: int = 4, max_samples: int = 400, limit: float = 100.0) -> st.SearchStrategy[Waveform]:
    """Draw records of white noise of any level, rate and start; the numbers come from a drawn seed."""

    def build(n_channels: int, n_samples: int, rate_hz: float, start_s: float, level: float, seed: int) -> Waveform:
        samples = np.random.default_rng(seed).uniform(-level, level, (n_channels, n_samples))
        channels = tuple(Channel(name=str(number), unit="V") for number in range(1, n_channels + 1))
        return Waveform(samples=samples, rate_hz=rate_hz, channels=channels, start_s=start_s)

    return st.builds(
        build,
        st.integers(1, max_channels),
        st.integers(1, max_samples),
        st.floats(100.0, 1e6),
        st.floats(-10.0, 10.0),
        st.floats(0.0, limit),
        st.integers(0, 2**32 - 1),
    )


def steady_captures(*, max_ratio: float = 0.3, rate_hz: float = 48000.0) -> st.SearchStrategy[Capture[SteadyTruth]]:
    """Draw steady tones of 20 to 2000 Hz and 4 to 20 cycles, whole or not, with harmonics, DC and a load angle."""

    def build(
        tone_hz: float,
        cycles: float,
        volts: float,
        phase: float,
        angle_h: float,
        dc: float,
        parts: tuple[Harmonic, ...],
    ) -> Capture[SteadyTruth]:
        return steady_tone(
            tone_hz=tone_hz,
            load_v_rms=volts,
            harmonics=parts,
            phase_rad=phase,
            dc_v=dc * volts,
            resistance_ohm=4.0,
            inductance_h=angle_h,
            recorder=Recorder(rate_hz=rate_hz, seconds=cycles / tone_hz),
        )

    return st.builds(
        build,
        st.floats(20.0, 2000.0),
        st.floats(4.0, 20.0),
        st.floats(0.1, 20.0),
        st.floats(-np.pi, np.pi),
        st.floats(0.0, 5e-3),
        st.floats(-0.01, 0.01),
        harmonic_lists(max_ratio=max_ratio),
    )
