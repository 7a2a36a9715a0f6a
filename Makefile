# Every command works first and alone: the environment is made when it is missing or out of date.
PYTHON ?= python3
SITE ?= .
BIN := .venv/bin
READY := .venv/ready
TESTS ?= -m "not slow"

.PHONY: site check rehearse freeze new words test test-all lint format bench schemas lock

site: $(READY)  ## rebuild the record of a site: make site SITE=folder
	@$(BIN)/wrackline build --site "$(SITE)"

check: $(READY)  ## check the survey files of a site, build nothing; one alone: FILE=data/…
	@$(BIN)/wrackline check --site "$(SITE)" $(if $(FILE),--file "$(FILE)")

rehearse: $(READY)  ## what a build would run, and what is wrong with a new SEASON=file; changes nothing
	@$(BIN)/wrackline rehearse --site "$(SITE)" $(if $(SEASON),--season "$(SEASON)")

freeze: $(READY)  ## put a finished season's numbers in print: make freeze SEASON=2031
	@$(BIN)/wrackline freeze --site "$(SITE)" --season "$(SEASON)"

new: $(READY)  ## start a site: make new SITE=folder
	@$(BIN)/wrackline new --site "$(SITE)"

words: $(READY)  ## a language file to fill in, or what one lacks: make words LANGUAGE=uk
	@$(BIN)/wrackline words --site "$(SITE)" --language "$(LANGUAGE)"

test: $(READY)  ## the everyday tests, on two cores
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist loadfile $(TESTS)

test-all: test  ## all tests, the slow ones too
	OPENBLAS_NUM_THREADS=1 $(BIN)/python -m pytest -n 2 --dist loadfile -m slow

lint: $(READY)  ## format, style, types, Snakefile
	$(BIN)/ruff format --check . && $(BIN)/ruff check . && $(BIN)/mypy
	$(BIN)/snakefmt --check Snakefile workflow/rules && $(BIN)/python tests/lint_snakefile.py

format: $(READY)
	$(BIN)/ruff format . && $(BIN)/ruff check --fix . && $(BIN)/snakefmt Snakefile workflow/rules

bench: $(READY)  ## measure, print and keep the figures in tests/benchmarks/history.csv
	$(BIN)/python tests/benchmarks/bench.py

schemas: $(READY)  ## write workflow/schemas/ and the tables of config/README.md anew
	$(BIN)/wrackline schemas

lock:  ## pin what pyproject.toml asks for; needs the program uv
	uv pip compile --quiet --universal --python-version 3.11 --generate-hashes --no-header \
		--no-annotate --extra dev pyproject.toml -o requirements.lock

$(READY): requirements.lock pyproject.toml
	$(PYTHON) -c 'import sys; sys.exit(sys.version_info < (3, 11) and "Python 3.11 or newer is needed, this is " + sys.version)'
	$(PYTHON) -m venv .venv
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --require-hashes -r requirements.lock
	$(BIN)/python -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation -e .
	@touch $@
