# Every target works on a clean clone. `make` alone lists them.
PYTHON ?= python3.11
VENV   ?= .venv
BIN    := $(VENV)/bin
SEEDS  ?= 200
STORE  ?= var/demo.db
DEBIAN := chromium victoria-metrics libfaketime libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz-subset0 fonts-dejavu-core gcc valgrind
PIP    := $(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt

.DEFAULT_GOAL := help
.PHONY: help warm demo test check lint types contracts bench sim soak docs clean system

help: ## list the targets
	@awk -F ':.*## ' '/^[a-z]+:.*## / {printf "  make %-10s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

demo: $(VENV)/runtime.stamp warm ## an invented night, then live in the browser on 127.0.0.1:8050
	@$(BIN)/nightkeel demo

test: $(VENV)/test.stamp system warm ## set-up and the whole test suite
	$(BIN)/pytest -n 3 --dist worksteal

check: lint types contracts ## lint, types and import contracts

lint: $(VENV)/test.stamp ## ruff
	$(BIN)/ruff check .

types: $(VENV)/test.stamp ## mypy, strict on the host packages
	$(BIN)/mypy

contracts: $(VENV)/test.stamp ## who may import whom
	$(BIN)/lint-imports

bench: $(VENV)/test.stamp ## figures, as a table, with ratios where there is a peer
	$(BIN)/python tests/benchmarks/run.py

sim: $(VENV)/test.stamp ## deterministic simulation; SEEDS=N
	$(BIN)/python tests/simulation/run.py --seeds $(SEEDS)

soak: $(VENV)/test.stamp system ## the full numbers: hours, not minutes
	$(BIN)/pytest -n 2 -m soak
	$(BIN)/pytest -n 2 -m hypothesis --hypothesis-profile fresh
	$(BIN)/python tests/simulation/run.py --seeds 10000 --minutes 30

docs: $(VENV)/runtime.stamp ## write the generated tables of the documents anew
	$(BIN)/nightkeel docs

clean: ## remove the virtual environment, caches and demo stores
	rm -rf $(VENV) build dist *.egg-info var .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null || { \
	  echo "nightkeel needs Python 3.11 or newer, and '$(PYTHON)' does not give it."; \
	  echo "Debian: apt install python3.11 python3.11-venv. Or name another: make PYTHON=python3.12 $(MAKECMDGOALS)"; \
	  exit 2; }
	$(PYTHON) -m venv $(VENV)

$(VENV)/runtime.stamp: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) -e .
	@touch $@

$(VENV)/test.stamp: pyproject.toml constraints.txt | $(VENV)/bin/python
	$(PIP) -e '.[test]'
	@touch $@ $(VENV)/runtime.stamp

# Machine code for plant and kernels, kept for all processes that follow; nothing to do where it is kept already.
warm: $(VENV)/runtime.stamp
	@echo "compiling, up to a minute the first time"; $(BIN)/python -m firmware_sim.rig.warm

# What the tests need beside Python. As root it is installed, otherwise what is missing is named.
system:
	@missing=$$(for p in $(DEBIAN); do dpkg-query -W -f '$${Status}' $$p 2>/dev/null | grep -q 'ok installed' || echo $$p; done); \
	[ -z "$$missing" ] && exit 0; \
	if [ "$$(id -u)" = 0 ] && command -v apt-get >/dev/null; then \
	  echo "installing" $$missing; export DEBIAN_FRONTEND=noninteractive; \
	  apt-get update -qq && apt-get install -qq -y --no-install-recommends $$missing >/dev/null; \
	else \
	  echo "The tests need these Debian packages: $$(echo $$missing)"; \
	  echo "Install them: sudo apt-get install $$(echo $$missing)"; exit 2; \
	fi
