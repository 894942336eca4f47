# Foreaft on a machine with python3, python3-venv, make and git. Everything lives in .venv.
.PHONY: demo app test quick timing app-build lint format lock bench clean

WORKERS ?= 2
export PYTHON ?= python3
RUN := .venv/bin/python -m

demo: ## set up, then the main job on the invented car and circuit
	@tools/setup.sh demo
	@.venv/bin/foreaft demo

app: app-build ## build the app in the browser and open it
	@.venv/bin/foreaft app

app-build:
	@tools/setup.sh test
	@tools/app.sh

test: lint ## everything
	@tools/app.sh --try
	@tools/browser.sh
	@$(MAKE) --no-print-directory timing
	@$(RUN) pytest -n $(WORKERS) --dist worksteal -m "not timing"

quick: ## the fast tests
	@tools/setup.sh test
	@$(RUN) pytest -q -n $(WORKERS) --dist worksteal -m "not slow and not browser and not timing"

timing: ## what measures time or memory runs by itself; having none (5) is no failure
	@tools/setup.sh test
	@$(RUN) pytest -q -m timing || [ $$? -eq 5 ]

lint: ## style and types
	@tools/setup.sh test
	@$(RUN) ruff check .
	@$(RUN) ruff format --check .
	@$(RUN) mypy

format:
	@tools/setup.sh test
	@$(RUN) ruff check --fix .
	@$(RUN) ruff format .

lock: ## take new versions into locks/ (network)
	@tools/setup.sh test
	@tools/lock.sh

clean:
	rm -rf .venv build dist .pytest_cache .mypy_cache .ruff_cache .hypothesis
	find src tests tools -name __pycache__ -type d -prune -exec rm -rf {} +

bench: ## ratios against plain ways
	@tools/setup.sh test
	@for one in choose plan lap transient read cold; do .venv/bin/python benchmarks/$$one.py || exit 1; done
