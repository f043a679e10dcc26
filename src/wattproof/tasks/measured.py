"""What measuring answers: the figures of captures, and the forms in which they are given out."""

import json
from pathlib import Path
from typing import Literal

from pydantic import BaseModel, ConfigDict, Field

from wattproof import __version__
from wattproof.amplifier import Amplifier
from wattproof.bench import Bench
from wattproof.measure import CaptureResult
from wattproof.tasks.files import write_text


class Measured(BaseModel):
    """The figures of every capture, in the order of the files."""

    model_config = ConfigDict(frozen=True, extra="forbid", populate_by_name=True)

    wattproof: str = __version__
    schema_: Literal[1] = Field(default=1, alias="schema")
    captures: tuple[CaptureResult, ...]

    def table(self) -> str:
        """Write the figures as a table of plain text."""
        from wattproof.report import figures_table

        return figures_table(self.captures)

    def to_json(self) -> str:
        """Write the one object that `--json` prints; the points that only a page draws are left out."""
        from wattproof.report import results_json

        return json.dumps(results_json(self.captures), indent=2, ensure_ascii=False)

    def budgets(self) -> str:
        """Write every figure with what its uncertainty is made of."""
        from wattproof.report import budget_text

        return "\n\n".join(budget_text(figure) for capture in self.captures for figure in capture.figures)

    def write(
        self,
        *,
        html: Path | None,
        csv: Path | None,
        bench: Bench | None,
        amplifier: Amplifier | None,
        title: str,
    ) -> None:
        """Write the page and the spreadsheet table that were asked for.

        Raises
        ------
        FileMissingError
            A folder does not exist or may not be written.
        """
        from wattproof.report import figures_csv, session_page

        if csv is not None:
            write_text(csv, figures_csv(self.captures))
        if html is not None:
            write_text(html, session_page(self.captures, bench=bench, amplifier=amplifier, title=title))
