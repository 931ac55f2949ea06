# Sourced by try, test and bench: finds Python and makes .venv from a lock file with hashes.

stop() {
    echo "$1" >&2
    exit 1
}

find_python() {
    local name
    for name in python3 python3.14 python3.13 python3.12 python3.11; do
        if "$name" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            PYTHON=$name
            return
        fi
    done
    stop "Samespool needs Python 3.11 or newer, and this machine has $(python3 --version 2>/dev/null || echo none). Install python3.11 and run this again."
}

has_venv() {
    "$PYTHON" -c 'import ensurepip, venv' 2>/dev/null
}

# ensure_environment LOCK: make .venv hold what LOCK pins. The development lock holds everything
# of the demo's, so an environment made from it serves for both.
ensure_environment() {
    local lock=$1 pinned=.venv/pinned log
    if .venv/bin/python -c '' 2>/dev/null && grep -qsF "$(sha256sum <"$lock")" "$pinned"; then
        return
    fi
    has_venv || stop "Python's venv module is missing. Install it (on Debian: apt-get install python3-venv) and run this again."
    echo "Installing packages into .venv from $lock (only the first time, a minute or so) ..."
    .venv/bin/python -m pip --version >/dev/null 2>&1 || "$PYTHON" -m venv --clear .venv
    rm -f "$pinned"
    log=.venv/install.log
    if ! .venv/bin/python -m pip install --disable-pip-version-check --no-input --no-deps \
        --require-hashes -r "$lock" >"$log" 2>&1; then
        if grep -qE 'NewConnectionError|name resolution|Network is unreachable|ReadTimeout|ConnectTimeout|ProxyError|No matching distribution' "$log"; then
            stop "The packages could not be fetched. Connect this machine to the network and run this again; $log says more."
        fi
        stop "Installing the packages failed: $(grep -m 1 '^ERROR' "$log"). $log says more."
    fi
    sha256sum <"$lock" >"$pinned"
    if [ "$lock" = requirements-dev.lock ]; then
        sha256sum <requirements-demo.lock >>"$pinned"
    fi
}
