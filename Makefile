# casebook: `make demo` shows it, `make test` proves it. Nothing is installed outside of .venv,
# except missing Debian packages when run by root on a bare machine.

SHELL := bash
.SHELLFLAGS := -euo pipefail -c
.ONESHELL:
.DEFAULT_GOAL := help
.PHONY: help demo test screenshots bench constraints lint clean

VENV := .venv
BIN := $(VENV)/bin
PORT ?= 8501
# Three on two cores: those in the browser mostly wait.
WORKERS ?= 3
# The matrices here are small: threads of the linear algebra only wait for one another.
export OPENBLAS_NUM_THREADS := 1
# Compiled code is kept, whatever is set outside: every worker would compile all of the tests
# anew, and every command and server that they start all of casebook (some 40 s in all).
unexport PYTHONDONTWRITEBYTECODE
PIP := $(BIN)/python -m pip --disable-pip-version-check install --quiet --constraint constraints.txt
PINNED := pyproject.toml constraints.txt

help:
	@printf '%s\n' \
	  'make demo         build the demo database and open the app on 127.0.0.1:$(PORT)' \
	  'make test         lint, types, architecture, unit, SQLite, PostgreSQL, browser' \
	  'make screenshots  photograph every page of the app' \
	  'make bench        measure the speed limits that the project keeps' \
	  'make constraints  pin the newest versions that pyproject.toml allows' \
	  'make clean        remove .venv and what tools left behind'

demo: $(VENV)/.runs
	@exec $(BIN)/casebook demo --port $(PORT)

# What is checked in a second, before anything that takes minutes.
define QUICK_LINT
$(BIN)/ruff check .
$(BIN)/ruff format --check --quiet .
$(BIN)/lint-imports --no-logo
endef

# Types are checked beside the tests, where the browser's tests leave a processor idle; what
# mypy says stands at the end, and the run fails if either does. Which tests count for coverage,
# and why not all, is told in tests/covering.py; what one worker runs together, in tests/together.py.
test: $(VENV)/.tests
	@.ci/install-system chromium
	$(QUICK_LINT)
	types=$$(mktemp)
	$(BIN)/mypy > "$$types" 2>&1 & mypy=$$!
	trap 'kill "$$mypy" 2> /dev/null || true; rm -f "$$types"' EXIT
	tested=0
	$(BIN)/pytest -n $(WORKERS) --dist loadscope -m 'not bench' --cov --cov-report=term \
	  --durations=15 || tested=$$?
	wait "$$mypy" || { cat "$$types"; exit 1; }
	cat "$$types"
	exit "$$tested"

lint: $(VENV)/.tests
	@$(QUICK_LINT)
	$(BIN)/mypy

screenshots: $(VENV)/.tests
	@.ci/install-system chromium
	$(BIN)/python -m tests.browser.screenshots --into build/screenshots --readme

bench: $(VENV)/.tests
	@$(BIN)/python -m tests.bench.import_speed
	$(BIN)/python -m tests.bench.runner_page_speed
	$(BIN)/python -m tests.bench.caseload_speed
	$(BIN)/python -m tests.bench.log_visit_keys
	$(BIN)/python -m tests.bench.capture_speed
	$(BIN)/python -m tests.bench.two_people
	$(BIN)/python -m tests.bench.growth_speed
	$(BIN)/python -m tests.bench.audit_speed
	$(BIN)/python -m tests.bench.export_scale

# A fresh environment, so that nothing but what pyproject.toml asks for is pinned.
constraints:
	@fresh=$$(mktemp -d)
	trap 'rm -rf "$$fresh"' EXIT
	"$$(.ci/find-python)" -m venv "$$fresh/venv"
	"$$fresh/venv/bin/python" -m pip --disable-pip-version-check install --quiet '.[test]'
	"$$fresh/venv/bin/python" -m pip freeze --exclude casebook > "$$fresh/constraints.txt"
	cp "$$fresh/constraints.txt" constraints.txt
	echo "Pinned $$(wc -l < constraints.txt) packages; run 'make test' before committing them."

clean:
	@rm -rf $(VENV) dist build .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache .coverage

# Stamps: written last, so that an install that was cut short is done again.
$(VENV)/.made: .ci/find-python
	@python=$$(.ci/find-python)
	echo "Making $(VENV) with $$python"
	"$$python" -m venv $(VENV)
	touch $@

$(VENV)/.runs: $(PINNED) $(VENV)/.made
	@echo 'Installing what casebook needs (pinned in constraints.txt)'
	$(PIP) hatchling
	$(PIP) --no-build-isolation --editable .
	touch $@

$(VENV)/.tests: $(PINNED) $(VENV)/.runs
	@echo 'Installing what the tests need (pinned in constraints.txt)'
	$(PIP) --no-build-isolation --editable '.[test]'
	touch $@
