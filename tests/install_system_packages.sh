#!/usr/bin/env bash
# Installs what the tests need from the system's packages, and fails if anything is still missing afterwards.
# Only what is missing is installed, so a machine that has everything needs neither root nor a network.
set -euo pipefail

packages="chromium ngspice postgresql fonts-dejavu-core libpango-1.0-0 libpangoft2-1.0-0"

is_there() {
    case "$1" in
        chromium) command -v chromium >/dev/null ;;
        ngspice) command -v ngspice >/dev/null ;;
        postgresql) command -v initdb >/dev/null || ls /usr/lib/postgresql/*/bin/initdb >/dev/null 2>&1 ;;
        fonts-dejavu-core) ls /usr/share/fonts/truetype/dejavu/DejaVuSans.ttf >/dev/null 2>&1 ;;
        libpango*) PATH="$PATH:/sbin:/usr/sbin" ldconfig -p | grep "${1%-0}.so.0" >/dev/null ;;
    esac
}

needed_by() {
    case "$1" in
        chromium) echo "the front end's tests in a real browser" ;;
        ngspice) echo "the check of the starting circuit against a circuit simulator" ;;
        postgresql) echo "the tests of the case store on PostgreSQL" ;;
        fonts-dejavu-core) echo "the front end's tests in a real browser" ;;
        libpango*) echo "sheets as PDF files" ;;
    esac
}

missing() { for package in $packages; do is_there "$package" || echo "$package"; done; }

as_root() {
    if [ "$(id -u)" -eq 0 ]; then env DEBIAN_FRONTEND=noninteractive "$@"
    elif command -v sudo >/dev/null; then sudo env DEBIAN_FRONTEND=noninteractive "$@"
    else echo "neither root nor sudo" >&2; return 1
    fi
}

wanted="$(missing)"
if [ -n "$wanted" ]; then
    echo "installing system packages: $(echo $wanted)" >&2
    as_root apt-get update -qq || true
    for package in $wanted; do # one by one: a package that cannot be had must not keep the others out
        as_root apt-get install -y -qq --no-install-recommends "$package" >/dev/null || true
    done
fi

for package in $(missing); do
    echo "COULD NOT INSTALL: $package, needed by $(needed_by "$package")" >&2
    failed=1
done
exit "${failed:-0}"
