# One documented command for each thing a contributor does; `make` alone lists them.
.DEFAULT_GOAL := help
SHELL := /bin/bash
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
STAMP := $(VENV)/.installed
# Tests run in so many processes at once, one more than two cores since they wait for disks and browsers;
# 0 runs them in one, which suits a debugger.
PYTEST_WORKERS ?= 3
# Where tests put their files: in memory where there is plenty, since stores and databases are made thousands of times.
ROOMY := $(shell test "$$(df -k --output=avail /dev/shm 2>/dev/null | tail -1)" -gt 8000000 2>/dev/null && echo /dev/shm)
HTMX_VERSION := 2.0.11
IDB_VERSION := 8.0.4
LIT_HTML_VERSION := 3.3.3
QR_VERSION := 0.7.0
# The lock files must not depend on how one machine finds packages.
COMPILE := env -u PIP_FIND_LINKS $(BIN)/uv --no-config pip compile --quiet --universal \
	--python-version 3.11 --generate-hashes --no-strip-extras --no-annotate \
	--no-emit-index-url --no-emit-find-links --custom-compile-command "make lock" \
	$(if $(UPGRADE),--upgrade)

# Programs that the tests start would each compile the whole program anew where compiled files are not kept.
unexport PYTHONDONTWRITEBYTECODE

.PHONY: help setup run test faults fuzz lint types templates migrations format migrate demo bench bench-full bench-due bench-effect bench-field bench-load bench-plan bench-pages lock audit vendor clean

help:  ## Show this list
	@awk -F ':.*## ' '/^[a-z-]+:.*## / {printf "  make %-11s %s\n", $$1, $$2}' $(MAKEFILE_LIST)

setup: $(STAMP)  ## Prepare .venv from the lock file (nothing to do when it has not changed)

$(STAMP): requirements-dev.lock
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' \
		|| { echo "Python 3.11 or newer is needed; name it with: make PYTHON=python3.12 setup" >&2; exit 1; }
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --require-hashes -r requirements-dev.lock
	@touch $@

run: setup  ## Serve the register, with the demo fleet when the database is empty
	$(BIN)/python -m app migrate
	$(BIN)/python -m app demo
	$(BIN)/python -m app serve

test: setup  ## Run every check and the whole test suite
	@$(MAKE) --no-print-directory -j2 lint types templates migrations
	$(if $(ROOMY),TMPDIR=$(ROOMY)) $(BIN)/python -m pytest -n $(PYTEST_WORKERS) --dist loadfile --no-loadscope-reorder

faults: setup  ## Kill the program at random moments, 200 times on SQLite and 50 on PostgreSQL (an hour); docs/faults.md tells
	$(BIN)/python -m bench.faults --write
	FAULTS_GUESSES=5000 $(BIN)/python -m pytest tests/faults/test_strangers.py

fuzz: setup  ## Try at length what `make test` tries shortly: requests, properties, cars, tablets, pages (hours; FUZZ_EXAMPLES=5000)
	FUZZ_EXAMPLES=$${FUZZ_EXAMPLES:-500} $(BIN)/python -m pytest tests/api/test_fuzz.py
	LONG_RUN=1 $(BIN)/python -m pytest -m hypothesis
	LONG_RUN=1 $(BIN)/python -m pytest tests/answers/test_many_cars.py tests/bulk tests/field/test_many_tablets.py tests/browser

lint: setup  ## Check style and formatting
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .

types: setup  ## Check types
	$(BIN)/mypy

templates: setup  ## Check the HTML templates
	$(BIN)/djlint templates --lint --quiet

migrations: setup  ## Check that models and migrations agree
	@scratch=$$(mktemp -d) && trap 'rm -rf "$$scratch"' EXIT \
		&& export DATABASE_URL="sqlite:///$$scratch/store.db" \
		&& $(BIN)/alembic upgrade head && $(BIN)/alembic check

format: setup  ## Mend style and formatting
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

migrate: setup  ## Bring the database named by DATABASE_URL up to this version
	$(BIN)/python -m app migrate

demo: setup  ## Load the invented demo fleet into an empty database
	$(BIN)/python -m app demo

bench: setup  ## Measure everything at small sizes beside its reference, into bench/results.md (minutes)
	$(BIN)/python -m bench

bench-full: setup  ## The same at all sizes (hours; parts on other days: python -m bench --full NAME...)
	$(BIN)/python -m bench --full

bench-due: setup  ## Measure due dates: by request, for a fleet, and streamed
	$(BIN)/python -m bench.due_dates
	$(BIN)/python -m bench.lines

bench-effect: setup  ## Measure the effect of an edition on the fleet that DATABASE_URL names
	$(BIN)/python -m bench.effect

bench-field: setup  ## Measure what a tablet takes along, and how quickly it answers
	$(BIN)/python -m bench.field_pack
	$(BIN)/python -m bench.field_tablet

bench-load: setup  ## Load four workers with users for ten minutes on each engine, and kill some meanwhile
	$(BIN)/python -m bench.load
	$(BIN)/python -m bench.load --engine postgresql

bench-plan: setup  ## Measure shop plans of 5,000 cars beside their bound and soonest due first (minutes; more with --cars)
	$(BIN)/python -m bench.plan_by_hand
	$(BIN)/python -m bench.plan

bench-pages: setup  ## Measure the pages of the register that DATABASE_URL names
	$(BIN)/python -m bench.pages

lock: setup  ## Make the lock files from pyproject.toml (newest versions with UPGRADE=1)
	$(COMPILE) pyproject.toml --output-file requirements.lock
	$(COMPILE) pyproject.toml --group dev --constraints requirements.lock --output-file requirements-dev.lock

# Strict: a library of which the index tells nothing fails it, since silence is not safety.
audit: setup  ## Ask whether a library in use has a known weakness (needs the index's advisories)
	$(BIN)/pip-audit --strict --disable-pip --require-hashes --progress-spinner off -r requirements.lock

# For another version change its number above and its sums in static/vendor/SHA256SUMS.
vendor:  ## Fetch the vendored browser libraries in their exact versions (needs npm)
	@scratch=$$(mktemp -d) && trap 'rm -rf "$$scratch"' EXIT && cd "$$scratch" \
		&& npm pack --silent htmx.org@$(HTMX_VERSION) idb@$(IDB_VERSION) \
			lit-html@$(LIT_HTML_VERSION) qr@$(QR_VERSION) >/dev/null \
		&& for each in *.tgz; do mkdir "$${each%-*}" && tar -xzf "$$each" -C "$${each%-*}"; done \
		&& mkdir -p kept/qr \
		&& cp htmx.org/package/dist/htmx.min.js kept/ && cp htmx.org/package/LICENSE kept/htmx-LICENSE.txt \
		&& cp idb/package/build/index.js kept/idb.js && cp idb/package/LICENSE kept/idb-LICENSE.txt \
		&& cp lit-html/package/lit-html.js kept/ && cp lit-html/package/LICENSE kept/lit-html-LICENSE.txt \
		&& cp qr/package/decode.js qr/package/index.js kept/qr/ && cp qr/package/LICENSE-MIT kept/qr/LICENSE.txt \
		&& (cd kept && sha256sum --check "$(CURDIR)/static/vendor/SHA256SUMS") \
		&& cp -r kept/. "$(CURDIR)/static/vendor/"

clean:  ## Remove .venv and caches; the data stays
	rm -rf $(VENV) .mypy_cache .ruff_cache .pytest_cache .hypothesis
	find . -name __pycache__ -type d -prune -exec rm -rf {} +
