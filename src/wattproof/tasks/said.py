"""What a person says about files that the files do not say themselves, as words on a command line."""

from dataclasses import dataclass
from typing import Literal

from wattproof.errors import SettingsError
from wattproof.readers import Answers


@dataclass(frozen=True, kw_only=True)
class FileAnswers:
    """What the files leave open; what is left out is read from the file or asked for.

    Attributes
    ----------
    rate_hz : float or None
        Samples a second, where the file gives no clock.
    time_unit : str or None
        Unit of the time column: s, ms, us, ns or ps.
    time_column : str or None
        Number (counted from 1) or header name of the time column; 0 says there is none.
    unit : tuple of str
        Unit of a channel, CHANNEL=UNIT, by its name or number: --unit CH2=mV.
    delimiter : str or None
        Cell separator of a text file.
    decimal : "." or "," or None
        Decimal mark of a text file.
    dataset : str or None
        Which variable of a file that holds several arrays.
    """

    rate_hz: float | None = None
    time_unit: str | None = None
    time_column: str | None = None
    unit: tuple[str, ...] = ()
    delimiter: str | None = None
    decimal: Literal[".", ","] | None = None
    dataset: str | None = None

    def answers(self) -> Answers:
        """Put the words into the form that readers take.

        Raises
        ------
        SettingsError
            A unit without its channel, or a rate that is none.
        """
        if self.rate_hz is not None and not self.rate_hz > 0:
            raise SettingsError(
                "A sample rate is above 0.", why=f"{self.rate_hz:g} was given", hint="Write for example --rate-hz 96000"
            )
        wrong = [word for word in self.unit if not all(word.partition("=")[::2])]
        if wrong:
            raise SettingsError(
                f'"{wrong[0]}" gives no channel a unit.',
                why="a unit is said as CHANNEL=UNIT",
                hint="Write for example --unit CH2=mV or --unit 2=A",
            )
        column = self.time_column
        return Answers(
            rate_hz=self.rate_hz,
            time_unit=self.time_unit,
            time_column=int(column) if column is not None and column.isdecimal() else column,
            units=dict(word.split("=", 1) for word in self.unit),
            delimiter={"tab": "\t", "\\t": "\t"}.get(self.delimiter or "", self.delimiter),
            decimal=self.decimal,
            dataset=self.dataset,
        )
