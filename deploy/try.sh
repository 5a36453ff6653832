#!/bin/sh
# Try Fadewatch on this machine, with an invented fleet beside this machine's own report.
#
#   sh deploy/try.sh           start, show where to look; a second run shows it again
#   sh deploy/try.sh --stop    stop the collector that was started
#   sh deploy/try.sh --check   do it all in a folder of its own, verify each step, stop
#
# Everything stays below .try in this checkout and on 127.0.0.1:8470.
set -eu
cd "$(dirname "$0")/.."
folder=.try
python=$folder/venv/bin/python
stop_here=${1:-}

if [ "$stop_here" != --stop ]; then
    host_python=${PYTHON:-python3}
    if ! "$host_python" -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
        echo "try.sh: $host_python 3.11 or newer is needed (set PYTHON=...)" >&2
        exit 1
    fi
    mkdir -p "$folder"
    if ! [ -x "$python" ]; then
        echo "1/7 making a Python environment in $folder/venv"
        "$host_python" -m venv "$folder/venv" || {
            echo "try.sh: no venv module; on Debian: apt-get install python3-venv" >&2
            exit 1
        }
    else
        echo "1/7 Python environment is there"
    fi
    now=$(cat pyproject.toml common/fadewatch_common/__init__.py | cksum)
    if [ "$(cat "$folder/installed" 2> /dev/null)" != "$now" ]; then
        echo "2/7 installing agent and collector (about a minute the first time)"
        "$python" -m pip install -qq --disable-pip-version-check -e '.[collector]'
        printf '%s\n' "$now" > "$folder/installed"
    else
        echo "2/7 agent and collector are installed"
    fi
fi
[ -x "$python" ] || { echo "try.sh: nothing was started here"; exit 0; }
exec "$python" deploy/try_out.py --folder "$folder" "$@"
