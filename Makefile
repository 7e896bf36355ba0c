# Everything a developer runs. `make demo` and `make test` set up what they need.

PY := .venv/bin/python
ADDRESS ?= 127.0.0.1:8000
WORKERS ?= 2
COMPILE := $(PY) -m uv pip compile --quiet --universal --python-version 3.11 --fork-strategy fewest \
	--generate-hashes --no-header --no-annotate --no-emit-index-url --no-emit-find-links

# What is run from here is development; what a web server runs through registry/wsgi.py is not.
export DEBUG := 1

.PHONY: help demo test lock format migrations clean

help: ## list these commands
	@sed -n 's/^\([a-z-]*\):.*## /make \1: /p' Makefile

demo: ## serve the site with invented data at ADDRESS (127.0.0.1:8000); Ctrl-C stops it
	@.ci/install requirements.lock
	@$(PY) manage.py demo $(ADDRESS)

test: ## check style, types, imports and migrations, then run all tests; installs a browser if there is none
	@.ci/install requirements-dev.lock
	@.ci/browser
	$(PY) -m ruff check .
	$(PY) -m ruff format --check .
	$(PY) -m mypy registry outcomes
	.venv/bin/lint-imports
	$(PY) manage.py makemigrations --check --dry-run
	$(PY) -m pytest -n $(WORKERS)

lock: ## pin the newest allowed versions of requirements*.in, with hashes
	@.ci/install requirements-dev.lock
	$(COMPILE) --upgrade requirements.in --output-file requirements.lock
	$(COMPILE) --upgrade requirements-dev.in --constraint requirements.lock --output-file requirements-dev.lock

format: ## put the code into the common form
	@.ci/install requirements-dev.lock
	$(PY) -m ruff check --fix .
	$(PY) -m ruff format .

coverage-study: ## work out what each interval covers; writes docs/coverage.md and its figures
	@.ci/install requirements-dev.lock
	$(PY) -m tests.bench.coverage

bench: ## compare with an analyst's script at SIZES (200 to 1,000,000 runs; an hour); writes docs/performance.md
	@.ci/install requirements-dev.lock
	$(PY) -m uv pip install --quiet --no-deps --target .data/bench/rivals -r requirements-bench.in
	PYTHONPATH=.data/bench/rivals $(PY) -m tests.bench $(SIZES)

clean: ## remove what can be made again; the development database in .data/ stays
	rm -rf .venv .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache staticfiles test-results
	find . -name __pycache__ -type d -prune -exec rm -rf {} +

migrations: ## write the migrations that changed models need
	$(PY) manage.py makemigrations registry
