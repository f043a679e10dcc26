"""An unpacked session made ready to be measured as if for the first time: what it publishes is read and set aside."""

from contextlib import suppress
from dataclasses import dataclass

from wattproof.archive.captures import changed_original, numbered_folders, read_capture
from wattproof.archive.disk import discard_folder
from wattproof.archive.figures import figures_path, read_figures
from wattproof.archive.model import FiguresFile, Session
from wattproof.archive.models import model_path, need_models
from wattproof.archive.names import capture_number
from wattproof.archive.verdicts import need_verdicts, verdicts_path
from wattproof.errors import ArchiveError
from wattproof.fit import BehaviourModel
from wattproof.judge import Judged


@dataclass(frozen=True, kw_only=True)
class Published:
    """What a pack publishes; None where it is not there or cannot be read."""

    figures: FiguresFile | None
    judged: Judged | None
    models: tuple[BehaviourModel, ...]


def take_published(session: Session) -> Published:
    """Read what an unpacked session publishes and take it away, so that nothing of it can be given for an answer."""
    figures = judged = None
    models: tuple[BehaviourModel, ...] = ()
    with suppress(ArchiveError):
        figures = read_figures(session)
    with suppress(ArchiveError):
        judged = need_verdicts(session).judged
    with suppress(ArchiveError):
        models = need_models(session).models
    for path in (figures_path(session), verdicts_path(session), model_path(session)):
        path.unlink(missing_ok=True)
    return Published(figures=figures, judged=judged, models=models)


def unsound_captures(session: Session) -> frozenset[int]:
    """List by number the captures whose bytes or description are not what was kept."""
    return frozenset(
        capture_number(folder.name) or 0 for folder in numbered_folders(session) if not _is_sound(session, folder.name)
    )


def _is_sound(session: Session, name: str) -> bool:
    try:
        record = read_capture(session.folder / "captures" / name)
        return changed_original(session, record) is None
    except ArchiveError:
        return False


def set_captures_aside(session: Session, numbers: frozenset[int]) -> None:
    """Take captures out of an unpacked session, so that the others can be measured."""
    for folder in numbered_folders(session):
        if capture_number(folder.name) in numbers:
            discard_folder(folder)
