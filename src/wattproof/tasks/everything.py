"""Every task there is, in the order of a bench day."""

from wattproof.tasks.calibrating import bench_calibrate
from wattproof.tasks.checking import bench_check
from wattproof.tasks.comparing import compare
from wattproof.tasks.demo import demo
from wattproof.tasks.exporting import export
from wattproof.tasks.flooring import bench_floor
from wattproof.tasks.judging import judge
from wattproof.tasks.keys import key_new
from wattproof.tasks.measuring import measure
from wattproof.tasks.modelling import model, predict
from wattproof.tasks.overlaying import overlay
from wattproof.tasks.packing import pack
from wattproof.tasks.papering import paper_back, paper_keep, paper_list, paper_show
from wattproof.tasks.picturing import picture
from wattproof.tasks.planning import plan
from wattproof.tasks.plausibility import plausible
from wattproof.tasks.proving import verify
from wattproof.tasks.publishing import report
from wattproof.tasks.reading import read
from wattproof.tasks.running import run
from wattproof.tasks.schemas import schema
from wattproof.tasks.sessions import archive_index, session_add, session_figures, session_list, session_new
from wattproof.tasks.siting import site
from wattproof.tasks.voiding import session_unvoid, session_void

TASKS = (
    read,
    measure,
    plausible,
    plan,
    run,
    bench_check,
    bench_floor,
    bench_calibrate,
    session_new,
    session_add,
    session_figures,
    session_list,
    session_void,
    session_unvoid,
    model,
    predict,
    judge,
    compare,
    report,
    export,
    site,
    overlay,
    picture,
    pack,
    verify,
    key_new,
    paper_keep,
    paper_list,
    paper_show,
    paper_back,
    archive_index,
    schema,
    demo,
)
"""Each is a command of the same name."""
