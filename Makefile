# Everything a person or the build runs. Each target makes its own environment first; a second run is quick.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin

.PHONY: demo test lint format types bench docs lock clean

demo: $(VENV)/.run        ## the whole chain on an invented morning; writes and opens the night page
	$(BIN)/skyglint demo --to demo --force

test: $(VENV)/.dev        ## the whole test suite, a real browser included
	$(BIN)/python scripts/browser.py
	$(BIN)/python -m pytest -q -n 2 --dist worksteal

lint: $(VENV)/.dev        ## style, and strict types on all of src/
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy

format: $(VENV)/.dev
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: $(VENV)/.run       ## the speed of this machine on this pipeline
	$(BIN)/skyglint bench

docs: $(VENV)/.dev        ## the guide, with its examples executed
	$(BIN)/sphinx-build -q -n -W --keep-going -b html docs docs/_build/html
	$(BIN)/sphinx-build -q -n -W -b doctest docs docs/_build/doctest

lock: $(VENV)/.dev        ## pin every dependency anew, with hashes
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-annotate \
	  --no-emit-index-url --no-emit-find-links pyproject.toml --extra fast -o requirements/run.lock
	$(BIN)/uv pip compile -q --universal --python-version 3.11 --generate-hashes --no-header --no-annotate \
	  --no-emit-index-url --no-emit-find-links pyproject.toml --extra fast --group test --group lint \
	  --group docs -c requirements/run.lock -o requirements/dev.lock

clean:
	rm -rf $(VENV) demo docs/_build .mypy_cache .ruff_cache .pytest_cache

$(BIN)/uv:
	$(PYTHON) -c 'import sys; sys.exit("Skyglint needs Python 3.11 or newer; this is " + sys.version.split()[0] + ". Name another: make PYTHON=python3.12" if sys.version_info < (3, 11) else 0)'
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install -q --disable-pip-version-check uv

$(VENV)/.run: $(BIN)/uv requirements/run.lock pyproject.toml
	$(BIN)/uv pip install -q --compile-bytecode --python $(BIN)/python --require-hashes -r requirements/run.lock
	$(BIN)/uv pip install -q --compile-bytecode --python $(BIN)/python --no-deps -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.run requirements/dev.lock
	$(BIN)/uv pip install -q --compile-bytecode --python $(BIN)/python --require-hashes -r requirements/dev.lock
	@touch $@
