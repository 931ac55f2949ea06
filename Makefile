# The ten verbs of the house; DEVELOPERS.md says more of each.
.PHONY: try quick test lint types bench docs clean release shell environment
SHELL := /bin/bash
PURE := tests/metrology tests/statistics

try:  ## serve the demo league on this machine
	deploy/try

quick: lint types  ## what most mistakes fail, in three minutes: no server, no browser, no slow test
	.venv/bin/pytest --numprocesses=2 --dist=worksteal --no-migrations -m "not slow and not worker and not machines" -q

test:  ## every check, as continuous integration runs them
	deploy/test

lint: environment  ## style, layout, imports
	.venv/bin/ruff check . && .venv/bin/ruff format --check . && .venv/bin/lint-imports

types: environment
	.venv/bin/mypy api deploy results rigs

bench:  ## make bench NAME=agree
	deploy/bench $(NAME)

docs: environment  ## what is drawn from the code: the architecture in DEVELOPERS.md
	.venv/bin/python -m deploy.tools.architecture

clean:  ## caches, screenshots and the demo's store; not .venv
	rm -rf .mypy_cache .ruff_cache .pytest_cache .hypothesis .import_linter_cache var
	find . -name __pycache__ -not -path "./.venv/*" -prune -exec rm -rf {} +

release: environment  ## keep the API document and a store of this release: make release NUMBER=0.2.0
	.venv/bin/python -m deploy.tools.openapi.release
	.venv/bin/python -m deploy.demo.kept_store tests/data/kept-store/$(NUMBER).sqlite3.xz

shell: environment  ## Python with the models at hand
	.venv/bin/python manage.py shell

environment:
	@source deploy/environment.sh && find_python && ensure_environment requirements-dev.lock
