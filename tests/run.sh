#!/bin/sh
# Sets up a fresh machine and runs the fast tests; further words go to pytest.
set -eu
cd "$(dirname "$0")/.."
extras="test"
. .ci/venv.sh
exec .venv/bin/python -m pytest -q -n 2 --dist loadfile "$@"
