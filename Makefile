# Each target does its own set-up; `make` alone lists them.
# PYTHON=/path/to/python chooses the interpreter, TESTS=tests/yard a part of the tests, ARGS=... adds options.

.DEFAULT_GOAL := help
.DELETE_ON_ERROR:
MAKEFLAGS += --no-builtin-rules

bin := .venv/bin
TESTS ?= tests
ARGS ?=

# Small matrices: one thread each is several times faster than two that wait for each other.
export OPENBLAS_NUM_THREADS ?= 1

# Numba does not notice when a kernel's callee in another file changes, so compiled tests are kept by the content
# of the sources. Expanded only by the targets that run compiled code from the work tree.
kernels = $(CURDIR)/build/numba-$(shell find src/fruitwall/physics src/fruitwall/plants src/fruitwall/learning -name '*.py' | sort | xargs cat | cksum | cut -d' ' -f1)

.PHONY: help demo test check lint types format bench coverage locks wheel hooks clean

help: ## show this list
	@sed -n 's/^\([a-z]*\):.*## \(.*\)/  make \1|\2/p' $(firstword $(MAKEFILE_LIST)) | awk -F'|' '{printf "%-16s %s\n", $$1, $$2}'

demo: .venv/installed-run ## tonight's plan for the demo yard, here and on a page (DEMO_ONCE=1 only prints)
	@$(bin)/fruitwall demo $(ARGS)

test: .venv/installed-test ## everything that CI runs: system packages, lint, types, all tests
	@scripts/system-packages
	@$(MAKE) --no-print-directory lint types
	NUMBA_CACHE_DIR=$(kernels) $(bin)/python -m pytest -n 2 $(TESTS) $(ARGS)

check: lint types ## lint and types, without tests

lint: .venv/installed-test ## style, format and layers
	$(bin)/ruff check --output-format concise
	$(bin)/ruff format --check --quiet
	$(bin)/lint-imports --no-logo

types: .venv/installed-test ## mypy --strict
	$(bin)/mypy

format: .venv/installed-test ## rewrite the code in the house's format
	$(bin)/ruff check --fix --quiet --exit-zero
	$(bin)/ruff format --quiet

bench: .venv/installed-test ## time the night, the plan and the pages (ARGS=night_case: one case)
	NUMBA_CACHE_DIR=$(kernels) $(bin)/python -m bench $(ARGS)

coverage: .venv/installed-test ## which lines no test reaches (kernels uncompiled, so slow)
	$(bin)/coverage erase
	NUMBA_DISABLE_JIT=1 $(bin)/coverage run -m pytest $(TESTS) $(ARGS)
	$(bin)/coverage combine --quiet
	$(bin)/coverage report

locks: ## write locks/*.txt anew from pyproject.toml (ARGS=--upgrade for newest versions)
	scripts/make-locks $(ARGS)

wheel: .venv/installed-test ## build dist/*.whl
	$(bin)/python -m hatchling build -t wheel

hooks: ## run format, lint and types before each commit (needs pre-commit)
	pre-commit install

clean: ## remove what the other targets made, the environment too
	rm -rf .venv build dist htmlcov .coverage .coverage.* .pytest_cache .mypy_cache .ruff_cache .import_linter_cache .hypothesis
	find src tests bench scripts -name __pycache__ -type d -prune -exec rm -rf {} +

# The test environment holds the run environment, so installing it counts for both.
.venv/installed-run: pyproject.toml locks/build.txt locks/run.txt
	@scripts/set-up run
	@touch $@

.venv/installed-test: pyproject.toml locks/build.txt locks/test.txt
	@scripts/set-up test
	@touch $@ .venv/installed-run
