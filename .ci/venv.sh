# Sourced by demo/run.sh, tests/run.sh and .ci/run, in the repository's top folder:
# makes .venv and installs cureplan with the extras in $extras.
set -eu
if [ ! -x .venv/bin/pip ]; then
    rm -rf .venv
    if ! python3 -m venv .venv >/dev/null 2>&1; then
        rm -rf .venv
        echo "python3 cannot make virtual environments yet; installing python3-venv"
        as_root=""
        [ "$(id -u)" = 0 ] || as_root="sudo"
        $as_root apt-get update -qq
        $as_root apt-get install -y -qq python3-venv
        python3 -m venv .venv
    fi
fi
.venv/bin/python -c 'import sys; sys.exit(sys.version_info < (3, 11))' || {
    echo "cureplan needs Python 3.11 or later; $(python3 --version) was found" >&2
    exit 2
}
.venv/bin/python -m pip install -q --disable-pip-version-check -e ".${extras:+[$extras]}"
