#!/usr/bin/env bash
# Sets everything up in .venv and passes the whole suite: system packages, lint, format, types, tests.
# Nothing is skipped: what cannot be installed is named, and the run fails.
set -euo pipefail
cd "$(dirname "$0")/.."

bash tests/install_system_packages.sh
bash tests/set_up.sh all,test

.venv/bin/ruff check .
.venv/bin/ruff format --check .
.venv/bin/mypy
.venv/bin/python -m pytest
