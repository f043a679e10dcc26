"""The command that writes a session's report."""

from pathlib import Path

from wattproof import tasks
from wattproof.cli.show import progress


def report(
    session: str, /, *, archive: Path | None = None, out: Path | None = None, words: Path | None = None,
    format: tuple[str, ...] = ("html", "pdf", "md"), dated: bool = False, json: bool = False,
) -> None:  # fmt: skip
    """Write a session's report: one page, a PDF and a post, all of the same content.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    out
        Where to write, without an ending; the session's name in this folder when left out.
    words
        words.toml: summary, pros, cons and photographs; kept in the session, so that the next report has them too.
    format
        Which of html, pdf and md to write; all three when left out.
    dated
        Say in the report when it was made; the same session gives the same bytes when left out.
    json
        Print one JSON object instead.
    """
    made = tasks.report(session, archive=archive, out=out, words=words, format=format, dated=dated, tell=progress())
    print(made.to_json() if json else made.text())
