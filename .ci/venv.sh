# Sourced by demo/run.sh, tests/run.sh and .ci/run, in the repository's top folder:
# makes .venv and installs cureplan with the extras in $extras. What stands already is
# left as it is, so that only the first run needs a network.
set -eu
new_enough='import sys; sys.exit(sys.version_info < (3, 11))'
if ! .venv/bin/python -c "import pip; $new_enough" >/dev/null 2>&1; then
    python=""
    for each in python3 python3.13 python3.12 python3.11; do
        if command -v "$each" >/dev/null && "$each" -c "$new_enough" >/dev/null 2>&1; then
            python=$each
            break
        fi
    done
    if [ -z "$python" ]; then
        echo "cureplan needs Python 3.11 or later; found: $(python3 --version 2>&1)" >&2
        exit 2
    fi
    if [ -e .venv ] || [ -L .venv ]; then
        echo "The .venv here cannot be used (another machine's, or an old Python); made anew."
        rm -rf .venv
    fi
    echo "Making .venv with $("$python" --version) ..."
    if ! "$python" -m venv .venv >/dev/null 2>&1; then
        rm -rf .venv
        echo "$python cannot make virtual environments yet; installing $python-venv ..."
        as_root=""
        [ "$(id -u)" = 0 ] || as_root="sudo"
        $as_root apt-get update -qq
        $as_root apt-get install -y -qq "$python-venv"
        "$python" -m venv .venv
    fi
fi

# What an installation rests on: this folder and what pyproject.toml says of packages.
stamp=$(.venv/bin/python - <<'PYTHON'
import hashlib, json, os, sys, tomllib
with open("pyproject.toml", "rb") as file:
    said = tomllib.load(file)
rests_on = [os.getcwd(), sys.version, said["build-system"], said["project"], said["tool"]["hatch"]]
print(hashlib.sha256(json.dumps(rests_on).encode()).hexdigest()[:16])
PYTHON
)
installed=.venv/cureplan-installed
wanted="cureplan $(echo "$extras" | tr ',' ' ')"
lacking=""
for each in $wanted; do
    grep -qsx "$stamp $each" "$installed" || lacking="$lacking $each"
done
if [ -n "$lacking" ]; then
    echo "Installing$lacking and what is needed for it into .venv; the first time this"
    echo "fetches some 300 MB and takes a minute or so ..."
    if ! .venv/bin/python -m pip install -q --disable-pip-version-check \
        -e ".${extras:+[$extras]}"; then
        echo "The packages could not be installed; the first run needs a network." >&2
        exit 2
    fi
    grep -s "^$stamp " "$installed" >"$installed.new" || true
    for each in $lacking; do echo "$stamp $each" >>"$installed.new"; done
    mv "$installed.new" "$installed"
fi
