# Sourced by tests/run.sh and .ci/run: brings Chromium for the browser tests where it can.
# Afterwards $chromium is its path, or empty. One that is installed needs no network.
chromium=${CUREPLAN_CHROMIUM:-$(command -v chromium || true)}
if [ -z "$chromium" ] && command -v apt-get >/dev/null; then
    as_root=""
    [ "$(id -u)" = 0 ] || as_root="sudo"
    echo "Installing Chromium for the browser tests; some 100 MB, a minute or so ..."
    if $as_root apt-get update -qq && $as_root env DEBIAN_FRONTEND=noninteractive \
        apt-get install -y -qq chromium >/dev/null; then
        chromium=$(command -v chromium || true)
    fi
fi
