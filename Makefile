# make demo: set up and play the demo; make test: set up and run everything that is checked.
PYTHON ?= python3
DEMO ?= demo-folder
JOBS ?= 2
GAMES ?= 120
BOARDS ?= amplifier band input muting
BIN := .venv/bin

# One thread for each worker: the workers already fill the machine.
export OMP_NUM_THREADS := 1
export OPENBLAS_NUM_THREADS := 1

.PHONY: help demo test games lint benchmark accuracy lock sources clean

help:
	@echo "make demo    set up, then carry one loudspeaker from complaint to hand-over in $(DEMO)/"
	@echo "make test    set up, then run style, types and tests"
	@echo "make benchmark measure the speeds of docs/benchmarks.md, one core, six minutes of it, more on a busy machine"
	@echo "make accuracy measure how right sound and impedance are on simulated recordings (15 minutes)"
	@echo "make games   play GAMES simulated repairs on BOARDS: small ones by name, A or C of the demo, files (20 minutes at most)"
	@echo "make lock    remake requirements.txt and requirements-test.txt from pyproject.toml (needs uv)"
	@echo "make sources count where each published source is named"
	@echo "make clean   remove .venv and the caches"

demo: .venv/run.done
	@if [ -e $(DEMO)/bench/bench.sqlite3 ]; then echo "The demo was played before, in $(DEMO)."; else $(BIN)/dustcap demo $(DEMO); fi
	@echo
	@echo "The hand-over sheet: open '$(DEMO)/handover room 1 left.pdf' with any PDF reader."
	@echo "All jobs of that bench: $(BIN)/dustcap bench --folder $(DEMO)/bench"
	@echo "To play it again: rm -r $(DEMO) && make demo"

test: lint
	@$(BIN)/python -m pytest -n $(JOBS)

games: .venv/run.done
	@$(BIN)/python benchmarks/hunt_games.py --games $(GAMES) --boards $(BOARDS)

lint: .venv/test.done
	@$(BIN)/ruff check .
	@$(BIN)/ruff format --check .
	@$(BIN)/mypy

benchmark: .venv/test.done
	@for name in linear_faults junction_faults fault_path board_size dictionary start_time full_analysis; do \
	  echo "== $$name"; $(BIN)/python benchmarks/$$name.py || exit 1; done

accuracy: .venv/test.done
	@$(BIN)/python benchmarks/sound_accuracy.py --takes 200
	@$(BIN)/python benchmarks/impedance_accuracy.py 200

.venv/run.done: requirements.txt pyproject.toml | .venv/bin/python
	@echo "Setting up dustcap in .venv (a minute or two the first time)."
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --require-hashes -r requirements.txt
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@

.venv/test.done: requirements-test.txt pyproject.toml | .venv/bin/python
	@echo "Setting up dustcap and its tests in .venv (a minute or two the first time)."
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --require-hashes -r requirements-test.txt
	@$(BIN)/python -m pip install -qq --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@ .venv/run.done

.venv/bin/python:
	@command -v $(PYTHON) >/dev/null || \
	  { echo "dustcap needs Python 3.11 or newer, and there is no '$(PYTHON)'. On Debian: apt install python3 python3-venv"; exit 2; }
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "dustcap needs Python 3.11 or newer; '$(PYTHON)' is older. Name a newer one: make PYTHON=python3.12 ..."; exit 2; }
	@$(PYTHON) -c 'import ensurepip, venv' 2>/dev/null || \
	  { echo "'$(PYTHON)' cannot make a virtual environment. On Debian: apt install python3-venv"; exit 2; }
	@$(PYTHON) -m venv .venv

lock:
	@command -v uv >/dev/null || { echo "make lock needs uv: pip install uv"; exit 2; }
	@uv pip compile pyproject.toml --universal --generate-hashes --no-annotate --no-header \
	  --no-emit-index-url --no-emit-find-links --quiet --upgrade \
	  --extra build --extra fast -o requirements.txt >/dev/null
	@uv pip compile pyproject.toml --universal --generate-hashes --no-annotate --no-header \
	  --no-emit-index-url --no-emit-find-links --quiet -c requirements.txt \
	  --extra build --extra fast --extra test -o requirements-test.txt >/dev/null

sources:
	@$(PYTHON) tools/count_sources.py

clean:
	@rm -rf .venv .pytest_cache .mypy_cache .ruff_cache .hypothesis build dist
