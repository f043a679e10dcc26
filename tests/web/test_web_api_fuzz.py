"""Whatever is sent to the API: no fault of ours, and every answer as its own description says."""

import pytest
import schemathesis
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis.checks import not_a_server_error
from schemathesis.specs.openapi.checks import (
    content_type_conformance,
    response_schema_conformance,
    status_code_conformance,
)

from wattproof import tasks
from wattproof.web import WebSettings, create_app, tokens

CHECKS = [not_a_server_error, status_code_conformance, content_type_conformance, response_schema_conformance]
SPARED = {
    "POST /api/bench/check": "it would open instruments of whatever name it is sent",
    "POST /api/bench/floor": "as bench check",
    "POST /api/run": "a process for each that passes; test_web_run.py begins runs",
}
DOCUMENT = create_app(WebSettings(archive=tasks.Workbench().archive, secret=b"x", hosts=frozenset())).openapi()
OPERATIONS = {
    found.ok().label: found.ok()
    for found in schemathesis.openapi.from_dict(DOCUMENT).get_all_operations()
    if found.ok().label not in SPARED
}


@pytest.fixture(scope="module")
def here(tmp_path_factory, module_server):
    """A workbench over an archive with a session, so that some of what is asked for is there."""
    folder = tmp_path_factory.mktemp("fuzz")
    (folder / "amplifier.toml").write_text('maker = "Heron & Sons"\nmodel = "Fieldfare 2"\n')
    (folder / "bench.toml").write_text('name = "boathouse"\n[[channels]]\ninput = 1\nrole = "load_voltage"\n')
    (folder / "readings.csv").write_text("load,load_voltage_v,supply_voltage_v,thd_percent\n4,33.8,14.12,1\n")
    made = tasks.session_new(folder / "amplifier.toml", folder / "bench.toml", archive=folder / "archive")
    tasks.session_add(made.session, [folder / "readings.csv"], archive=folder / "archive")
    return module_server(folder / "archive")


@pytest.mark.parametrize("label", sorted(OPERATIONS))
def test_nothing_that_is_sent_breaks_a_route(label, here):
    headers = {tokens.HEADER: tokens.script_token(here.settings.secret)}

    @settings(
        max_examples=4, deadline=None, database=None, phases=[Phase.generate], suppress_health_check=list(HealthCheck)
    )
    @given(case=OPERATIONS[label].as_strategy(), known=st.booleans())
    def send(case, known):
        if known and label.startswith("GET") and "session" in (case.query or {}):
            case.query["session"] = "fieldfare"  # what is chosen at random is never there
        answer = case.call(base_url=here.address, headers=headers)
        case.validate_response(answer, checks=CHECKS)

    send()


def test_nothing_is_spared_that_is_not_there():
    known = {f"{method.upper()} {path}" for path, methods in DOCUMENT["paths"].items() for method in methods}
    assert SPARED.keys() < known
    assert len(OPERATIONS) == len(known) - len(SPARED)
