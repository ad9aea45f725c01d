# `make demo` runs the main job on the sample build, `make test` the tests; both set up all they need.
PYTHON ?= python3
VENV   := .venv
READY  := $(VENV)/.ready

.PHONY: demo test check clean

demo: $(READY)
	$(VENV)/bin/finishmatch audit sample_photos/cabin/cabin.toml --out out/cabin

test: $(READY)
	$(VENV)/bin/python -m pytest

check: $(READY)
	$(VENV)/bin/ruff check .
	$(VENV)/bin/ruff format --check --quiet .
	$(VENV)/bin/mypy

$(READY): pyproject.toml constraints.txt
	$(PYTHON) -m venv $(VENV)
	$(VENV)/bin/python -m pip install --quiet --disable-pip-version-check --constraint constraints.txt --editable '.[dev]'
	touch $@

clean:
	rm -rf $(VENV) out build *.egg-info
