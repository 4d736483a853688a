#!/bin/sh
# Sets up a fresh machine and runs the fast tests; further words go to pytest (all tests:
# -m "", the thorough alone: -m thorough).
set -eu
cd "$(dirname "$0")/.."
extras="test,desk"
. .ci/venv.sh
. .ci/chromium.sh
if [ -n "$chromium" ]; then
    export CUREPLAN_CHROMIUM="$chromium" CUREPLAN_BROWSER=required
else
    echo "No Chromium here, and none could be installed: the browser tests are skipped."
fi
# Else each of the many commands that tests start would compile the package anew.
unset PYTHONDONTWRITEBYTECODE
echo "Running the fast tests ..."
exec .venv/bin/python -m pytest -q -n 2 --dist loadfile -m "not thorough" "$@"
