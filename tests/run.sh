#!/bin/sh
# Every check of the project: style, types, import rules, tests.
#
#   sh tests/run.sh                    all of it
#   sh tests/run.sh tests/unit -k wear   the checks, then only these tests
#
# Makes its own environment in .venv (or $FADEWATCH_VENV). As root on a Debian-like
# machine it also installs the browser, the emulator and the Windows headers that some
# tests use; elsewhere those tests are skipped and say so. Wine is used where it is.
set -eu
cd "$(dirname "$0")/.."
venv=${FADEWATCH_VENV:-.venv}
bin=$venv/bin

say() { printf '\n== %s\n' "$*"; }

prepare_python() {
    say "environment in $venv"
    [ -x "$bin/python" ] || "${PYTHON:-python3}" -m venv "$venv"
    now=$(cksum < pyproject.toml)
    if [ "$(cat "$venv/.prepared" 2>/dev/null)" != "$now" ]; then
        "$bin/python" -m pip install -qq --disable-pip-version-check -U 'pip>=25.1'
        "$bin/python" -m pip install -qq --disable-pip-version-check \
            -e '.[collector]' --group dev
        printf '%s\n' "$now" > "$venv/.prepared"
    fi
}

# tool:package pairs that are missing and may be installed here.
prepare_tools() {
    missing=
    for pair in chromium:chromium qemu-system-x86_64:qemu-system-x86 \
        iasl:acpica-tools openssl:openssl gcc:gcc \
        x86_64-w64-mingw32-gcc:gcc-mingw-w64-x86-64-win32; do
        command -v "${pair%%:*}" > /dev/null || missing="$missing ${pair#*:}"
    done
    [ -n "$missing" ] || return 0
    if [ "$(id -u)" = 0 ] && command -v apt-get > /dev/null; then
        say "tools for the browser, kernel and Windows tests:$missing"
        # shellcheck disable=SC2086  # a list of package names
        { apt-get update -q && DEBIAN_FRONTEND=noninteractive \
            apt-get install -y -q --no-install-recommends $missing; } > "$venv/tools.log" 2>&1 ||
            printf 'not installed (see %s); their tests are skipped\n' "$venv/tools.log"
    else
        printf 'not here, their tests are skipped:%s\n' "$missing"
    fi
}

prepare_kernel() {
    # Fetched and built once, outside the time that a test may take.
    "$bin/python" -m tests.kernel || printf 'no kernel image; its tests are skipped\n'
}

prepare_wine() {
    # Wine is large, so it is used where it is and installed by nobody but its owner.
    "$bin/python" -m tests.windows || printf 'tests of the agent on Wine are skipped\n'
}

prepare_python
prepare_tools
prepare_kernel
prepare_wine

say "style"
"$bin/ruff" check .
"$bin/ruff" format --check .
say "types"
"$bin/mypy" &
whole=$!
# The agent also runs where other parts of the standard library exist.
for system in win32 darwin; do
    "$bin/mypy" --platform "$system" --cache-dir ".mypy_cache/$system" agent common
done
wait "$whole"
say "import rules"
"$bin/lint-imports" --no-logo
say "tests"
[ $# -eq 0 ] || exec "$bin/python" -m pytest "$@"
# tests/running_order.py says which files begin first, not the number of their tests.
"$bin/python" -m pytest -n auto --dist loadfile --no-loadscope-reorder \
    --cov --cov-report=term --cov-fail-under=90
say "every branch of the pure core"
core=collector/fadewatch_collector
"$bin/coverage" report --fail-under=100 \
    --include="common/fadewatch_common/*,$core/analysis/*,$core/rules/*"
