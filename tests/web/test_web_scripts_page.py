"""What the page for scripts shows works: its Python runs, and the workbench describes each of its requests."""

import re
from pathlib import Path

import httpx
import pytest

from wattproof import tasks

PAGE = Path(__file__).parents[2] / "docs" / "howto" / "workbench-for-scripts.md"
BENCH = """
name = "Boathouse bench"
[[loads]]
name = "4 ohm"
resistance_ohm = 4.0
resistance_u_ohm = 0.01
[[meters]]
name = "handheld"
quantity = "load_voltage"
percent_of_reading = 0.3
"""
AMPLIFIER = """
maker = "Saltmarsh & Daughter"
model = "Bittern 1"
[[ratings]]
quantity = "power"
value = 400
unit = "W"
load_ohm = 4
"""
READINGS = "output,load,frequency_hz,kind,load_voltage_v,supply_voltage_v\nA,4 ohm,47,steady,33.0,14.40\n"


def blocks(language):
    return re.findall(rf"^```{language}\n(.*?)^```$", PAGE.read_text(encoding="utf-8"), re.MULTILINE | re.DOTALL)


def shape(address):
    """Write an address with a hole for each number, as a description has them."""
    return re.sub(r"/\d+", "/{}", re.sub(r"\{\w+\}", "{}", address))


@pytest.fixture
def archive(tmp_path):
    for name, text in (("bench.toml", BENCH), ("amplifier.toml", AMPLIFIER), ("readings.csv", READINGS)):
        (tmp_path / name).write_text(text, encoding="utf-8")
    root = tmp_path / "archive"
    made = tasks.session_new(tmp_path / "amplifier.toml", tmp_path / "bench.toml", archive=root)
    tasks.session_add(made.session, [tmp_path / "readings.csv"], archive=root)
    return root


def test_the_python_on_the_page_prints_the_verdicts(server, archive, capsys):
    here = server(archive)
    [code] = blocks("py")
    assert "http://127.0.0.1:8412" in code
    exec(compile(code.replace("http://127.0.0.1:8412", here.address), str(PAGE), "exec"), {})
    told = capsys.readouterr().out
    # 33 V over 4 ohm are 272 W of 400 W, and nothing says how much more there might be at more distortion
    assert re.search(r"(falls short|cannot tell)$", told.strip())


def test_each_request_on_the_page_is_described(server):
    here = server()
    described = httpx.get(f"{here.address}/api/openapi.json").json()["paths"]
    known = {shape(path): (path, described[path]) for path in described}
    lines = [line for block in blocks("shell") for line in block.splitlines() if line.startswith("curl")]
    assert len(lines) >= 7
    for line in lines:
        address, _, query = re.search(r'"\$here(/[^"]*)"', line)[1].partition("?")
        path, methods = known[shape(f"/api{address}")]
        asked = "post" if "-X POST" in line or " -F " in line else "get"
        assert asked in methods, (path, line)
        options = {one["name"] for one in methods[asked].get("parameters", ()) if one["in"] == "query"}
        assert {part.partition("=")[0] for part in query.split("&") if part} <= options, (path, line)
