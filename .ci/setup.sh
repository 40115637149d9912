# Sourced by ./run and ./check: makes .venv from the locked set and keeps a stamp, so that a second
# start does nothing but compare two checksums.

say() { echo "saltfare: $*" >&2; }

python_of() {
    for p in "${SALTFARE_PYTHON:-}" python3 python3.13 python3.12 python3.11; do
        [ -n "$p" ] || continue
        command -v "$p" >/dev/null 2>&1 || continue
        "$p" -c 'import sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null && { echo "$p"; return 0; }
    done
    return 1
}

setup() {
    set_up_for=$1
    lock="$here/requirements.lock"
    [ "$set_up_for" = dev ] && lock="$here/requirements-dev.lock"
    stamp="$here/.venv/.stamp-$set_up_for"
    want=$(cat "$here/pyproject.toml" "$lock" | cksum)
    # the development set holds the running set
    for have in "$stamp" "$here/.venv/.stamp-dev"; do
        case "$have" in *-dev) base="$here/requirements-dev.lock" ;; *) base=$lock ;; esac
        [ -f "$have" ] && [ "$(cat "$have")" = "$(cat "$here/pyproject.toml" "$base" | cksum)" ] && return 0
    done
    python=$(python_of) || { say "needs Python 3.11 or newer (python3); none was found"; exit 3; }
    if [ ! -x "$here/.venv/bin/python" ]; then
        say "making .venv with $($python --version)"
        "$python" -m venv "$here/.venv" || {
            rm -rf "$here/.venv"
            say "python's venv is missing: on Debian, apt-get install python3-venv"
            exit 3
        }
    fi
    say "installing the locked set ($(grep -c == "$lock") packages; the first time takes about a minute)"
    "$here/.venv/bin/python" -m pip install --quiet --disable-pip-version-check --require-hashes -r "$lock"
    "$here/.venv/bin/python" -m pip install --quiet --disable-pip-version-check --no-deps --no-build-isolation \
        --editable "$here"
    echo "$want" >"$stamp"
}

# A browser for the page tests, where it may be had; says plainly when it is not.
browser() {
    for b in /usr/bin/chromium /usr/bin/chromium-browser /usr/bin/google-chrome; do
        [ -x "$b" ] && return 0
    done
    if [ "$(id -u)" = 0 ] && command -v apt-get >/dev/null 2>&1; then
        say "installing Chromium for the page tests"
        { apt-get update -qq && DEBIAN_FRONTEND=noninteractive apt-get install -y -qq chromium; } >/dev/null 2>&1 \
            && return 0
    fi
    say "no Chromium here: the page tests that need one are skipped"
}
