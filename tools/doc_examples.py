"""Run the examples in README.md and docs, and bring their printed answers up to date.

    python tools/doc_examples.py            say which examples no longer hold
    python tools/doc_examples.py --write    put today's answers in their place; look at the difference before committing

How examples are marked is told in CONTRIBUTING.md. The tests under tests/docs use the same code.
"""

import argparse
import contextlib
import difflib
import doctest
import io
import os
import re
import shlex
import shutil
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
FENCE = re.compile(
    r"(?:^<!-- file: (?P<file>\S+) -->\n+)?^```(?P<language>[a-z]*)\n(?P<text>.*?)^```$", re.MULTILINE | re.DOTALL
)
NUMBER = re.compile(r"(?<![\w.])[+-]?\d+(?:\.\d+)?(?:e[+-]?\d+)?(?![\w])")
SESSION = re.compile(r"(?P<name>\b\d{4}-\d\d-\d\d(?:-[a-z0-9]+)+)-[0-9a-f]{4}\b")
MORE = "..."
WIDEST_CHANGE_OF_DOUBT = 1.25
"""A stated uncertainty that changes by more than this is another statement."""
SMALL = 1e-3
"""Relative change of any other number that may pass as another machine's rounding."""
LAST_DIGITS = 2
LIKENESS = 0.55


@dataclass(frozen=True, kw_only=True)
class Block:
    """A fenced example of a page."""

    page: Path
    line: int
    language: str
    text: str
    file: str | None

    @property
    def where(self) -> str:
        return f"{self.page.relative_to(ROOT)}:{self.line}"


@dataclass(frozen=True, kw_only=True)
class Run:
    """One command of a console example and the lines that are promised after it."""

    words: list[str]
    expected: list[str]


@dataclass(kw_only=True)
class Answer:
    """What a command printed, standard output and error together in their order, and its exit status."""

    lines: list[str] = field(default_factory=list)
    status: int = 0


def pages() -> list[Path]:
    return [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").rglob("*.md"))]


def blocks(page: Path) -> list[Block]:
    text = page.read_text(encoding="utf-8")
    return [
        Block(
            page=page,
            line=text.count("\n", 0, found.start("text")),
            language=found["language"],
            text=found["text"],
            file=found["file"],
        )
        for found in FENCE.finditer(text)
    ]


def runs(text: str) -> list[Run]:
    """Split a console example at its prompts; a backslash at a line's end goes on in the next."""
    parts: list[Run] = []
    for line in text.replace("\\\n", " ").splitlines():
        if line.startswith("$ "):
            parts.append(Run(words=shlex.split(line[2:]), expected=[]))
        elif parts:
            parts[-1].expected.append(line)
        elif line.strip():
            raise ValueError(f"a console example starts with a command, not with {line!r}")
    return parts


def carry_out(run: Run) -> Answer:
    """Run a command as the command line would, in this process: that saves a start for each example."""
    from wattproof.cli import main

    answer, spoken = Answer(), io.StringIO()
    if run.words[0] == "cd":
        os.chdir(run.words[1])  # for the rest of the page
        return answer
    if run.words[0] != "wattproof":
        raise ValueError(f"only wattproof and cd are run, not {run.words[0]}")
    with contextlib.redirect_stdout(spoken), contextlib.redirect_stderr(spoken):
        try:
            main(run.words[1:])
        except SystemExit as left:
            answer.status = left.code if isinstance(left.code, int) else 1
    answer.lines = spoken.getvalue().splitlines()
    return answer


def agrees(expected: str, found: str) -> bool:
    """Whether a promised line still holds: the same words, and numbers within their printed uncertainty."""
    if expected.rstrip().endswith(f" {MORE}"):
        kept = expected.rstrip().removesuffix(MORE)
        return any(agrees(kept.rstrip(), found[:end].rstrip()) for end in _cuts(kept, found))
    expected, found = (SESSION.sub(r"\g<name>-xxxx", line) for line in (expected, found))
    if " ".join(NUMBER.sub("#", expected).split()) != " ".join(NUMBER.sub("#", found).split()):
        return False
    pairs = list(zip(NUMBER.finditer(expected), NUMBER.finditer(found), strict=True))
    return all(_near(expected, pairs, place) for place in range(len(pairs)))


def _cuts(kept: str, found: str) -> Iterator[int]:
    """Ends at which a line's beginning may be compared: after as many words as are promised."""
    words = len(kept.split())
    ends = [word.end() for word in re.finditer(r"\S+", found)]
    yield from ends[words - 1 : words]


def _near(line: str, pairs: Sequence[tuple[re.Match[str], re.Match[str]]], place: int) -> bool:
    one, other = (float(match[0]) for match in pairs[place])
    before = line[: pairs[place][0].start()].rstrip()
    after = line[pairs[place][0].end() :].lstrip()
    if before.endswith("±"):
        return bool(one / WIDEST_CHANGE_OF_DOUBT <= other <= one * WIDEST_CHANGE_OF_DOUBT)
    if after.startswith("±") and place + 1 < len(pairs):
        return abs(one - other) <= float(pairs[place + 1][0][0])
    decimals = len(pairs[place][0][0].partition(".")[2])
    last_digits = LAST_DIGITS * 10.0**-decimals if decimals else 0.0
    return abs(one - other) <= max(last_digits, SMALL * abs(one))


def missing(expected: Sequence[str], found: Sequence[str]) -> str | None:
    """Find the first promised line that was not printed in its place; a line of dots leaves any lines out."""
    place, skipping, wrapped_to = 0, False, None
    for line in (line for line in expected if line.strip()):
        if line.strip() == MORE:
            skipping = True
            continue
        places = [n for n in range(place, len(found)) if found[n].strip()]
        candidates = places if skipping else [n for n in places if n in {*places[:1], wrapped_to}]
        hit = next((n for n in candidates if agrees(line, found[n])), None)
        if hit is None:
            return line
        place, skipping = hit + 1, False
        wrapped_to = _behind_wrapped(found, hit) if line.rstrip().endswith(f" {MORE}") else None
    return None


def _behind_wrapped(found: Sequence[str], hit: int) -> int:
    """Find the end of a line that goes on, indented deeper, in the lines below it; dots at its end may cover them."""
    depth, place = _depth(found[hit]), hit + 1
    while place < len(found) and (not found[place].strip() or _depth(found[place]) > depth):
        place += 1
    return place


def _depth(line: str) -> int:
    return len(line) - len(line.lstrip())


def faults(run: Run, answer: Answer) -> str | None:
    """Say in what a command's answer departs from what its example promises."""
    promised_error = any(line.startswith("error: ") for line in run.expected)
    if promised_error != (answer.status != 0):
        return f"exit status {answer.status}\n" + "\n".join(answer.lines[-5:])
    lost = missing(run.expected, answer.lines)
    if lost is None:
        return None
    like = difflib.get_close_matches(lost, answer.lines, 1, 0.4)
    return f"no longer printed: {lost}\nnow perhaps:       {like[0] if like else '(nothing like it)'}"


def renewed(run: Run, answer: Answer) -> list[str]:
    """Put today's lines in the place of the promised ones; what was left out stays left out."""
    lines, place = [], 0
    for line in run.expected:
        hit = _likest(line, answer.lines, place) if line.strip() and line.strip() != MORE else None
        if hit is None:
            lines.append(line)
            continue
        best, place = answer.lines[hit], hit + 1
        if line.rstrip().endswith(f" {MORE}"):
            end = next(_cuts(line.rstrip().removesuffix(MORE), best), len(best))
            best = f"{best[:end]} {MORE}"
        lines.append(best)
    return lines


def _likest(line: str, found: Sequence[str], place: int) -> int | None:
    """Find the line, from a place on, that a promised one has become: the same, of the same label, or alike."""
    rest = range(place, len(found))
    same = [n for n in rest if agrees(line, found[n])]
    named = [n for n in rest if _label(found[n]) == _label(line)]
    alike = difflib.get_close_matches(line, [found[n] for n in rest], 1, LIKENESS)
    return next(iter([*same[:1], *named[:1], *(found.index(text, place) for text in alike)]), None)


def _label(line: str) -> str:
    return re.split(r"\s{2,}|: ", line.strip(), maxsplit=1)[0]


def workplace(day: Path, folder: Path) -> Path:
    """Lay the demonstration's output into a folder for one page to work in; captures are linked, not copied."""

    def take(source: str, target: str) -> str:
        if Path(source).suffix in {".wav", ".flac"}:
            with contextlib.suppress(OSError):
                os.link(source, target)
                return target
        return str(shutil.copy2(source, target))

    shutil.copytree(day, folder / "demo-output", copy_function=take)
    return folder


def save(block: Block) -> None:
    """Write the file that an example is the text of, as a reader of the page would."""
    if block.file is not None:
        Path(block.file).parent.mkdir(parents=True, exist_ok=True)
        Path(block.file).write_text(block.text, encoding="utf-8")


def run_python(block: Block, names: dict[str, Any]) -> str | None:
    """Run a Python example, with or without prompts; a page's examples share their names."""
    if ">>> " not in block.text:
        exec(compile(block.text, block.where, "exec"), names)  # the example is ours
        return None
    test = doctest.DocTestParser().get_doctest(block.text, names, block.where, str(block.page), block.line)
    told = io.StringIO()
    runner = doctest.DocTestRunner(optionflags=doctest.ELLIPSIS | doctest.NORMALIZE_WHITESPACE)
    failed = runner.run(test, out=told.write, clear_globs=False).failed
    names.update(test.globs)
    return told.getvalue() if failed else None


def check(page: Path, folder: Path, demo: Answer) -> list[str]:
    """Run one page's examples in a folder, in their order; give a line for each that no longer holds."""
    found: list[str] = []
    names: dict[str, Any] = {"__name__": "__page__"}
    with contextlib.chdir(folder):
        for block in blocks(page):
            save(block)
            if block.language == "console":
                for run in runs(block.text):
                    fault = faults(run, demo if run.words[:2] == ["wattproof", "demo"] else carry_out(run))
                    found += [f"{block.where}: $ {' '.join(run.words)}\n{fault}"] if fault else []
            elif block.language == "python" and (fault := run_python(block, names)):
                found.append(f"{block.where}:\n{fault}")
    return found


def renew(page: Path, folder: Path, demo: Answer) -> list[str]:
    """Bring one page's console examples up to date; give where something changed."""
    text, changed = page.read_text(encoding="utf-8"), []
    names: dict[str, Any] = {"__name__": "__page__"}
    with contextlib.chdir(folder):
        for block in blocks(page):
            save(block)
            if block.language == "python":
                run_python(block, names)  # for what it leaves behind; its answers are renewed by hand
            new = _renewed_block(block, demo) if block.language == "console" else block.text
            if new != block.text:
                text = text.replace(block.text, new, 1)
                changed.append(block.where)
    if changed:
        page.write_text(text, encoding="utf-8", newline="\n")
    return changed


def _renewed_block(block: Block, demo: Answer) -> str:
    commands, lines = re.findall(r"^\$ (?:.*\\\n)*.*\n", block.text, re.MULTILINE), []
    for command, run in zip(commands, runs(block.text), strict=True):
        answer = demo if run.words[:2] == ["wattproof", "demo"] else carry_out(run)
        lines.append(command + "".join(f"{line}\n" for line in renewed(run, answer)))
    return "".join(lines)


def examples_run(page: Path) -> bool:
    """Whether a page holds anything that is run rather than parsed."""
    return any(block.language in {"console", "python"} for block in blocks(page))


def main() -> None:
    parser = argparse.ArgumentParser(description="Run the examples of the documentation.")
    parser.add_argument("--write", action="store_true", help="put today's answers in place")
    parser.add_argument("pages", nargs="*", type=Path, help="only these pages")
    asked = parser.parse_args()
    chosen = [page for page in ([path.resolve() for path in asked.pages] or pages()) if examples_run(page)]
    with tempfile.TemporaryDirectory() as scratch:
        with contextlib.chdir(scratch):
            shown = carry_out(Run(words=["wattproof", "demo", "--samples-only"], expected=[]))
        for number, page in enumerate(chosen):
            folder = workplace(Path(scratch) / "demo-output", Path(scratch) / f"page-{number}")
            if asked.write:
                print(f"{page.name}: {', '.join(renew(page, folder, shown)) or 'as it was'}", flush=True)
            else:
                print("\n".join(check(page, folder, shown)) or f"{page.name}: holds", flush=True)


if __name__ == "__main__":
    main()
