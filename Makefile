# `make demo` runs the main job on the sample build, `make test` the tests, `make proofs` those that take minutes each;
# `make docs` builds the documentation, `make release` the package, tried out, with its list of contents; all set up what they need.
PYTHON ?= python3
VENV   := .venv
READY  := $(VENV)/.ready
PIP    := $(VENV)/bin/python -m pip install --quiet --disable-pip-version-check
NODE   := node_modules/.ready

.PHONY: demo test proofs check docs release clean

demo: $(READY)
	$(VENV)/bin/finishmatch audit sample_photos/cabin/cabin.toml --out out/cabin

test: $(READY)
	$(VENV)/bin/python -m pytest --numprocesses 2 --dist loadfile

proofs: $(READY)
	$(VENV)/bin/python -m pytest -m proof -rs

check: $(READY) $(NODE)
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check --quiet .
	$(VENV)/bin/mypy
	node_modules/.bin/biome lint --error-on-warnings
	node_modules/.bin/tsc -p jsconfig.json

docs: $(READY)
	NO_MKDOCS_2_WARNING=1 $(VENV)/bin/python -m mkdocs build --quiet --strict --config-file docs/mkdocs.yml
	@echo "Documentation: out/site/index.html"

$(READY): pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(PIP) --require-hashes --requirement constraints.txt
	$(PIP) --no-deps --no-build-isolation --editable .
	touch $@

$(NODE): package.json package-lock.json
	npm ci --no-audit --no-fund --silent
	touch $@

# The package, tried out where there are no sources, all that comes with it, and what is known against that; tools stay apart
# from what they look at.
release:
	rm -rf build
	$(PYTHON) -m venv build/tools
	build/tools/bin/python -m pip install --quiet --disable-pip-version-check --require-hashes --requirement release/constraints.txt
	build/tools/bin/python release/make.py --out dist

clean:
	rm -rf $(VENV) node_modules out build dist *.egg-info
