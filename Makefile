# Two commands do all the set-up: `make demo` and `make test`. Everything they install goes into
# .venv; `make demo PYTHON=python3.12` makes it with another interpreter.

PYTHON ?= python3
BIN := .venv/bin
INSTALL := $(BIN)/python -m pip install --quiet --disable-pip-version-check
LOCK := $(BIN)/uv pip compile --quiet --upgrade --universal --python-version 3.11 \
	--fork-strategy fewest --generate-hashes --no-annotate --no-emit-index-url \
	--custom-compile-command 'make lock' pyproject.toml requirements/build.in

.PHONY: demo test check bench bench-live torture docs format picture lock clean

demo: .venv/run-stamp
	@$(BIN)/trainer demo

# Three processes, even on two cores: many tests wait for sound or for a terminal.
test: .venv/dev-stamp
	@$(BIN)/pytest --numprocesses 3 --dist loadgroup

check: .venv/dev-stamp
	$(BIN)/ruff format --check
	$(BIN)/ruff check
	$(BIN)/mypy
	$(BIN)/lint-imports
	$(BIN)/codespell
	$(BIN)/python -m devtools.prose

# This ear and its peers, side by side: tables and pictures in benchmarks/results. FULL=1 hears
# everything; BENCH passes more, as in: make bench BENCH=--misses
bench: .venv/bench-stamp
	@$(BIN)/python -m benchmarks $(if $(FULL),--full) $(BENCH)

# Sound to screen through a virtual microphone (needs PulseAudio), with a core kept busy.
bench-live: .venv/dev-stamp
	@$(BIN)/python -m benchmarks.live $(BENCH)

# Mutated inputs, killed processes, lost sound, for MINUTES.
MINUTES ?= 10
torture: .venv/dev-stamp
	@$(BIN)/python -m devtools.torture --minutes $(MINUTES) $(TORTURE)

# The references of commands, settings and formats, from the program itself.
docs: .venv/dev-stamp
	$(BIN)/python -m devtools.commands
	$(BIN)/python -m devtools.schemas
	$(BIN)/python -m devtools.strings

format: .venv/dev-stamp
	$(BIN)/ruff format
	$(BIN)/ruff check --fix

# The pictures in docs, from the real app at work.
picture: .venv/run-stamp
	$(BIN)/python -m devtools.pictures docs

# Renews what is locked: the newest versions that go together, for every system and Python.
lock: .venv/dev-stamp
	$(INSTALL) uv
	$(LOCK) --extra dev --output-file requirements/dev.txt > /dev/null
	$(LOCK) --constraints requirements/dev.txt --output-file requirements/run.txt > /dev/null
	$(LOCK) --constraints requirements/dev.txt --extra bench \
		--output-file requirements/bench.txt > /dev/null

clean:
	rm -rf .venv build dist .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis

.venv/run-stamp: requirements/run.txt pyproject.toml
	@$(PYTHON) requirements/python.py
	@test -x $(BIN)/pip || $(PYTHON) -m venv --clear .venv
	@echo 'Installing what the trainer needs into .venv (once).'
	@$(INSTALL) --require-hashes --requirement requirements/run.txt
	@$(INSTALL) --no-deps --no-build-isolation --editable .
	@touch $@

.venv/dev-stamp: requirements/dev.txt .venv/run-stamp
	@echo 'Installing what the tests need into .venv (once).'
	@$(INSTALL) --require-hashes --requirement requirements/dev.txt
	@touch $@

.venv/bench-stamp: requirements/bench.txt .venv/run-stamp
	@echo 'Installing what the benchmarks need into .venv (once).'
	@$(INSTALL) --require-hashes --requirement requirements/bench.txt
	@touch $@
