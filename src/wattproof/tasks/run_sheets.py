"""Run sheets kept as papers: planned, seen, edited, printed; and the simulated benches to try it all on."""

import tomllib
from collections.abc import Callable, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import date
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from wattproof.amplifier import Amplifier, parse_amplifier
from wattproof.bench import Bench, parse_bench
from wattproof.errors import SettingsError, WattproofError
from wattproof.plan import RunSheet, SheetWishes, make_run_sheet, recheck
from wattproof.settings import edited_toml
from wattproof.tasks.demo_days import DAYS
from wattproof.tasks.sheet_edits import edited, sheet_of

if TYPE_CHECKING:
    from wattproof.archive import Archive, Paper
    from wattproof.report import RunSheetParts


@dataclass(frozen=True, kw_only=True)
class SheetChoices:
    """What an amplifier and a bench leave to choose.

    Attributes
    ----------
    loads : tuple of (str, bool)
        The bench's loads, and whether each is taken when nothing is said.
    outputs : tuple of str
    supply_v : float or None
        Supply voltage that is taken when nothing is said; None where nothing can be planned yet.
    why : WattproofError or None
        Why nothing can be planned with these two.
    """

    loads: tuple[tuple[str, bool], ...]
    outputs: tuple[str, ...]
    supply_v: float | None = None
    why: WattproofError | None = None


@dataclass(frozen=True, kw_only=True)
class SheetSeen:
    """A run sheet as a page shows it.

    Attributes
    ----------
    name : str
        Of the paper.
    number : int
        Which of its states this is.
    states : tuple of int
        All its states.
    file : Path
        The state's own file.
    sheet : RunSheet
    parts : RunSheetParts
        Its words and rows.
    amplifiers, benches : tuple of str
        Papers that it was made of, the likeliest first; empty where they are gone or say something else now.
    rig : str or None
        What plays and records on that bench; None where nothing does.
    """

    name: str
    number: int
    states: tuple[int, ...]
    file: Path
    sheet: RunSheet
    parts: "RunSheetParts"
    amplifiers: tuple[str, ...]
    benches: tuple[str, ...]
    rig: str | None


@dataclass(frozen=True, kw_only=True)
class SheetEdit:
    """What a person changed on a run sheet.

    Attributes
    ----------
    order : tuple of int
        Numbers of the steps that stay, as they are to follow each other.
    seconds : mapping of int to float
        How long each lasts at most.
    level_v_rms : mapping of int to float
        Highest level of each, at each output.
    """

    order: tuple[int, ...]
    seconds: Mapping[int, float] = field(default_factory=dict)
    level_v_rms: Mapping[int, float] = field(default_factory=dict)


@dataclass(frozen=True, kw_only=True)
class ExampleBench:
    """A simulated amplifier on its bench: its name, and what it teaches."""

    name: str
    teaches: str


EXAMPLES = tuple(ExampleBench(name=day.name, teaches=day.teaches) for day in DAYS)


class RunSheets:
    """The run sheets of an archive.

    Parameters
    ----------
    archive : Path
        Its folder.
    """

    examples = EXAMPLES

    def __init__(self, archive: Path) -> None:
        self._root = archive

    def choices(self, amplifier: str, bench: str) -> SheetChoices:
        """Say what can be wished of an amplifier paper on a bench paper.

        Raises
        ------
        ArchiveError
            There is no such paper.
        SettingsError
            One of the two is wrong.
        """
        thing, table = self._amplifier(amplifier), self._bench(bench)
        names = tuple(load.name for load in table.loads)
        try:
            sheet = make_run_sheet(thing, table)
        except WattproofError as error:
            return SheetChoices(loads=tuple((name, False) for name in names), outputs=thing.outputs, why=error)
        taken = {step.load for step in sheet.steps}
        return SheetChoices(
            loads=tuple((name, name in taken) for name in names), outputs=thing.outputs, supply_v=sheet.supply_v
        )

    def make(self, amplifier: str, bench: str, *, wishes: SheetWishes, name: str = "") -> str:
        """Plan a bench day of two papers and keep the sheet; gives the sheet's name.

        Raises
        ------
        ArchiveError
            There is no such paper, or the disk refuses.
        SettingsError, RefusedError
            As the task `plan` says.
        """
        day = wishes.day or date.today()  # noqa: DTZ011  (the day on the wall of the workshop)
        sheet = make_run_sheet(self._amplifier(amplifier), self._bench(bench), wishes=wishes, day=day)
        return self._keep(name or f"{amplifier} on {bench}", sheet)

    def see(self, name: str, *, number: int | None = None) -> SheetSeen:
        """Show a sheet.

        Raises
        ------
        ArchiveError
            There is no such sheet.
        SettingsError
            It is none.
        """
        from wattproof.report import run_sheet_parts

        paper = self._store.paper("sheet", name, number=number)
        sheet = sheet_of(paper)
        amplifiers, benches = self._amplifiers_of(sheet, paper.name), self._benches_of(sheet, paper.name)
        rig = self._bench(benches[0]).rig if benches else None
        return SheetSeen(
            name=paper.name, number=paper.number, states=paper.states, file=paper.path, sheet=sheet,
            parts=run_sheet_parts(sheet), amplifiers=amplifiers, benches=benches,
            rig=None if rig is None else rig.kind,
        )  # fmt: skip

    def edit(self, name: str, change: SheetEdit, *, number: int | None = None) -> str:
        """Change a sheet, look at it anew and keep it; gives its name.

        Parameters
        ----------
        name : str
        change : SheetEdit
        number : int or None
            The state that the person saw; the one that counts when left out.

        Raises
        ------
        ArchiveError
            There is no such sheet, or the disk refuses.
        SettingsError
            The change makes no sense, or the papers that the sheet was made of are gone.
        """
        paper = self._store.paper("sheet", name, number=number)
        sheet = sheet_of(paper)
        changed = edited(sheet, order=change.order, seconds=change.seconds, level_v_rms=change.level_v_rms)
        thing, table = self._made_of(sheet, paper.name)
        return self._keep(paper.name, recheck(changed, thing, table, day=date.today()))  # noqa: DTZ011

    def printed(self, name: str) -> str:
        """Write the page to print and take to the bench.

        Raises
        ------
        ArchiveError, SettingsError
            As `see` says; or the papers that the sheet was made of are gone.
        """
        from wattproof.report import run_sheet_page

        paper = self._store.paper("sheet", name)
        sheet = sheet_of(paper)
        thing, table = self._made_of(sheet, paper.name)
        return run_sheet_page(sheet, amplifier=thing, bench=table)

    def keep_example(self, name: str, *, paced: bool = True) -> tuple[str, str]:
        """Keep the papers of a simulated amplifier and its bench; gives their names.

        Parameters
        ----------
        name : str
            One of `examples`.
        paced : bool
            As slow as the real thing; else as fast as it is computed.

        Raises
        ------
        SettingsError
            There is no such example.
        """
        if name not in {one.name for one in EXAMPLES}:
            listed = ", ".join(one.name for one in EXAMPLES)
            raise SettingsError(
                f'There is no simulated amplifier "{name}".', why=f"there are {listed}", hint="Choose one."
            )
        with TemporaryDirectory() as aside:
            # by name, so that nothing at run time depends on the simulator
            import_module("wattproof.sim").write_benches(Path(aside))
            texts = [
                (Path(aside) / name / f"{kind}.toml").read_text(encoding="utf-8") for kind in ("amplifier", "bench")
            ]
        amplifier = self._store.keep_paper("amplifier", name, texts[0])
        bench = self._store.keep_paper("bench", f"simulated {name}", _paced(texts[1], paced=paced))
        return amplifier.name, bench.name

    @property
    def _store(self) -> "Archive":
        from wattproof.archive import Archive

        return Archive(self._root)

    def _keep(self, name: str, sheet: RunSheet) -> str:
        text = sheet.model_dump_json(indent=2, by_alias=True)
        kept: str = self._store.keep_paper("sheet", name, text).name
        return kept

    def _amplifier(self, name: str) -> Amplifier:
        paper = self._store.paper("amplifier", name)
        return parse_amplifier(paper.text, file=f"amplifier {paper.name}")

    def _bench(self, name: str) -> Bench:
        paper = self._store.paper("bench", name)
        return parse_bench(paper.text, file=f"bench {paper.name}")

    def _amplifiers_of(self, sheet: RunSheet, name: str) -> tuple[str, ...]:
        def named(paper: "Paper") -> str:
            thing = parse_amplifier(paper.text, file=paper.name)
            return f"{thing.maker} {thing.model}"

        return _like(self._store.papers("amplifier"), named, sheet.amplifier, name)

    def _benches_of(self, sheet: RunSheet, name: str) -> tuple[str, ...]:
        return _like(
            self._store.papers("bench"), lambda paper: parse_bench(paper.text, file=paper.name).name, sheet.bench, name
        )

    def _made_of(self, sheet: RunSheet, name: str) -> tuple[Amplifier, Bench]:
        amplifiers, benches = self._amplifiers_of(sheet, name), self._benches_of(sheet, name)
        if amplifiers and benches:
            return self._amplifier(amplifiers[0]), self._bench(benches[0])
        gone = f"an amplifier paper {sheet.amplifier}" if not amplifiers else f"a bench paper {sheet.bench}"
        raise SettingsError(
            "This sheet cannot be looked at anew.",
            why=f"there is no longer {gone}",
            hint="Keep that paper again, or plan a new sheet.",
        )


def _like(papers: Sequence["Paper"], called: Callable[["Paper"], str], wanted: str, sheet: str) -> tuple[str, ...]:
    """Give the papers that are about what a sheet is about, those first whose name the sheet bears."""
    found = []
    for paper in papers:
        with suppress(WattproofError):  # a paper that is wrong now is not the one
            if called(paper) == wanted:
                found.append(paper.name)
    return tuple(sorted(found, key=lambda name: (name not in sheet, -len(name), name)))


def _paced(text: str, *, paced: bool) -> str:
    said = tomllib.loads(text)
    said["rig"]["simulated"]["paced"] = paced
    return edited_toml(text, said)
