# make demo: the helm on the invented waters.   make test: every test.
# Both build what they need in .venv and web/node_modules first.
PYTHON ?= python3
VENV   := .venv
BIN    := $(VENV)/bin
STATIC := src/moonless/helm/static/index.html
WEBSRC := $(shell find web/src web/index.html web/public web/vite.config.ts web/package.json -type f 2>/dev/null)

.PHONY: demo test test-rooms test-web test-helm test-mutants check quick docs lint types bench a823 scenes soak soak-live soak-night fuzz mutants mutants-ci wheel clean setup web

demo: setup web
	$(BIN)/moonless demo

# Parts that do not touch each other: `make -j2 test` runs the rooms on one core and the rest on the other.  The rooms,
# which take longest, begin first; the helm's tests, which wait much, find most kernels compiled by then.
test: test-rooms check test-web test-helm test-mutants

test-rooms: $(VENV)/.dev web
	$(BIN)/python -m pytest --ignore=tests/helm --durations=15

check: $(VENV)/.dev web
	$(BIN)/ruff check src tests bench demo design web/make_types.py
	$(BIN)/mypy

test-web: web
	cd web && npm test --silent

test-helm: $(VENV)/.dev web
	$(BIN)/python -m pytest tests/helm --durations=15

test-mutants: mutants-ci

# While you work: no browser, no data, no kernel to compile.
quick: $(VENV)/.dev
	$(BIN)/ruff check src tests bench demo design web/make_types.py
	$(BIN)/mypy
	$(BIN)/python -m pytest --quick -q

# The manual as a site that works offline, in site/; warnings are errors.
docs: $(VENV)/.docs
	NO_MKDOCS_2_WARNING=1 $(BIN)/mkdocs build --strict --quiet
	$(BIN)/python docs/check_offline.py site

lint: $(VENV)/.dev
	$(BIN)/ruff check src tests bench demo design web/make_types.py

types: $(VENV)/.dev
	$(BIN)/mypy

bench: $(VENV)/.bench
	$(BIN)/python -m bench

# The long ones; their last results stand in docs/measured.md.
a823: $(VENV)/.dev
	$(BIN)/python -m bench.a823

scenes: $(VENV)/.dev
	$(BIN)/python -m bench scenes

# Two hours of story at full speed: no exception, memory flat.
soak: $(VENV)/.dev
	$(BIN)/python -m bench.soak

# An hour of the helm itself on live links, recorded, with a screen: memory, handles, threads, ages, and their slopes.
soak-live: $(VENV)/.dev web
	$(BIN)/python -m bench.live.soak

# Twelve hours of the story on the live watch's own queues, recorded, with a small picture: an hour or two, memory flat.
soak-night: $(VENV)/.dev
	$(BIN)/python -m bench.live.night

# Hostile bytes for every door, so many seconds for each (EACH=600), led by coverage where atheris is installed; then
# damaged copies of real cells.  What is found belongs into tests/fuzz/found.
EACH ?= 60
CELLS ?= 20
fuzz: $(VENV)/.dev
	-$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt --group fuzz
	$(BIN)/python -m bench.fuzz --seconds $(EACH) --cells $(CELLS)

# Whether the tests bite: 60 wrong changes drawn at random (SEED="N ..."), each against the tests that reach it.
SEED ?= 1
mutants: $(VENV)/.dev
	$(BIN)/python -m bench.mutants --seed $(SEED)

# The changes of every day, which would each mislead a skipper: all must be caught.  A few minutes.
mutants-ci: $(VENV)/.dev
	$(BIN)/python -m bench.mutants --named

wheel: $(VENV)/.dev web
	$(BIN)/python -m build --wheel

setup: $(VENV)/.ready
web: $(STATIC)

$(VENV)/.ready: pyproject.toml constraints.txt
	@echo "Setting up Python packages in $(VENV) (first time only) ..."
	$(PYTHON) -m venv $(VENV)
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --upgrade "pip>=25.1"
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt -e .
	@touch $@

$(VENV)/.dev: $(VENV)/.ready
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt --group dev
	@touch $@

$(VENV)/.docs: $(VENV)/.dev
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt --group docs
	@touch $@

$(VENV)/.bench: $(VENV)/.dev
	$(BIN)/python -m pip install --quiet --disable-pip-version-check -c constraints.txt --group bench
	@touch $@

$(STATIC): $(WEBSRC) web/package-lock.json
	@echo "Building the helm's screens ..."
	cd web && npm ci --silent --no-audit --no-fund && npm run --silent build
	@touch $@

clean:
	rm -rf $(VENV) web/node_modules src/moonless/helm/static dist site
