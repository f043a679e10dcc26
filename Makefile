# Two commands do all the set-up: `make demo` and `make test`. Both keep their environment in .venv and can be repeated.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
RUN := $(VENV)/.installed-run
DEV := $(VENV)/.installed-dev
SYSTEM := $(VENV)/.system-packages

.PHONY: demo test check lint types imports docs bench lock clean

demo: $(RUN)
	$(BIN)/wattproof demo

test: $(DEV) $(SYSTEM)
	$(BIN)/python -m pytest -rs

check: $(DEV) lint types imports test docs

lint: $(DEV)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: $(DEV)
	$(BIN)/mypy

imports: $(DEV)
	$(BIN)/lint-imports

docs: $(DEV)
	NO_MKDOCS_2_WARNING=1 $(BIN)/mkdocs build --strict --quiet --site-dir build/docs

bench: $(DEV)
	$(BIN)/python tools/bench.py

# Pins are name==version lines without addresses.
lock: $(DEV)
	$(BIN)/uv pip compile --quiet --universal --python-version 3.11 --no-header --no-annotate --all-extras pyproject.toml -o requirements.lock

$(BIN)/uv:
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check uv

$(RUN): $(BIN)/uv pyproject.toml requirements.lock
	$(BIN)/uv pip install --quiet --python $(BIN)/python --constraint requirements.lock --editable .
	touch $@

$(DEV): $(BIN)/uv pyproject.toml requirements.lock
	$(BIN)/uv pip install --quiet --python $(BIN)/python --constraint requirements.lock --editable ".[dev]"
	touch $@ $(RUN)

$(SYSTEM): $(DEV) tools/system_packages.sh
	sh tools/system_packages.sh
	touch $@

clean:
	rm -rf $(VENV) build site *.egg-info src/*.egg-info .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache
