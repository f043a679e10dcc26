"""A small capture for the documentation's examples."""

from wattproof.testing.capture import Capture, Recorder, workshop_wiring
from wattproof.testing.steady import Harmonic, Source, SteadyTruth, steady_tone
from wattproof.waveform import MemoryRecording


def example() -> Capture[SteadyTruth]:
    """Give a fifth of a second of 997 Hz: 20 V into 4.03 ohm with 0.1 % second and third harmonics, five channels.

    Examples
    --------
    >>> round(example().truth.load_power_w, 2)
    99.26
    """
    return steady_tone(
        tone_hz=997.0,
        load_v_rms=20.0,
        harmonics=(Harmonic(2, 0.001, 0.5), Harmonic(3, 0.001, -1.0)),
        resistance_ohm=4.03,
        source=Source(ripple=0.2),
        wiring=workshop_wiring("load_voltage", "load_current", "supply_voltage", "supply_current", "drive_voltage"),
        recorder=Recorder(
            rate_hz=48000.0, seconds=0.2, bits=24, noise_rms={"load_voltage": 2e-4, "load_current": 1e-4}
        ),
    )


def example_recording() -> MemoryRecording:
    """Give the recording of `example`.

    Examples
    --------
    >>> example_recording().read()
    <Waveform 1, 2, 3, 4, 5 | 9600 samples at 48000 Hz (0.2 s)>
    """
    return example().recording
