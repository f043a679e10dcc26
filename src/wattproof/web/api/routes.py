"""The routes: one for each task that makes sense over the network, and those of jobs and runs."""

from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any

from fastapi import APIRouter
from pydantic import StringConstraints

from wattproof import tasks
from wattproof.web.api import work
from wattproof.web.api.asking import Asked
from wattproof.web.api.carrying import FAULTS, add
from wattproof.web.api.runs import RunBegan, begin_run
from wattproof.web.api.runs import router as runs_router
from wattproof.web.forms import FINGERPRINT

Fingerprint = Annotated[str, StringConstraints(pattern=FINGERPRINT)]
"""Of a public key: its file cannot be named over the network."""

ROUTES = (
    Asked(task=tasks.read, method="POST"),
    Asked(task=tasks.measure, method="POST", long=True),
    Asked(task=tasks.plausible, method="POST"),
    Asked(task=tasks.plan, method="POST", answer=tasks.Planned.model_fields["sheet"].annotation),
    Asked(task=tasks.bench_check, method="POST", long=True),
    Asked(task=tasks.bench_floor, method="POST", long=True),
    Asked(task=tasks.bench_calibrate, method="POST"),
    Asked(task=tasks.session_new, method="POST"),
    Asked(task=tasks.session_add, method="POST"),
    Asked(task=tasks.session_figures, method="GET", left_out=frozenset({"again"})),
    Asked(task=tasks.session_figures, method="POST", long=True, called="session_figures_again"),
    Asked(task=tasks.session_list, method="GET"),
    Asked(task=tasks.session_void, method="POST"),
    Asked(task=tasks.session_unvoid, method="POST"),
    Asked(task=tasks.model, method="GET"),
    Asked(task=tasks.predict, method="GET"),
    Asked(task=tasks.judge, method="GET"),
    Asked(task=tasks.compare, method="GET"),
    Asked(task=tasks.report, method="POST", long=True, writes={"out": "report"}),
    Asked(task=tasks.export, method="POST", long=True, writes={"out": "data"}),
    Asked(task=tasks.site, method="POST", long=True, writes={"out": "site"}),
    Asked(task=tasks.overlay, method="POST", long=True, writes={"out": "clip.{format}", "chapters": "chapters.txt"}),
    Asked(task=tasks.picture, method="POST", long=True, writes={"out": "."}),
    Asked(task=tasks.pack, method="POST", long=True, writes={"out": "pack.zip"}),
    Asked(task=tasks.verify, method="POST", long=True, fits={"key": Fingerprint}),
    Asked(task=tasks.paper_keep, method="POST"),
    Asked(task=tasks.paper_list, method="GET"),
    Asked(task=tasks.paper_show, method="GET"),
    Asked(task=tasks.paper_back, method="POST"),
    Asked(task=tasks.archive_index, method="POST"),
    Asked(
        task=tasks.schema,
        method="GET",
        answer=dict[str, Any],
        also={200: {"content": {"text/plain": {}}, "description": "The schema; without a name, the list of names."}},
    ),
    Asked(task=tasks.run, method="POST", answer=RunBegan),
)
"""In the order of a bench day."""

NO_ROUTE: Mapping[str, str] = MappingProxyType(
    {
        "demo": "it makes an archive of its own in a folder that somebody names",
        "key_new": "a secret key is made where it stays",
    }
)
"""Tasks without a route, and why."""

router = APIRouter(responses=FAULTS)
for _asked in ROUTES:
    add(router, _asked, carry=begin_run if _asked.task is tasks.run else _asked.task)
router.include_router(work.router)
router.include_router(runs_router)
