"""What is kept in the project: small files, pins without addresses, and words about itself alone."""

import re
import subprocess
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
LARGEST_BYTES = 400_000
HOSTS = ("py" + "pi.org", "pythonhosted", "conda.anaconda", "registry.npmjs", "proxy.golang", "crates" + ".io")
WORKPLACE = re.compile(r"(?<![\w./-])/(?:work|tmp/wp|home|root)/\w|/work/(?:main|shared)", re.IGNORECASE)
PIN = re.compile(r"[a-z0-9][a-z0-9._-]*==[0-9][\w.+!-]*( ; [a-z_]+ (?:==|!=|<|<=|>|>=) '[\w.]+'(?: (?:and|or) .+)?)?")


def tracked():
    done = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=False)
    files = [ROOT / name for name in done.stdout.decode().split("\0") if name]
    return [path for path in files if path.is_file()]


FILES = tracked()
needs_git = pytest.mark.skipif(not FILES, reason="this is no clone: nothing tells which files are tracked")


def faults_of_words(text):
    return [host for host in HOSTS if host in text.lower()] + WORKPLACE.findall(text)


def faults_of_pins(text):
    return [line for line in text.splitlines() if line.strip() and not PIN.fullmatch(line)]


@needs_git
def test_no_file_names_a_registry_or_the_place_where_it_was_written():
    found = {}
    for path in FILES:
        if path != Path(__file__):
            faults = faults_of_words(path.read_bytes().decode("utf-8", errors="replace"))
            found |= {str(path.relative_to(ROOT)): faults} if faults else {}
    assert found == {}


@needs_git
def test_no_file_is_large():
    assert {path.name: path.stat().st_size for path in FILES if path.stat().st_size > LARGEST_BYTES} == {}


@needs_git
def test_no_test_is_twice_of_one_name():
    names = [path.name for path in FILES if path.name.startswith("test_")]
    assert {name for name in names if names.count(name) > 1} == set()


def test_the_lock_holds_pins_without_addresses():
    text = (ROOT / "requirements.lock").read_text(encoding="utf-8")
    assert len(text.splitlines()) > 30
    assert faults_of_pins(text) == []


def test_every_run_time_dependency_is_pinned():
    wanted = re.search(r"\ndependencies = \[(.*?)\]", (ROOT / "pyproject.toml").read_text(encoding="utf-8"), re.DOTALL)[
        1
    ]
    names = {name.lower() for name in re.findall(r'"([\w-]+)', wanted)}
    pins = {
        line.split("==")[0].lower() for line in (ROOT / "requirements.lock").read_text(encoding="utf-8").splitlines()
    }
    assert names - pins == set()


@pytest.mark.parametrize(
    "line", ["https://files." + HOSTS[1] + ".org/x", "see /work" + "/shared/data", "in /ho" + "me/someone"]
)
def test_the_check_of_words_sees_a_breach(line):
    assert faults_of_words(line)
    assert not faults_of_words("in ../shared/data, a bench/work sheet, docs/home.md")


@pytest.mark.parametrize(
    "line", ["numpy>=2", "numpy @ https://x/y.whl", "--index-url x", "numpy==2.0 --hash=sha256:00"]
)
def test_the_check_of_pins_sees_a_breach(line):
    assert faults_of_pins(line) == [line]
    assert faults_of_pins("numpy==2.4.6 ; python_full_version < '3.12'") == []
