"""The command that makes a clip to be laid over footage."""

from pathlib import Path
from typing import Annotated

from cyclopts import Parameter

from wattproof import tasks
from wattproof.cli.show import progress


def overlay(
    session: str,
    capture: str,
    /,
    *,
    archive: Path | None = None,
    wishes: Annotated[tasks.ClipWishes, Parameter(name="*", group="What the clip is")] = tasks.ClipWishes(),  # noqa: B008
    camera: Annotated[tasks.CameraWishes, Parameter(name="*", group="Lining up with a camera")] = tasks.CameraWishes(),  # noqa: B008
    json: bool = False,
) -> None:
    """Make a transparent clip of a capture's live figures and growing curve, to be laid over footage of the bench.

    Parameters
    ----------
    session
        Name of the session, or a part of it that no other session has.
    capture
        Number of the capture, or its step: "ramp 4 ohm".
    archive
        Folder of the archive; $WATTPROOF_ARCHIVE or ~/wattproof-archive when left out.
    json
        Print one JSON object instead.
    """
    made = tasks.overlay(session, capture, archive=archive, wishes=wishes, camera=camera, tell=progress())
    print(made.to_json() if json else made.text())
