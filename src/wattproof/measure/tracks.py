"""The tracks that belong to one output, the voltage first: what every kind of capture knows of an output alike."""

from dataclasses import dataclass

from wattproof.measure.record import BenchRecord, Track


@dataclass(frozen=True, kw_only=True, eq=False)
class OutputTracks:
    """One output of a record.

    Attributes
    ----------
    record : BenchRecord
    output : str
    tracks : dict of role to Track
        The voltage's role first ("load_voltage", or "unassigned" without a bench), then current and drive where they
        are recorded; arrays with a row a track keep this order.
    """

    record: BenchRecord
    output: str
    tracks: dict[str, Track]

    @property
    def main(self) -> str:
        """The voltage's role."""
        return next(iter(self.tracks))

    @property
    def calibrated(self) -> bool:
        """Whether the voltage is in volts."""
        return self.main != "unassigned"

    @property
    def rows(self) -> dict[str, int]:
        """Row of each role."""
        return {role: row for row, role in enumerate(self.tracks)}

    @property
    def unit(self) -> str:
        """Unit of the voltage: volts with a bench, the file's unit without."""
        return "V" if self.calibrated else (self.tracks[self.main].channel.unit or "1")


def tracks_of(record: BenchRecord, output: str) -> dict[str, Track]:
    """Give an output's voltage track, and those of its current and of the drive where there are any."""
    voltage = record.voltage(output)
    found = {voltage.role: voltage}
    for role in ("load_current", "drive_voltage"):
        track = record.track(role, output)
        if track is not None:
            found[role] = track
    return found
