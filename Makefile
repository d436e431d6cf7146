# Needs Python 3.11 or newer and make; everything else is set up here.
PYTHON ?= $(shell for p in python3 python3.13 python3.12 python3.11; do \
	command -v $$p >/dev/null 2>&1 && $$p -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
	2>/dev/null && echo $$p && break; done)
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/ready

.PHONY: demo test lint bench quarto clean

demo: $(READY)
	$(BIN)/dwell demo demo

test: lint
	$(BIN)/python -m pytest --numprocesses 2 --dist loadscope --no-loadscope-reorder

lint: $(READY)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy --num-workers 2

bench: $(READY)
	$(BIN)/python -m benchmarks

quarto:
	@echo "Reports render without Quarto. To use it as well:"
	@echo "  1. install Quarto 1.4 or newer with its own installer, or, where its program"
	@echo "     can be downloaded, $(BIN)/pip install '.[quarto]'"
	@echo "  2. put 'quarto' on PATH, or set QUARTO_PATH to it"
	@echo "  3. $(BIN)/dwell report 2025-Q4 --renderer quarto"
	@echo "     or, after $(BIN)/pip install '.[cells]', in reports/:"
	@echo "     QUARTO_PYTHON=../$(BIN)/python DWELL_DB=/path/to/dwell.duckdb quarto render"

$(READY): requirements.lock pyproject.toml
	@test -n "$(PYTHON)" || { echo "Python 3.11 or newer is needed; none was found."; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-compile -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation --editable .
	@touch $(READY)

clean:
	rm -rf $(VENV) demo build dist .mypy_cache .ruff_cache .pytest_cache
