"""A small bench day in an archive and its pack, and a forger's tools to change one; loaded by the tests beside it."""

import hashlib
import json
import zipfile
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

import numpy as np
import soundfile

from wattproof import tasks
from wattproof.testing import Harmonic, Recorder, clipped_ramp, steady_tone, workshop_wiring

ROLES = ("load_voltage", "load_current", "supply_voltage", "supply_current")
NOISE = dict.fromkeys(ROLES, 1e-3)
SCALES = {"load_voltage": 42.0, "load_current": 30.0, "supply_voltage": 20.0, "supply_current": 125.0}

BENCH = (
    'name = "Boathouse bench"\n'
    + "".join(
        f'[[channels]]\ninput = {n}\nrole = "{role}"\nscale = {scale}\nscale_u = 0.002\n'
        for n, (role, scale) in enumerate(SCALES.items(), start=1)
    )
    + '[[loads]]\nname = "4 ohm"\nresistance_ohm = 4.0\nresistance_u_ohm = 0.008\n'
    + '[[loads]]\nname = "2 ohm"\nresistance_ohm = 2.0\nresistance_u_ohm = 0.006\n'
    + '[[meters]]\nname = "handheld"\nquantity = "load_voltage"\npercent_of_reading = 0.8\n'
)
AMPLIFIER = """\
maker = "Saltmarsh & Daughter"
model = "Bittern 1"
outputs = ["A"]

[[ratings]]
quantity = "power"
value = 90
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
channels_driven = 1

[[ratings]]
quantity = "efficiency"
value = 60
unit = "%"
load_ohm = 4
"""
READINGS = """\
output,load,frequency_hz,kind,load_voltage_v,load_current_a,supply_voltage_v,supply_current_a,thd_percent,power_w,note
A,4 ohm,47,steady,20.01,,13.8,,0.4,,first light
"""


def make_session(folder: Path, *, ramps: bool = True) -> tuple[Path, str]:
    """Keep tones as WAV and FLAC and typed readings, ramps and a text capture if wanted; give archive and name."""
    wiring = workshop_wiring(*ROLES)
    given = [("steady.wav", "steady 4 ohm", "4 ohm"), ("louder.flac", "louder 4 ohm", "4 ohm")]
    for level_v, (file, _step, _load) in zip((12.0, 18.0), given, strict=True):
        tone = steady_tone(
            load_v_rms=level_v,
            harmonics=[Harmonic(3, 0.005), Harmonic(2, 0.002)],
            wiring=wiring,
            recorder=Recorder(rate_hz=8000, seconds=0.15, bits=24, noise_rms=NOISE),
        )
        soundfile.write(folder / file, tone.waveform.samples.T, 8000, subtype="PCM_24")
    if ramps:
        for ohm, limit_v in ((4.0, 28.0), (2.0, 27.0)):
            given.append((f"ramp-{ohm:g}.flac", f"ramp {ohm:g} ohm", f"{ohm:g} ohm"))
            ramp = clipped_ramp(
                wiring=wiring,
                limit_v=limit_v,
                resistance_ohm=ohm,
                recorder=Recorder(rate_hz=16000, seconds=0.75, bits=24, noise_rms=NOISE),
            )
            soundfile.write(folder / given[-1][0], ramp.waveform.samples.T, 16000, subtype="PCM_24")
        table = np.column_stack([np.arange(250) / 8000, *tone.waveform.samples[:, :250]])
        np.savetxt(folder / "scope.csv", table, delimiter=",", header="t (s),1,2,3,4", comments="", fmt="%.7f")
        given.append(("scope.csv", "scope 4 ohm", "4 ohm"))
    given.append(("readings.csv", "typed", None))
    for name, text in (("bench.toml", BENCH), ("amplifier.toml", AMPLIFIER), ("readings.csv", READINGS)):
        (folder / name).write_text(text, encoding="utf-8")
    root = folder / "archive"
    made = tasks.session_new(
        folder / "amplifier.toml", folder / "bench.toml", archive=root, started=date(2031, 5, 14), note="A dry day."
    )
    for file, step, load in given:
        tasks.session_add(made.session, [folder / file], archive=root, step=step, wishes=tasks.Wishes(load=load))
    return root, made.session


@dataclass
class Forged:
    """A pack as a dictionary of names and bytes, to be changed at will and written again as a ZIP."""

    files: dict[str, bytes]
    order: list[str] = field(default_factory=list)

    @classmethod
    def of(cls, pack: Path) -> "Forged":
        """Take a pack apart."""
        with zipfile.ZipFile(pack) as file:
            return cls(files={name: file.read(name) for name in file.namelist()}, order=file.namelist())

    def name(self, end: str) -> str:
        """Find the one file whose name ends so."""
        (found,) = [name for name in self.files if name.endswith(end)]
        return found

    def document(self, end: str) -> dict:
        """Read a JSON document."""
        return json.loads(self.files[self.name(end)])

    def put(self, end: str, document: dict) -> None:
        """Write a JSON document as the archive writes it."""
        self.files[self.name(end)] = encoded(document)

    def rehash(self, *, manifest: bool = True, history: bool = True) -> "Forged":
        """Do what a careful forger does: make every hash in the pack fit what it holds."""
        self._captures()
        self._settings()
        self._derived(history=history)
        return self.remanifest() if manifest else self

    def remanifest(self) -> "Forged":
        """Make the manifest fit the files."""
        manifest = self.document("manifest.json")
        manifest["files"] = [
            {"path": name, "size_bytes": len(data), "sha256": sha256(data)}
            for name, data in sorted(self.files.items())
            if name not in {"manifest.json", "signature.json"}
        ]
        self.put("manifest.json", with_digest(manifest))
        return self

    def _captures(self) -> None:
        figures = self.document("figures.json")
        for name in [name for name in self.files if name.endswith("capture.json")]:
            record = json.loads(self.files[name])
            original = name.replace("capture.json", record["original"])
            if original in self.files:
                data = self.files[original]
                record |= {"sha256": sha256(data), "size_bytes": len(data)}
                self.files[name] = encoded(record)
            for capture in figures["captures"]:
                if f"/{capture['number']:02d}-" in name:
                    capture |= {"sha256": record["sha256"], "description": record["description"]}
        self.put("figures.json", figures)

    def _settings(self) -> None:
        session, figures = self.document("session.json"), self.document("figures.json")
        for name in session["files"]:
            session["files"][name] = sha256(self.files[f"session/{name}"])
        figures["inputs"] = session["files"]
        self.put("session.json", session)
        self.put("figures.json", figures)

    def _derived(self, *, history: bool) -> None:
        digest = sha256(self.files["session/figures.json"])
        for name in [
            name for name in self.files if "/history/" in name or name.endswith(("verdicts.json", "model.json"))
        ]:
            document = json.loads(self.files[name])
            place = document.get("details", document)
            if "figures_sha256" in place:
                place["figures_sha256"] = digest
            if history and document.get("did") == "measured":
                made = self.document("figures.json")["captures"]
                place["captures"] = {f"{capture['number']:02d}": capture["sha256"] for capture in made}
            self.files[name] = encoded(document)

    def write(self, path: Path) -> Path:
        """Write it as a ZIP in the form of a pack."""
        with zipfile.ZipFile(path, "w") as file:
            for name in [*(n for n in self.order if n in self.files), *(n for n in self.files if n not in self.order)]:
                put(file, name, self.files[name])
        return path


def put(file: zipfile.ZipFile, name: str, data: bytes, **changed: object) -> None:
    """Add a file to a ZIP in the form of a pack, but for what is `changed` of its header."""
    info = zipfile.ZipInfo(name, date_time=(1980, 1, 1, 0, 0, 0))
    info.create_system, info.external_attr = 3, 0o100644 << 16
    text = name.endswith((".json", ".jsonl", ".toml", ".csv", ".txt"))
    info.compress_type = zipfile.ZIP_DEFLATED if text else zipfile.ZIP_STORED
    for key, value in changed.items():
        setattr(info, key, value)
    file.writestr(info, data)


def encoded(document: dict) -> bytes:
    """Write JSON as the archive does."""
    return (json.dumps(document, indent=1, ensure_ascii=False) + "\n").encode()


def with_digest(manifest: dict) -> dict:
    """Give a manifest the hash of all else that it says."""
    rest = {key: value for key, value in manifest.items() if key != "digest"}
    return {**rest, "digest": sha256(encoded(rest))}


def sha256(data: bytes) -> str:
    """Hash bytes."""
    return hashlib.sha256(data).hexdigest()
