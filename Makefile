# The Makefile is the interface: setup, demo, test, check, docs, bench, lock.
SHELL := /bin/bash
# Without compiled copies of our own modules every process that starts would compile them anew.
unexport PYTHONDONTWRITEBYTECODE
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
DEMO_DIR ?= demo-studio
SERVE ?= 1
PORT ?= 8765
SAMPLES ?= ../shared/samples
REAL_DIR ?= real-studio
PIP := -m pip install --quiet --disable-pip-version-check --require-hashes

.PHONY: setup setup-test demo demo-real test check docs wheel crash fuzz attacks bench lock clean

setup: .build/runtime .build/islands

.build/runtime: requirements/runtime.txt requirements/build.txt pyproject.toml
	@echo "setting up the environment in $(VENV) (once; about a minute)"
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@$(BIN)/python $(PIP) -r requirements/runtime.txt -r requirements/build.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-build-isolation --no-deps -e .
	@mkdir -p .build && touch $@

.build/islands: package-lock.json $(wildcard islands/*.ts) islands/build.mjs
	@echo "building the viewer"
	@npm ci --silent --no-audit --no-fund
	@node islands/build.mjs
	@mkdir -p .build && touch $@

setup-test: setup .build/test .build/peers .build/archive-peers .build/docs .build/browser

.build/test: requirements/test.txt .build/runtime
	@$(BIN)/python $(PIP) -r requirements/test.txt
	@touch $@

.build/peers: requirements/peers.txt requirements/open-images.txt
	@test -x .venv-peers/bin/python || $(PYTHON) -m venv .venv-peers
	@.venv-peers/bin/python $(PIP) -r requirements/peers.txt
	@.venv-peers/bin/python $(PIP) --no-deps -r requirements/open-images.txt
	@mkdir -p .build && touch $@

.build/archive-peers: requirements/archive-peers.txt
	@test -x .venv-archive/bin/python || $(PYTHON) -m venv .venv-archive
	@.venv-archive/bin/python $(PIP) -r requirements/archive-peers.txt
	@mkdir -p .build && touch $@

.build/docs: requirements/docs.txt
	@test -x .venv-docs/bin/python || $(PYTHON) -m venv .venv-docs
	@.venv-docs/bin/python $(PIP) -r requirements/docs.txt
	@mkdir -p .build && touch $@

.build/browser:
	@.ci/browser
	@mkdir -p .build && touch $@

demo: setup
	@$(BIN)/quirewell demo $(DEMO_DIR)
ifeq ($(SERVE),1)
	@$(BIN)/quirewell serve --studio $(DEMO_DIR) --port $(PORT)
endif

demo-real: setup
	@$(BIN)/python -m quirewell.demo.real $(SAMPLES) $(REAL_DIR)

check: .build/test
	@$(BIN)/ruff check src tests benchmarks
	@$(BIN)/ruff format --check src tests benchmarks
	@$(BIN)/mypy

test: setup-test check docs
	@npx --no-install tsc --noEmit -p islands
	@$(BIN)/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder

# The same bytes from the same source; tried where there is nothing but Python and the locked libraries.
wheel: .build/test .build/islands
	@rm -rf dist
	@$(BIN)/python -m hatchling build -t wheel -d dist
	@sha256sum dist/*.whl
	@$(BIN)/python -m pytest tests/test_wheel.py

# More than 500 kills at chosen and random moments; half an hour. Writes tests/crash/results.json.
crash: .build/test
	@$(BIN)/python tests/crash/run.py

# Every door, thousands of bad files, requests and stories; half an hour. Writes tests/fuzz/results.json.
fuzz: .build/test .build/peers
	@$(BIN)/python tests/fuzz/run.py

# The doors, tried from outside against a real server on this machine's own network address.
attacks: .build/test
	@QUIREWELL_ATTACKS_RESULTS=tests/attacks/results.json $(BIN)/python -m pytest -q tests/attacks
	@cat tests/attacks/results.json

docs: .build/docs setup
	@.venv-docs/bin/python -m sphinx -q -W -b html docs docs/_build/html

.build/press-peers: requirements/press-peers.txt
	@test -x .venv-press/bin/python || $(PYTHON) -m venv .venv-press
	@.venv-press/bin/python $(PIP) -r requirements/press-peers.txt
	@mkdir -p .build && touch $@

bench: .build/test .build/press-peers
	@$(BIN)/python benchmarks/run.py

lock:
	@cd requirements && for f in runtime build test peers archive-peers press-peers docs open-images; do \
	  uv pip compile --python-version 3.11 --generate-hashes --no-emit-index-url \
	    --no-emit-find-links --no-header --no-annotate -q \
	    $$(test $$f != open-images || echo --no-deps) $$f.in -o $$f.txt; done

clean:
	rm -rf .venv .venv-peers .venv-archive .venv-press .venv-docs .build node_modules docs/_build demo-studio real-studio
