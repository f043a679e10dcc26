"""`bench_calibrate`: scale and offset of a channel from reference readings."""

from datetime import date
from pathlib import Path

from pydantic import BaseModel, ConfigDict

from wattproof.bench import Calibration, calibrate, calibration_toml, parse_calibration
from wattproof.tasks.files import text_of
from wattproof.tasks.quick import channels_said


class Calibrated(BaseModel):
    """What `wattproof bench calibrate` answers: the line and the table to paste into the bench file."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    line: Calibration
    toml: str

    @property
    def text(self) -> str:
        """The line, its residuals and the table as plain text."""
        from wattproof.report import calibration_text

        return f"{calibration_text(self.line)}\n\nFor the bench file:\n\n{self.toml}"


def bench_calibrate(
    file: Path,
    *,
    channel: str = "load_voltage=1",
    u_reference: float = 0.0,
    u_reference_relative: float = 0.0,
    calibrated: date | None = None,
) -> Calibrated:
    """Fit a channel's scale and offset from reference readings: a straight line with uncertainty and residuals.

    Parameters
    ----------
    file : Path
        CSV with the columns reference,reading: what the reference meter showed, what the channel read in file units.
    channel : str
        What is calibrated, ROLE=INPUT or ROLE:OUTPUT=INPUT, for the table to paste.
    u_reference : float >= 0
        Standard uncertainty of the reference that all its readings share, its zero; engineering units.
    u_reference_relative : float >= 0
        Relative standard uncertainty of the reference's own scale.
    calibrated : date or None
        Day of the calibration; today when left out.

    Raises
    ------
    SettingsError
        Fewer than three readings, no spread in them, or a cell that is no number.
    """
    pairs = parse_calibration(text_of(file), file=file.name)
    line = calibrate(pairs, u_reference=u_reference, u_reference_relative=u_reference_relative)
    (entry,) = channels_said([channel])
    day = calibrated or date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
    toml = calibration_toml(line, input=entry.input, role=entry.role, output=entry.output, calibrated=day)
    return Calibrated(line=line, toml=toml)
