#!/usr/bin/env bash
# Makes .venv in this checkout and installs faultnet there with the extras named, in the versions of
# tests/constraints.txt. Usage: bash tests/set_up.sh [EXTRAS]
set -euo pipefail
cd "$(dirname "$0")/.."
extras="${1:-app}"

suits() { "$1" -c 'import sys; sys.exit(sys.version_info < (3, 11))' >/dev/null 2>&1; }

as_root() {
    if [ "$(id -u)" -eq 0 ]; then "$@"
    elif command -v sudo >/dev/null; then sudo "$@"
    else echo "set_up: neither root nor sudo: cannot run: $*" >&2; return 1
    fi
}

make_venv() { "$python" -m venv --clear .venv >/dev/null 2>&1 && .venv/bin/python -m pip --version >/dev/null 2>&1; }

python=""
for candidate in python3.11 python3 python3.12 python3.13; do
    if suits "$candidate"; then python="$candidate"; break; fi
done
if [ -z "$python" ]; then
    echo "set_up: Python 3.11 or newer is needed and was not found. Install it, for example: apt-get install python3" >&2
    exit 1
fi

if ! { suits .venv/bin/python && .venv/bin/python -m pip --version >/dev/null 2>&1; }; then
    # Debian and Ubuntu keep what a venv needs in a package of its own
    if ! make_venv; then
        echo "set_up: $python cannot make a venv yet; installing the system's package for it" >&2
        as_root apt-get update -qq
        as_root env DEBIAN_FRONTEND=noninteractive apt-get install -y -qq "$(basename "$(readlink -f "$(command -v "$python")")")-venv" >/dev/null
        make_venv || { echo "set_up: $python still cannot make a venv" >&2; exit 1; }
    fi
fi

echo "set_up: installing faultnet[$extras] into .venv; this takes a minute or two" >&2
.venv/bin/python -m pip install --quiet --disable-pip-version-check --constraint tests/constraints.txt \
    --editable ".[$extras]"
