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

# Large arrays come and go all the time. By default each is asked of the system anew, page by page, which took a fifth
# of the suite's processor time; so what is given back is kept for the next one (GNU C library; others ignore this).
export MALLOC_MMAP_THRESHOLD_=1073741824 MALLOC_TRIM_THRESHOLD_=4294967296 MALLOC_TOP_PAD_=67108864
export OPENBLAS_NUM_THREADS=1

.venv/bin/python -m pytest -n 2 --dist loadfile --no-loadscope-reorder --max-worker-restart=0
