# Two commands: make demo, make test. They need Python 3.11 or newer, git and make; the rest
# is installed into .venv from requirements.lock.

VENV := .venv
BIN  := $(VENV)/bin
MADE := $(VENV)/made
PYTHON ?= $(shell for p in python3 python3.14 python3.13 python3.12 python3.11 python; do \
  $$p -c 'import sys, venv, ensurepip; raise SystemExit(sys.version_info < (3, 11))' >/dev/null 2>&1 && echo $$p && break; done)
DEMO ?= demo
unexport PYTHONPATH PYTHONHOME VIRTUAL_ENV PYTHONDONTWRITEBYTECODE

.PHONY: demo test bench lint calibrate calibrate-changes faults lock definitions clean

demo: $(MADE)
	@rm -rf "$(DEMO)"
	@$(BIN)/plumbpost demo "$(DEMO)"

test: $(MADE)
	PYTHONHASHSEED=0 $(BIN)/python -m pytest -q -n auto --dist loadscope --ignore tests/benchmarks

# Speed, one test at a time: on a busy machine it says nothing.
bench: $(MADE)
	$(BIN)/python -m pytest -q -p no:randomly tests/benchmarks

lint: $(MADE)
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy
	$(BIN)/sqlfluff lint sql

# Slow: simulated audits for every interval; results are committed with their date.
calibrate: $(MADE)
	$(BIN)/python -m tests.calibration.intervals
	$(BIN)/python -m tests.calibration.budget
	$(BIN)/python -m tests.calibration.causes
	$(BIN)/python -m tests.calibration.trainees
	$(BIN)/python -m tests.calibration.learning

# Slow, one of its own: the change from one cycle to the next.
calibrate-changes: $(MADE)
	$(BIN)/python -m tests.calibration.changes

# Slow: every fault of the catalogue planted, found or not; results are committed with their date.
faults: $(MADE)
	$(BIN)/python -m tests.benchmarks.faults

definitions: $(MADE)
	$(BIN)/plumbpost definitions > reports/DEFINITIONS.md
	$(BIN)/python -m tests.spec.check_page

$(MADE): requirements.lock pyproject.toml
	@test -n "$(PYTHON)" || { echo "Python 3.11 or newer with its venv module is needed." >&2; exit 2; }
	@echo "making $(VENV) from requirements.lock (once)"
	@rm -rf $(VENV)
	@$(PYTHON) -m venv $(VENV)
	@grep -A400 '^uv==' requirements.lock | awk 'NR==1 || /^ /{print; next} {exit}' > $(VENV)/uv.txt
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes --no-deps -r $(VENV)/uv.txt
	@$(BIN)/uv pip install --quiet --python $(BIN)/python --compile-bytecode --require-hashes -r requirements.lock
	@$(BIN)/uv pip install --quiet --python $(BIN)/python --no-deps --no-build-isolation --offline --editable .
	@touch $@

# Written without looking at a user's own index settings, so that no address gets in.
lock: $(MADE)
	env -u UV_INDEX -u UV_DEFAULT_INDEX -u UV_INDEX_URL -u UV_EXTRA_INDEX_URL $(BIN)/uv lock --no-config --upgrade
	$(BIN)/uv export --frozen --no-emit-project --no-header --no-annotate --quiet -o requirements.lock

clean:
	rm -rf $(VENV) "$(DEMO)" .mypy_cache .ruff_cache .pytest_cache .hypothesis
