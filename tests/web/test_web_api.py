"""The API for scripts: every task a route of equal parameters, and the very answer that the command prints."""

import contextlib
import inspect
import io
import itertools
import json
import time
from dataclasses import MISSING, fields, is_dataclass
from pathlib import Path
from typing import get_args, get_type_hints

import jsonschema
import pytest

from wattproof import tasks
from wattproof.cli import main
from wattproof.web import WebSettings, api, create_app

AMPLIFIER = """maker = "Heron & Sons"
model = "Fieldfare 2"
[[ratings]]
quantity = "power"
value = 150
unit = "W"
load_ohm = 4
supply_v = 14.4
thd_percent = 1
"""
BENCH = """name = "boathouse"
[[channels]]
input = 1
role = "load_voltage"
scale = 42.0
"""
ROWS = """load,load_voltage_v,supply_voltage_v,supply_current_a,thd_percent
8,34.6,14.22,12.3,1
4,33.8,14.12,23.1,1
2,32.2,13.95,42.7,1
4,29.6,12.42,20.5,1
2,28.1,12.20,37.6,1
"""
NEEDED = inspect.Parameter.empty


@pytest.fixture
def papers(tmp_path):
    """An amplifier, a bench and typed readings, as files."""
    for name, text in (("amplifier.toml", AMPLIFIER), ("bench.toml", BENCH), ("readings.csv", ROWS)):
        (tmp_path / name).write_text(text)
    return tmp_path


@pytest.fixture
def session(papers):
    """A session of them in the archive that the fixture `server` serves."""
    archive = papers / "archive"
    made = tasks.session_new(papers / "amplifier.toml", papers / "bench.toml", archive=archive)
    tasks.session_add(made.session, [papers / "readings.csv"], archive=archive)
    return made.session


@pytest.fixture
def script(server):
    with server().script() as client:
        yield client


@pytest.fixture(scope="module")
def asking(module_server, tmp_path_factory):
    """A script that asks of an archive with nothing in it."""
    with module_server(tmp_path_factory.mktemp("empty") / "archive").script() as client:
        yield client


def said(*words):
    """Give what a command prints with --json."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(io.StringIO()):
        main([str(word) for word in words] + ["--json"])
    return out.getvalue()


def done(script, answer, *, within_s=60):
    """Wait for a job."""
    assert answer.status_code == 202, answer.text
    until = time.monotonic() + within_s
    while time.monotonic() < until:
        job = script.get(answer.headers["location"]).json()
        if job["state"] not in {"waiting", "working"}:
            return job
        time.sleep(0.05)
    raise AssertionError(job)


# --- every task a route ---


def wanted(task):
    """Give {name: default} of what a task takes from whoever asks, its option groups taken apart."""
    hints, found = get_type_hints(task), {}
    for parameter in inspect.signature(task).parameters.values():
        kinds = [kind for kind in (hints[parameter.name], *get_args(hints[parameter.name])) if is_dataclass(kind)]
        if kinds:
            found |= {one.name: NEEDED if one.default is MISSING else one.default for one in fields(kinds[0])}
        else:
            found[parameter.name] = parameter.default
    return {name: default for name, default in found.items() if name not in api.NOT_SENT}


def offered(document, path, method):
    """Give {name: default} of a route, as its OpenAPI document says."""
    route = document["paths"][path][method]
    found = {
        one["name"]: NEEDED if one["required"] else one["schema"].get("default") for one in route.get("parameters", ())
    }
    for kind in route.get("requestBody", {}).get("content", {}).values():
        schema = document["components"]["schemas"][kind["schema"]["$ref"].rpartition("/")[2]]
        required = schema.get("required", ())
        found |= {
            name: NEEDED if name in required else one.get("default") for name, one in schema["properties"].items()
        }
    return found


@pytest.fixture(scope="module")
def document():
    return create_app(WebSettings(archive=Path("nowhere"), secret=b"x", hosts=frozenset())).openapi()


@pytest.mark.parametrize("task", tasks.TASKS, ids=lambda task: task.__name__)
def test_every_task_has_a_route_that_takes_what_it_takes(task, document):
    routes = [route for route in api.ROUTES if route.task is task]
    if task.__name__ in api.NO_ROUTE:
        assert not routes
        return
    assert routes, f"{task.__name__} has no route, and no reason why"
    for route in routes:
        assert route.path == "/api/" + task.__name__.replace("_", "/")
        ours = {name: list(d) if isinstance(d, tuple) else d for name, d in wanted(task).items()}
        ours = {name: default for name, default in ours.items() if name not in route.left_out}
        theirs = offered(document, route.path, route.method.lower())
        assert theirs.keys() == ours.keys()
        assert {name: d or None for name, d in theirs.items()} == {name: d or None for name, d in ours.items()}
    assert frozenset.intersection(*(route.left_out for route in routes)) == frozenset()


def test_no_reason_is_kept_for_what_is_not_there():
    names = {name for task in tasks.TASKS for name in inspect.signature(task).parameters}
    names |= {
        one.name
        for task in tasks.TASKS
        for hint in get_type_hints(task).values()
        for kind in (hint, *get_args(hint))
        if is_dataclass(kind)
        for one in fields(kind)
    }
    assert api.NOT_SENT.keys() <= names
    assert api.NO_ROUTE.keys() <= {task.__name__ for task in tasks.TASKS}


def test_every_change_asks_for_a_token_and_every_route_tells_its_faults(document):
    for path, methods in document["paths"].items():
        for method, route in methods.items():
            assert ("security" in route) == (method == "post"), path
            assert "4XX" in route["responses"], path
            assert route["summary"]
            for one in route.get("parameters", ()):
                if not path.startswith("/api/jobs"):
                    assert one.get("description"), (path, one["name"])


# --- the same answers ---


@pytest.mark.parametrize(
    ("path", "words"),
    [
        ("session/list", ()),
        ("session/figures", ("{session}",)),
        ("model", ("{session}",)),
        ("predict", ("{session}", "--load", "3", "--supply", "13.2")),
        ("judge", ("{session}",)),
        ("compare", ("{session}", "{session}", "--load", "4")),
        ("paper/list", ()),
        ("paper/show", ("amplifier", "fieldfare")),
    ],
)
def test_a_route_answers_what_its_command_prints(path, words, script, session, papers):
    archive = papers / "archive"
    tasks.paper_keep("amplifier", papers / "amplifier.toml", name="fieldfare", archive=archive)
    words = [word.format(session=session) for word in words]
    needed = {
        "compare": [("sessions", session)] * 2,
        "paper/show": [("kind", "amplifier"), ("name", "fieldfare")],
    }.get(path, [("session", word) for word in words[:1]])
    options = [(name.removeprefix("--"), value) for name, value in itertools.pairwise(words) if "--" in name]
    answer = script.get(f"/api/{path}", params=[*needed, *options])
    assert answer.status_code == 200, answer.text
    assert answer.headers["content-type"] == "application/json"
    assert answer.text == said(*path.split("/"), *words, "--archive", archive)


def test_the_schema_of_an_answer_is_what_the_command_prints_and_holds_for_the_answer(script, session):
    assert script.get("/api/schema").text.split() == tasks.schema().split()
    known = script.get("/api/schema", params={"name": "judge"})
    assert known.text == tasks.schema("judge") + "\n"
    jsonschema.validate(script.get("/api/judge", params={"session": session}).json(), known.json())


def test_files_are_sent_and_answered_as_on_the_command_line(script, papers):
    amplifier, bench, readings = (papers / name for name in ("amplifier.toml", "bench.toml", "readings.csv"))
    files = [("amplifier", ("amplifier.toml", amplifier.read_bytes()))]
    assert script.post("/api/plausible", files=files).text == said("plausible", amplifier)
    files.append(("bench", ("bench.toml", bench.read_bytes())))
    made = script.post("/api/session/new", files=files, params={"note": "a dry day", "started": "2031-05-14"})
    assert made.status_code == 200, made.text
    name = made.json()["session"]
    assert name.startswith("2031-05-14-fieldfare-2-")
    sent = [("files", ("readings.csv", readings.read_bytes()))]
    kept = script.post("/api/session/add", params={"session": name}, files=sent).json()
    assert [(one["file"], one["status"]) for one in kept["captures"]] == [("readings.csv", "kept")]
    again = script.post("/api/session/add", params={"session": name}, files=sent).json()
    assert again["captures"][0]["status"] == "there already"
    figures = script.get("/api/session/figures", params={"session": name})
    assert figures.text == said("session", "figures", name, "--archive", papers / "archive")
    with (papers / "readings.csv").open() as rows:
        assert len(figures.json()["captures"]) == len(rows.readlines()) - 1


def test_a_run_sheet_is_planned_with_wishes_as_on_the_command_line(script):
    from wattproof.sim.collection import FOLDER

    folder = FOLDER / "bittern-1"
    files = [(kind, (f"{kind}.toml", (folder / f"{kind}.toml").read_bytes())) for kind in ("amplifier", "bench")]
    wishes = {"loads": ["4 ohm"], "burst": "none", "hold_s": 2.5, "day": "2031-05-14"}
    answer = script.post("/api/plan", files=files, params=wishes)
    options = ("--loads", "4 ohm", "--burst", "none", "--hold-s", "2.5", "--day", "2031-05-14")
    assert answer.text == said("plan", folder / "amplifier.toml", folder / "bench.toml", *options)


def test_papers_are_kept_and_taken_back(script, papers):
    text = (papers / "amplifier.toml").read_text()
    states = [
        script.post(
            "/api/paper/keep", params={"kind": "amplifier", "name": "x"}, files={"file": ("a.toml", said_now.encode())}
        ).json()["number"]
        for said_now in (text, text + "# another word\n")
    ]
    assert states == [1, 2]
    back = script.post("/api/paper/back", params={"kind": "amplifier", "name": "x"}).json()
    assert (back["number"], back["text"]) == (1, text)


# --- work that takes long ---


def test_a_report_is_a_job_whose_files_are_fetched_by_number(script, session, server, papers):
    job = done(script, script.post("/api/report", params={"session": session, "format": ["html", "md"]}))
    assert job["state"] == "done", job
    names = [one["name"] for one in job["files"]]
    assert names == ["report.html", "report.md"]
    assert [one["format"] for one in job["answer"]["files"]] == ["html", "md"]
    page = script.get(job["files"][0]["address"])
    assert page.headers["content-disposition"] == 'attachment; filename="report.html"'
    assert page.headers["x-content-type-options"] == "nosniff"
    assert (len(page.content), b"Fieldfare 2" in page.content) == (job["files"][0]["size_bytes"], True)
    assert script.get(f"/api/jobs/{job['number']}/files/3").status_code == 404
    assert [one["number"] for one in script.get("/api/jobs").json()["jobs"]] == [job["number"]]
    assert not list(papers.glob("report*"))  # nothing beside where somebody happens to be


def test_pack_export_picture_and_figures_again_are_jobs(script, session, papers):
    packed = done(script, script.post("/api/pack", params={"session": session}))
    content = script.get(packed["files"][0]["address"]).content
    verified = done(script, script.post("/api/verify", files={"pack": ("x.zip", content)}))
    assert verified["answer"]["reproduced"] is True
    exported = done(script, script.post("/api/export", params={"session": session, "tables_only": True}))
    assert {"data/README.txt", "data/index.json"} <= {one["name"] for one in exported["files"]}
    drawn = done(script, script.post("/api/picture", params={"session": session}))
    assert drawn["state"] == "done"
    again = done(script, script.post("/api/session/figures", params={"session": session, "again": True}))
    assert again["answer"] == script.get("/api/session/figures", params={"session": session}).json()
    measured = script.post(
        "/api/measure",
        files=[("files", ("readings.csv", (papers / "readings.csv").read_bytes()))],
    )
    assert done(script, measured)["answer"] == json.loads(said("measure", papers / "readings.csv"))


def test_a_job_that_fails_tells_why_in_the_one_shape(script):
    job = done(script, script.post("/api/pack", params={"session": "nobody"}))
    assert (job["state"], job["error"]["code"]) == ("failed", "archive")
    assert job["error"].keys() == {"code", "message", "why", "hint"}
    assert job["answer"] is None


def test_a_job_is_cancelled_at_its_next_step(server, session):
    here = server()
    with here.script() as script:
        waiting = [script.post("/api/pack", params={"session": session}) for _ in range(4)]
        last = waiting[-1].json()["number"]
        assert script.post(f"/api/jobs/{last}/cancel").status_code == 200
        states = [done(script, one)["state"] for one in waiting]
    assert states[:3] == ["done"] * 3
    assert states[3] in {"cancelled", "done"}  # it may have been too late


def test_too_much_at_once_is_refused(server, monkeypatch):
    monkeypatch.setattr("wattproof.web.jobs.MOST_WAITING", 0)
    with server().script() as script:
        answer = script.post("/api/pack", params={"session": "x"})
    assert (answer.status_code, answer.json()["error"]["code"]) == (409, "refused")


# --- what does not work ---


@pytest.mark.parametrize(
    ("path", "status", "code"),
    [
        ("/api/judge?session=nobody", 400, "archive"),
        ("/api/judge", 422, "page"),
        ("/api/predict?session=x&load=nan", 422, "page"),
        ("/api/judge?session=a%00b", 422, "page"),
        ("/api/schema?name=nothing", 400, "settings"),
        ("/api/paper/show?kind=poem&name=x", 400, "archive"),
        ("/api/nothing", 404, "page"),
        ("/api/report", 405, "page"),
        ("/api/jobs/1", 404, "page"),
        ("/api/jobs/0", 422, "page"),
        ("/api/run/state?session=nobody", 400, "archive"),
    ],
)
def test_every_fault_has_the_one_shape(asking, path, status, code):
    answer = asking.get(path)
    assert (answer.status_code, answer.json()["error"]["code"]) == (status, code)
    assert answer.json().keys() == {"error"}
    assert answer.json()["error"].keys() == {"code", "message", "why", "hint"}
    assert answer.json()["error"]["message"]


def test_a_key_is_no_file_that_a_sender_may_name(script, tmp_path):
    (tmp_path / "mine.pub").write_text("-----BEGIN PUBLIC KEY-----\n")
    answer = script.post("/api/verify", params={"key": str(tmp_path / "mine.pub")}, files={"pack": ("x.zip", b"PK")})
    assert answer.status_code == 422
