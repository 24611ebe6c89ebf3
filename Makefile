# Two commands do everything: `make run` and `make test`. The rest are their parts, and `make quick`.
PYTHON ?= python3
VENV := .venv
BIN := $(VENV)/bin
PIP := $(BIN)/python -m pip --disable-pip-version-check --quiet
PORT ?= 8437
ARGS ?=
ROOM ?=

export PYTHONDONTWRITEBYTECODE :=

.PHONY: run test test-computing test-browser quick quick-lint quick-tests lint format types bench coverage lock clean

run: $(VENV)/.ready-run
	@$(BIN)/coldtake serve --port $(PORT) $(ARGS)

test: $(VENV)/.ready-test node_modules/.ready
	@tests/setup.sh
	@$(MAKE) --no-print-directory lint
	node --test tests/js/*.test.js
	@# A page plays in real time and mostly waits: the others compute meanwhile, and give way to it.
	@mkdir -p build && rm -f build/browser-failed
	@$(MAKE) --no-print-directory -k -j 2 test-computing test-browser
	@# What a stumbling machine failed in a browser is tried once more, alone, and named as unsteady:
	@# only what fails twice fails.
	@[ ! -e build/browser-failed ] || { echo "Unsteady, tried again:" && \
	  $(BIN)/python -m pytest -v -o cache_dir=build/pytest-browser --last-failed \
	  --last-failed-no-failures none tests/browser $(ARGS); }

test-computing:
	nice $(BIN)/python -m pytest -n 2 --dist loadfile --ignore tests/browser $(ARGS)

# Told when it is over, so that the two do not talk at once.
test-browser:
	@mkdir -p build
	@$(BIN)/python -m pytest -n 2 --dist loadfile -o cache_dir=build/pytest-browser \
	  tests/browser $(ARGS) >build/browser.txt 2>&1 || touch build/browser-failed; cat build/browser.txt

# What is looked at after each change: `make quick ROOM=listening`.
quick: $(VENV)/.ready-test node_modules/.ready
	@test -n "$(ROOM)" -a -d "tests/$(ROOM)" || { echo "Say a room: make quick ROOM=listening"; exit 1; }
	@$(MAKE) --no-print-directory -k -j 2 quick-lint quick-tests

quick-lint:
	@$(BIN)/ruff format --check . && $(BIN)/ruff check . && $(BIN)/mypy && \
	  node_modules/.bin/tsc -p tsconfig.json

quick-tests:
	@$(BIN)/python -m pytest -q -n 2 --dist loadfile -m "not long" "tests/$(ROOM)" $(ARGS)

lint: $(VENV)/.ready-test node_modules/.ready
	$(BIN)/ruff format --check .
	$(BIN)/ruff check .
	$(BIN)/mypy
	node_modules/.bin/tsc -p tsconfig.json
	@$(BIN)/python tests/audit.py

format: $(VENV)/.ready-test
	$(BIN)/ruff format .
	$(BIN)/ruff check --fix .

# The quick studies; the slow ones say their commands in bench/*/RESULTS.md.
bench: $(VENV)/.ready-test
	OMP_NUM_THREADS=1 $(BIN)/python bench/planning/run.py
	OMP_NUM_THREADS=1 $(BIN)/python bench/scale/run.py $(ARGS)

# Lines and branches reached by the tests, a line for each room; slow, and needs `coverage`.
coverage: export COVERAGE_FILE := build/.coverage
coverage: $(VENV)/.ready-test
	@mkdir -p build
	$(BIN)/python -m coverage run --branch --source src/coldtake --concurrency=thread \
	  -m pytest -q -p no:cacheprovider --ignore tests/browser $(ARGS)
	$(BIN)/python tests/coverage_by_room.py

# The environment is made again whenever the Python or a lock changes.
$(VENV)/bin/python:
	@$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11))' || \
	  { echo "Coldtake needs Python 3.11 or newer; $$($(PYTHON) --version) was found. Set PYTHON=…"; exit 1; }
	@$(PYTHON) -m venv $(VENV)

$(VENV)/.ready-run: $(VENV)/bin/python requirements.lock requirements-build.lock pyproject.toml
	@echo "Installing Coldtake into $(VENV) (only when something changed) …"
	@$(PIP) install --require-hashes -r requirements-build.lock
	@$(PIP) install --require-hashes -r requirements.lock
	@$(PIP) install --no-deps --no-build-isolation --editable .
	@touch $@

$(VENV)/.ready-test: $(VENV)/.ready-run requirements-dev.lock
	@echo "Installing what the tests need …"
	@$(PIP) install --require-hashes -r requirements-dev.lock
	@touch $@

node_modules/.ready: package.json package-lock.json
	@command -v npm >/dev/null || tests/setup.sh node
	@npm ci --no-fund --no-audit --loglevel=error
	@touch $@

# Needs uv; only whoever changes a dependency runs this.
lock:
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
	  pyproject.toml -o requirements.lock
	uv pip compile --universal --python-version 3.11 --generate-hashes --no-emit-index-url --no-header \
	  pyproject.toml --extra studio --group dev -c requirements.lock -o requirements-dev.lock
	printf 'hatchling==1.27.0\neditables\n' | uv pip compile --universal --python-version 3.11 \
	  --generate-hashes --no-emit-index-url --no-header - -o requirements-build.lock

clean:
	rm -rf $(VENV) node_modules dist build
