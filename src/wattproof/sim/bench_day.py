"""A day at the boathouse bench: writes the sample captures and the files a person writes beside them."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from wattproof.sim import drive, workshop
from wattproof.sim.amplifier import Played, SimulatedAmplifier, SimulatedLoad, play
from wattproof.sim.readings import readings_csv
from wattproof.sim.recorder import Track, recorded
from wattproof.sim.scope import scope_csv

Samples = NDArray[np.float64]
_PAD_S = 0.25
"""Played before and after what is kept: the rail settles, and the recorder's filter has neighbours at both ends."""
_OVERSAMPLING = 2
_TEXTS = Path(__file__).parent / "boathouse"


@dataclass(frozen=True, kw_only=True)
class Step:
    """One capture of the day.

    Attributes
    ----------
    file : str
        Path within the day's folder.
    drives : tuple of functions
        Seconds in, volts out; one for each output. Time 0 is the capture's first sample.
    """

    file: str
    drives: tuple[Callable[[Samples], Samples], ...]
    seconds: float
    loads: tuple[SimulatedLoad, ...]
    rate_hz: int = 48000
    amplifier: SimulatedAmplifier = workshop.BITTERN_1
    tracks: Sequence[Track] = workshop.BITTERN_TRACKS
    seed: int = 1

    @property
    def outputs(self) -> tuple[str, ...]:
        """Names of the outputs, in the order of the drives."""
        return tuple("ABCDEFGH"[: len(self.drives)])


_TONE = partial(drive.tone, tone_hz=workshop.TONE_HZ)
_RAMP = partial(drive.ramp, tone_hz=workshop.TONE_HZ)

STEPS: tuple[Step, ...] = (
    Step(file="01-idle.wav", drives=(np.zeros_like,), seconds=5.0, loads=(workshop.LOAD_4,), seed=11),
    Step(
        file="02-steady-4-ohm.wav",
        drives=(partial(_TONE, drive_v_rms=1.0, phase_rad=0.8),),
        seconds=3.1,
        loads=(workshop.LOAD_4,),
        seed=12,
    ),
    Step(
        file="03-ramp-4-ohm.flac",
        drives=(partial(_RAMP, start_v_rms=0.1, slope_db_per_s=8.0),),
        seconds=3.5,
        loads=(workshop.LOAD_4,),
        seed=13,
    ),
    Step(
        file="04-ramp-2-ohm.wav",
        drives=(partial(_RAMP, start_v_rms=0.2, slope_db_per_s=6.0),),
        seconds=3.6,
        loads=(workshop.LOAD_2,),
        seed=14,
    ),
    Step(
        file="05-burst-2-ohm.wav",
        drives=(
            partial(
                drive.bursts,
                tone_hz=workshop.TONE_HZ,
                drive_v_rms=1.64,
                low_db=-20.0,
                cycles_on=8,
                cycles_period=47,
            ),
        ),
        seconds=4.2,
        loads=(workshop.LOAD_2,),
        seed=15,
    ),
    Step(
        file="06-hold-2-ohm.flac",
        drives=(partial(_TONE, drive_v_rms=1.64),),
        seconds=60.0,
        loads=(workshop.LOAD_2,),
        rate_hz=12000,
        seed=16,
    ),
    Step(
        file="fieldfare-2/01-steady-both-4-ohm.wav",
        drives=(partial(_TONE, drive_v_rms=0.8), partial(_TONE, drive_v_rms=0.78)),
        seconds=2.1,
        loads=(workshop.LOAD_4, workshop.LOAD_4_B),
        amplifier=workshop.FIELDFARE_2,
        tracks=workshop.FIELDFARE_TRACKS,
        seed=17,
    ),
)


def play_step(step: Step) -> Played:
    """Play a step, padded at both ends; `kept` cuts the pads off."""
    rate_hz = float(step.rate_hz * _OVERSAMPLING)
    n_samples = round((step.seconds + 2 * _PAD_S) * rate_hz)
    times_s = np.arange(n_samples) / rate_hz - _PAD_S
    drives = np.array([shape(times_s) for shape in step.drives])
    return play(step.amplifier, drives, rate_hz, source=workshop.SOURCE, loads=step.loads, seed=step.seed)


def kept(step: Step, played: Played) -> Played:
    """Give the part of what was played that the capture holds."""
    start = round(_PAD_S * played.rate_hz)
    return played.cut(start, start + round(step.seconds * played.rate_hz))


def write_samples(folder: Path) -> tuple[Path, ...]:
    """Write the demonstration's bench day: captures, bench and amplifier files, an oscilloscope text, typed readings.

    The same samples and text every time. The amplifiers, their makers and all results are made up; the truth behind the
    files is in `wattproof.sim.truth.day_truth`.

    Parameters
    ----------
    folder : Path
        Made if it does not exist; files of the same names are written over.

    Returns
    -------
    tuple of Path
        All files, in the order of the day; files a person would have written come first.
    """
    import soundfile

    for part in (folder, folder / "fieldfare-2"):
        part.mkdir(parents=True, exist_ok=True)
    paths = _write_texts(folder)
    for step in STEPS:
        played = play_step(step)
        samples = recorded(played, step.tracks, step.outputs, every=_OVERSAMPLING, seed=step.seed + 100)
        start = round(_PAD_S * step.rate_hz)
        path = folder / step.file
        rows = samples[start : start + round(step.seconds * step.rate_hz)]
        soundfile.write(path, rows, step.rate_hz, subtype="PCM_24")
        paths.append(path)
    for name, text in (("07-scope-1khz.csv", scope_csv()), ("readings.csv", readings_csv())):
        (folder / name).write_text(text, encoding="utf-8", newline="\n")
        paths.append(folder / name)
    return tuple(paths)


def _write_texts(folder: Path) -> list[Path]:
    targets = {
        "bench.toml": "bench.toml",
        "amplifier.toml": "amplifier.toml",
        "bench-scope.toml": "bench-scope.toml",
        "fieldfare-bench.toml": "fieldfare-2/bench.toml",
        "fieldfare-amplifier.toml": "fieldfare-2/amplifier.toml",
    }
    for name, target in targets.items():
        text = (_TEXTS / name).read_text(encoding="utf-8")
        (folder / target).write_text(text, encoding="utf-8", newline="\n")
    return [folder / target for target in targets.values()]


def write_benches(folder: Path) -> tuple[Path, ...]:
    """Write the bench and amplifier files of the simulated amplifiers, a folder for each.

    Returns
    -------
    tuple of Path
        The folders.
    """
    folders = []
    for source in sorted(path for path in _TEXTS.iterdir() if (path / "amplifier.toml").is_file()):
        target = folder / source.name
        target.mkdir(parents=True, exist_ok=True)
        for name in ("amplifier.toml", "bench.toml"):
            text = (source / name).read_text(encoding="utf-8")
            (target / name).write_text(text, encoding="utf-8", newline="\n")
        folders.append(target)
    return tuple(folders)
