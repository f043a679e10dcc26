"""A made-up bench day as a session, to try everything on before there is one of one's own."""

from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from tempfile import TemporaryDirectory

from wattproof.tasks.demo import DAY, STEPS
from wattproof.tasks.judging import judge
from wattproof.tasks.measuring import Wishes
from wattproof.tasks.sessions import session_add, session_figures, session_new

NOTE = "a made-up bench day, to try things on"


def keep_sample(archive: Path, *, tell: Callable[[str], None]) -> str:
    """Keep the sample captures as a session, measured and judged; gives its name.

    Parameters
    ----------
    archive : Path
        Folder of the archive.
    tell : callable
        Gets a line for each step.
    """
    with TemporaryDirectory() as aside:
        samples = Path(aside) / "samples"
        tell("Inventing an amplifier, its maker and its captures ...")
        # by name, so that nothing at run time depends on the simulator
        import_module("wattproof.sim").write_samples(samples)
        made = session_new(samples / "amplifier.toml", samples / "bench.toml", archive=archive, started=DAY, note=NOTE)
        for file, step, load in STEPS:
            tell(f"keeping {file} ...")
            session_add(made.session, [samples / file], archive=archive, step=step, wishes=Wishes(load=load))
    session_figures(made.session, archive=archive, tell=tell)
    tell("judging its ratings ...")
    judge(made.session, archive=archive)
    return made.session
