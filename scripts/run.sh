#!/bin/sh
# Sets up whatever is missing, then runs:  sh scripts/run.sh demo | tests | check JOB -o DIR | any other command
# Needs Python 3.11 to 3.13; installs into .venv beside this checkout and nowhere else, except Debian packages
# that are missing (only as root or with sudo).
set -eu
caller="$PWD"
cd "$(dirname "$0")/.."
top="$PWD"
python="${PYTHON:-python3}"

missing=""
have() { ldconfig -p 2>/dev/null | grep -q "$1"; }
have libGL.so.1 || missing="$missing libgl1"
have libEGL.so.1 || missing="$missing libegl1"
have libX11.so.6 || missing="$missing libx11-6"
have libgomp.so.1 || missing="$missing libgomp1"
command -v "$python" >/dev/null 2>&1 || missing="$missing python3"
"$python" -c "import ensurepip, venv" 2>/dev/null || missing="$missing python3-venv"
[ -e /etc/ssl/certs/ca-certificates.crt ] || missing="$missing ca-certificates"
browser() { command -v chromium || command -v chromium-browser || command -v google-chrome; }
if [ "${1:-}" = tests ] && ! browser >/dev/null 2>&1; then missing="$missing chromium"; fi  # for tests/browser
if [ -n "$missing" ] && [ "$(uname -s)" = Linux ]; then
    if ! command -v apt-get >/dev/null 2>&1; then
        echo "missing system libraries; install what your system calls:$missing" >&2
        exit 2
    fi
    root=""
    if [ "$(id -u)" != 0 ]; then
        root="sudo"
        command -v sudo >/dev/null 2>&1 || { echo "missing packages; as root run: apt-get install$missing" >&2; exit 2; }
    fi
    $root apt-get update -q >&2
    # shellcheck disable=SC2086
    $root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends $missing >&2
fi

want="."
[ "${1:-}" = tests ] && want=".[dev]"
mark=".venv/.installed $want"
if [ ! -e "$mark" ] || [ pyproject.toml -nt "$mark" ]; then
    [ -x .venv/bin/python ] || "$python" -m venv .venv
    .venv/bin/python -m pip install --quiet --disable-pip-version-check -e "$want" >&2
    touch "$mark"
fi

if [ "${1:-}" = tests ]; then
    shift
    .venv/bin/python scripts/fetch_test_data.py >&2 || echo "open test data not fetched: tests that need it will be skipped" >&2
    .venv/bin/ruff check .
    .venv/bin/ruff format --check .
    .venv/bin/mypy
    exec .venv/bin/python -m pytest -n 2 --dist worksteal -q "$@"
fi
cd "$caller"  # file names are given from where the command was typed
exec "$top/.venv/bin/clearance" "$@"
