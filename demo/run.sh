#!/bin/sh
# Sets up a fresh machine and plans the demo job; further words go to `cureplan demo`.
# With `desk` as the first word, opens the desk on a copy of the demo job instead.
set -eu
cd "$(dirname "$0")/.."
extras=desk
. .ci/venv.sh
if [ "${1:-}" = desk ]; then
    shift
    mkdir -p demo-desk
    for each in cureplan/demo_data/*.toml cureplan/demo_data/*.csv; do
        [ -e "demo-desk/${each##*/}" ] || cp "$each" demo-desk/
    done
    exec .venv/bin/cureplan desk demo-desk "$@"
fi
exec .venv/bin/cureplan demo "$@"
