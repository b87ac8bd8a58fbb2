# Every target sets up first; that is quick when nothing changed.
PYTHON ?= python3
PORT ?= 8000
EXAMPLES ?= 40
VENV := .venv
BIN := $(VENV)/bin
READY := $(VENV)/.ready
DEMO_ENV := BAYWRIGHT_DEMO=1
COMPILE := $(BIN)/uv pip compile pyproject.toml --generate-hashes --universal --no-header --no-annotate --quiet

.PHONY: setup setup-tests demo serve check test lint format bench bench-cutting lock openapi schemas checks fuzz

setup: $(READY)

$(READY): tests/requirements.lock docker/system-packages.sh
	@sh docker/system-packages.sh runtime
	@test -x $(BIN)/python || $(PYTHON) -m venv $(VENV)
	@echo "setting up $(VENV) (a few minutes the first time)"
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r tests/requirements.lock
	@touch $@

setup-tests: setup
	@sh docker/system-packages.sh tests

demo: setup
	@$(DEMO_ENV) $(BIN)/python manage.py demo

serve: setup
	@$(DEMO_ENV) $(BIN)/python manage.py serve --port $(PORT)

test: setup-tests
	@sh .ci/test $(ALSO)

# Lint, types and the tests of what changed. Slow tests and browser tests are left to `make test`.
check: lint
	@tests=$$($(BIN)/python .ci/changed_tests.py); test -z "$$tests" || $(DEMO_ENV) DATABASE_URL= \
	  $(BIN)/python -m pytest -q -n 2 --dist load --maxschedchunk 4 -m "not postgres and not browser and not slow" $$tests

lint: setup
	$(BIN)/ruff check .
	$(BIN)/ruff format --check .
	$(BIN)/mypy .
	$(BIN)/lint-imports
	$(BIN)/djlint . --lint --quiet
	@sh .ci/lint_scripts
	$(BIN)/python .ci/plain_words.py

format: setup
	$(BIN)/ruff check --fix .
	$(BIN)/ruff format .

bench: setup-tests
	@$(BIN)/python -m tests.benchmarks.bench_takeoff
	@$(BIN)/python -m tests.benchmarks.bench_lists
	@$(BIN)/python -m tests.benchmarks.bench_imports
	@$(BIN)/python -m tests.benchmarks.bench_exports
	@$(BIN)/python -m tests.benchmarks.bench_documents

bench-cutting: setup-tests
	@$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r tests/benchmarks/requirements.lock
	@$(BIN)/python -m tests.benchmarks.bench_cutting

lock:
	$(COMPILE) -o requirements.lock
	$(COMPILE) --extra dev -c requirements.lock -o tests/requirements.lock
	$(COMPILE) --extra bench -c tests/requirements.lock -o tests/benchmarks/requirements.lock

openapi: setup
	@$(DEMO_ENV) $(BIN)/python manage.py write_openapi docs/openapi.json

# The codes in fencing/schema, and the schema of a quote's content.
schemas: setup
	@PYTHONPATH=. $(BIN)/python .ci/write_schemas.py
	@$(BIN)/python -m quotes.quoting.content > quotes/quoting/schema/quote-content-2.json.new
	@mv quotes/quoting/schema/quote-content-2.json.new quotes/quoting/schema/quote-content-2.json

fuzz: setup-tests
	@FUZZ_CHECKS=all FUZZ_EXAMPLES=$(EXAMPLES) $(BIN)/python -m pytest -q -s tests/flows/test_fuzz.py

checks: setup-tests
	@$(BIN)/python -m pytest -q tests/checks --write-checks
