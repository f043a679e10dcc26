"""The command line run inside this process, on captures of known truth written as files."""

from dataclasses import dataclass
from pathlib import Path

import pytest
import soundfile

from wattproof.cli import main
from wattproof.testing import Harmonic, Recorder, clipped_ramp, steady_tone, workshop_wiring

ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")

BENCH = """\
name = "Boathouse bench"

[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
scale_u = 0.002

[[channels]]
input = 2
role = "load_current"
scale = 30.0
scale_u = 0.003

[[channels]]
input = 3
role = "supply_voltage"
scale = 20.0
scale_u = 0.001

[[channels]]
input = 4
role = "supply_current"
scale = 125.0
scale_u = 0.004

[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.008

[[loads]]
name = "2 ohm"
resistance_ohm = 2.0
resistance_u_ohm = 0.006

[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.8
digits = 3
resolution = 0.01
"""

AMPLIFIER = """\
maker = "Saltmarsh & Daughter"
model = "Bittern 1"
outputs = ["A"]

[[ratings]]
quantity = "power"
value = 100
unit = "W"
load_ohm = 4
"""

READINGS = """\
output,load,frequency_hz,kind,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,thd_percent,power_w,note
A,4 ohm,47,steady,20.01,,13.8,,0.4,,first light
"""

REFERENCES = "reference,reading\n" + "".join(
    f"{42 * n / 10:.3f},{n / 10 + 0.0001 * (-1) ** n:.5f}\n" for n in range(-5, 6)
)


@dataclass(frozen=True)
class Ran:
    status: int
    out: str
    err: str


@pytest.fixture
def run(capsys):
    """Run a command; a command that ends in peace has status 0."""

    def command(*words) -> Ran:
        capsys.readouterr()
        try:
            main([str(word) for word in words])
            status = 0
        except SystemExit as end:
            status = end.code
        said = capsys.readouterr()
        return Ran(status=status, out=said.out, err=said.err)

    return command


@dataclass(frozen=True)
class Day:
    """A bench day's files and their truth."""

    folder: Path
    steady: object
    ramp: object

    def __truediv__(self, name: str) -> Path:
        return self.folder / name


@pytest.fixture(scope="session")
def day(tmp_path_factory):
    folder = tmp_path_factory.mktemp("bench day")
    steady = steady_tone(
        load_v_rms=20.0,
        harmonics=[Harmonic(3, 0.005), Harmonic(2, 0.002)],
        wiring=workshop_wiring(*ROLES),
        recorder=Recorder(seconds=0.5, bits=24, noise_rms={"load_voltage": 1e-3, "load_current": 1e-3}),
    )
    ramp = clipped_ramp(
        wiring=workshop_wiring(*ROLES),
        limit_v=30.0,
        recorder=Recorder(seconds=0.75, noise_rms={"load_voltage": 1e-3, "load_current": 1e-3}),
    )
    for name, capture in (("steady.wav", steady), ("ramp.wav", ramp)):
        soundfile.write(folder / name, capture.waveform.samples.T, 48000, subtype="FLOAT")
    one = steady.waveform.samples[:1].T
    soundfile.write(folder / "one channel.wav", one, 48000, subtype="PCM_24")
    texts = {"bench.toml": BENCH, "amplifier.toml": AMPLIFIER, "readings.csv": READINGS, "references.csv": REFERENCES}
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
    return Day(folder=folder, steady=steady.truth, ramp=ramp.truth)
