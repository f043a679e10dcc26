"""`plausible`: what can be said of a maker's ratings before any bench."""

import json
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.amplifier import parse_amplifier
from wattproof.judge import Plausibility
from wattproof.judge import plausible as look_at
from wattproof.tasks.files import text_of


class FoundPlausible(BaseModel):
    """What `wattproof plausible` answers."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    plausibility: Plausibility

    def text(self) -> str:
        """Write every rating with what was found about it, and the arithmetic indented."""
        from wattproof.report import plausible_text

        return plausible_text(self.plausibility)

    def to_json(self) -> str:
        """Write the one object that `--json` prints."""
        return json.dumps(self.model_dump(mode="json", by_alias=True), indent=2, ensure_ascii=False)


def plausible(amplifier: Path) -> FoundPlausible:
    """Look at a maker's ratings without a bench: fuse, volts, capacitors, and the sheet against itself.

    Parameters
    ----------
    amplifier : Path
        amplifier.toml.

    Returns
    -------
    FoundPlausible

    Raises
    ------
    FileMissingError
        There is no such file.
    SettingsError
        The file is wrong: each fault with its line.
    """
    return FoundPlausible(plausibility=look_at(parse_amplifier(text_of(amplifier), file=amplifier.name)))
