#!/bin/sh
# Sets up a fresh machine and plans the demo job; further words go to `cureplan demo`.
set -eu
cd "$(dirname "$0")/.."
extras=""
. .ci/venv.sh
exec .venv/bin/cureplan demo "$@"
