# Everything is set up in .venv and written to out/. The two commands that matter: make plan, make test.

PYTHON ?= python3
PINS ?= --constraint constraints.txt
SHOT ?= notebooks/data/shots/moss-capsule.toml
RIG ?= notebooks/data/rigs/bench-screw.toml
# Empty: out/<shot>-on-<rig>, which is written anew each time. A folder of your own is kept unless REPLACE=yes.
OUT ?=
REPLACE ?=
ONLY ?=
LAB_OPTIONS ?=
export SHOT RIG OUT REPLACE

PY := .venv/bin/python
# a file a core: cells of one notebook must stay together
CORES := --numprocesses auto --maxprocesses 4 --dist loadfile
NBVAL := --nbval --nbval-current-env --nbval-cell-timeout=60 --nbval-sanitize-with=tests/nbval_sanitize.cfg

.PHONY: help plan test test-all lab notebooks handouts workshop rubric bench clean

help:
	@echo "make plan       settings, schedule, checks and report of a shot on a rig: SHOT=... RIG=... OUT=..."
	@echo "make test       lint, all quick tests, every notebook run again and compared (under 10 minutes)"
	@echo "make test-all   the slow tests as well"
	@echo "make lab        open the notebooks in JupyterLab (LAB_OPTIONS=--allow-root when you are root)"
	@echo "make notebooks  rebuild all notebooks from notebooks/src (ONLY='learn/01-...' for some)"
	@echo "make handouts   the lessons as pages to read or print without a kernel: out/handouts/index.html"
	@echo "make workshop   learners' notebooks without solutions, and pages to print: out/workshop (REPLACE=yes writes them anew)"
	@echo "make rubric     how well each lesson can be taught, a table of 18 rows"
	@echo "make bench      benchmarks, with the ratios that the tests rely on"
	@echo "make clean      remove .venv and caches; out/ stays"
	@echo "PYTHON=python3.12 chooses the Python that .venv is made with; PINS= takes the newest packages."

# $(1): the extra to install, $(2): what for. pip is silent but for its errors.
define set_up
@if ! $(PY) -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then \
	if ! "$(PYTHON)" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then \
		echo "macrolib needs Python 3.11 or newer. '$(PYTHON)' is `$(PYTHON) --version 2>&1 || true`" >&2; \
		echo "Name another one, for example: make PYTHON=python3.12 $(MAKECMDGOALS)" >&2; exit 1; fi; \
	"$(PYTHON)" -m venv --clear .venv || exit 1; fi
@echo "Setting up .venv for $(2); the first time takes about a minute ..."
@$(PY) -m pip install -qq --disable-pip-version-check $(PINS) --editable '.$(1)'
@touch $@
endef

.venv/plan.stamp: pyproject.toml constraints.txt
	$(call set_up,,plans and notebooks)

.venv/test.stamp: pyproject.toml constraints.txt
	$(call set_up,[test],tests)
	@touch .venv/plan.stamp

plan: .venv/plan.stamp
	@$(PY) -m tools.plan

test: .venv/test.stamp
	@$(PY) -m ruff check
	@$(PY) -m pytest -q $(CORES) $(NBVAL) -m "not slow" tests notebooks

test-all: .venv/test.stamp
	@$(PY) -m ruff check
	@$(PY) -m pytest -q $(CORES) $(NBVAL) tests notebooks

lab: .venv/plan.stamp
	@$(PY) -m jupyterlab $(LAB_OPTIONS) notebooks/00-start-here.ipynb

notebooks: .venv/plan.stamp
	@$(PY) -m tools.build $(ONLY)

handouts: .venv/plan.stamp
	@$(PY) -m tools.handouts --replace

workshop: .venv/plan.stamp
	@$(PY) -m tools.workshop $(if $(filter yes,$(REPLACE)),--replace)

rubric: .venv/plan.stamp
	@$(PY) -m tests.notebooks.rubric --why

bench: .venv/test.stamp
	@$(PY) -m tests.benchmarks.table

clean:
	@rm -rf .venv .pytest_cache .ruff_cache .hypothesis build macrolib.egg-info
	@find . -name __pycache__ -type d -prune -exec rm -rf {} +
