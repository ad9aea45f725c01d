# `make demo` runs the main job on the sample build, `make test` the tests, `make proofs` those that take minutes each;
# all set up what they need.
PYTHON ?= python3
VENV   := .venv
READY  := $(VENV)/.ready
PIP    := $(VENV)/bin/python -m pip install --quiet --disable-pip-version-check
NODE   := node_modules/.ready

.PHONY: demo test proofs check clean

demo: $(READY)
	$(VENV)/bin/finishmatch audit sample_photos/cabin/cabin.toml --out out/cabin

test: $(READY)
	$(VENV)/bin/python -m pytest

proofs: $(READY)
	$(VENV)/bin/python -m pytest -m proof -rs

check: $(READY) $(NODE)
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check --quiet .
	$(VENV)/bin/mypy
	node_modules/.bin/biome lint --error-on-warnings
	node_modules/.bin/tsc -p jsconfig.json

$(READY): pyproject.toml requirements.txt
	$(PYTHON) -m venv $(VENV)
	$(PIP) --require-hashes --requirement requirements.txt
	$(PIP) --no-deps --no-build-isolation --editable .
	touch $@

$(NODE): package.json package-lock.json
	npm ci --no-audit --no-fund --silent
	touch $@

clean:
	rm -rf $(VENV) node_modules out build *.egg-info
