#!/bin/sh
# Follow deploy/operating.md here, without systemd: PostgreSQL, nginx with TLS, two
# collectors, reports through them while one is killed and both are renewed, backup and
# restore. Some minutes; everything stays in a new folder below /tmp, which is left when
# a step fails.
#
#   sh deploy/prove.sh                 make an environment of its own and do it
#   FADEWATCH_VENV=.venv sh deploy/prove.sh   use one that is there
#
# Needs nginx, openssl, and PostgreSQL's programs (Debian: nginx-light, openssl, postgresql).
set -eu
cd "$(dirname "$0")/.."
venv=${FADEWATCH_VENV:-}
if [ -z "$venv" ]; then
    venv=.try/prove
    mkdir -p .try
    [ -x "$venv/bin/python" ] || "${PYTHON:-python3}" -m venv "$venv"
    echo "installing agent and collector into $venv"
    "$venv/bin/python" -m pip install -qq --disable-pip-version-check '.[postgres]'
fi
exec "$venv/bin/python" deploy/service/prove.py "$@"
