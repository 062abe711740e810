# Shared by ops/demo, ops/test and ops/check: finds Python, makes a virtual environment from a lock file.
# Sourced, never run. Written for bash 3.2, which is what macOS has.

root=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd -P) || exit 1
state="$root/.pourbook"

# These would send an installation elsewhere, or mix other packages into it.
unset PYTHONHOME PYTHONPATH PIP_USER PIP_TARGET PIP_PREFIX PIP_ROOT PIP_REQUIRE_VIRTUALENV PIP_NO_BINARY
# Tests and the demo start hundreds of programs; none should compile the same modules again.
unset PYTHONDONTWRITEBYTECODE
export PYTHONNOUSERSITE=1 PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1

stop() { # stop SENTENCE: ends with one sentence on standard error
    printf '%s\n' "$1" >&2
    exit 1
}

stopped_by_hand() {
    printf '\nStopped; run the same command again to go on.\n' >&2
    exit 130
}
trap stopped_by_hand INT TERM

check_platform() {
    case "$(uname -s) $(uname -m)" in
        "Linux x86_64" | "Linux amd64" | "Linux aarch64" | "Linux arm64" | "Darwin x86_64" | "Darwin arm64") ;;
        *) stop "Pourbook runs on Linux (x86-64, arm64) and macOS; this is $(uname -s) on $(uname -m)." ;;
    esac
}

# Prints the first Python from 3.11 to 3.14 that can make a virtual environment with pip in it.
find_python() {
    local name without_venv=""
    for name in python3.11 python3.12 python3.13 python3.14 python3 python; do
        command -v "$name" >/dev/null 2>&1 || continue
        "$name" -c 'import sys; sys.exit(not (3, 11) <= sys.version_info[:2] <= (3, 14))' >/dev/null 2>&1 || continue
        if "$name" -c 'import venv, ensurepip' >/dev/null 2>&1; then
            printf '%s\n' "$name"
            return 0
        fi
        without_venv=$name
    done
    if [ -n "$without_venv" ]; then
        stop "$without_venv has no venv or pip: install them (Debian and Ubuntu: apt-get install $without_venv-venv) and run this again."
    fi
    stop "No Python from 3.11 to 3.14 was found: install one (as python3.11 to python3.14, or python3) and run this again."
}

# One line that moves on a terminal; elsewhere a plain line now and then. Reads pip's output.
show_progress() { # show_progress TOTAL
    local total=$1 done=0 line name
    while IFS= read -r line; do
        case "$line" in
            "Collecting "* | "Processing "*)
                done=$((done + 1))
                # "Collecting NAME==VERSION (from ...)", or "Processing FOLDER/NAME-VERSION-TAGS.whl".
                name=${line#* }
                name=${name%% *}
                name=${name##*/}
                name=${name%%[=<>;]*}
                name=${name%%-[0-9]*}
                if [ -t 2 ]; then
                    printf '\r  package %d of about %d: %-32.32s' "$done" "$total" "$name" >&2
                elif [ $((done % 10)) -eq 1 ]; then
                    printf '  package %d of about %d: %s\n' "$done" "$total" "$name" >&2
                fi
                ;;
            "Installing collected packages"*)
                if [ -t 2 ]; then
                    printf '\r  unpacking %d packages%-40s' "$done" "" >&2
                else
                    printf '  unpacking %d packages\n' "$done" >&2
                fi
                ;;
        esac
    done
    [ -t 2 ] && printf '\r%-78s\r' "" >&2
    return 0
}

explain_failure() { # explain_failure LOG
    if grep -qE 'DO NOT MATCH THE HASHES' "$1"; then
        stop "A downloaded package differs from the one that was locked, so nothing was installed; see $1."
    elif grep -qE 'No space left|Errno 28' "$1"; then
        stop "The disk is full: make room under $state (about 400 MB) and run this again."
    elif grep -qiE 'NewConnectionError|NameResolutionError|Max retries|ConnectTimeout|ReadTimeout|ProxyError|SSLError|Connection (refused|reset|broken)' "$1"; then
        stop "The package registry cannot be reached: check the network (or pip's index and proxy settings) and run this again; see $1."
    elif grep -qiE 'No matching distribution|not a supported wheel' "$1"; then
        stop "A locked package has no ready-made build for this system (Linux needs glibc 2.28 or newer); see $1."
    fi
    stop "Installing the packages failed; the reason is at the end of $1."
}

# True after: the environment holds exactly the lock's packages, or this has ended with a reason.
# A stamp (this folder's path and the whole lock) makes the second run quick; a half-made one is made anew.
make_environment() { # make_environment FOLDER LOCK
    local venv=$1 lock=$2 log="$1.log" python total
    if { printf '%s\n' "$root" && cat "$lock"; } | cmp -s - "$venv/installed-from" 2>/dev/null &&
        "$venv/bin/python" -c '' 2>/dev/null; then
        return 0
    fi
    check_platform
    python=$(find_python) || exit 1
    mkdir -p "$state" 2>/dev/null || stop "The folder $state cannot be written: run this from a folder of your own."
    total=$(grep -cE '^[a-z0-9]' "$lock")
    printf 'Setting up %s with %s, once:\n' "${venv#"$root"/}" "$("$python" --version 2>&1)" >&2
    rm -rf "$venv"
    "$python" -m venv "$venv" >"$log" 2>&1 ||
        stop "$python could not make a virtual environment in $venv; the reason is at the end of $log."
    # --no-deps: the lock is complete, so there is nothing to resolve. --no-compile: done on first import.
    "$venv/bin/python" -m pip install --require-hashes --only-binary :all: --no-deps --no-compile \
        --progress-bar off --retries 2 --timeout 30 -r "$lock" 2>&1 | tee -a "$log" | show_progress "$total"
    [ "${PIPESTATUS[0]}" -eq 0 ] || explain_failure "$log"
    add_project "$venv"
    { printf '%s\n' "$root" && cat "$lock"; } >"$venv/installed-from"
}

# The project itself is not installed but pointed at, with the `pourbook` command beside Python.
add_project() { # add_project VENV
    local packages
    packages=$("$1/bin/python" -c 'import sysconfig; print(sysconfig.get_path("purelib"))') || exit 1
    printf '%s\n' "$root" >"$packages/pourbook.pth"
    cat >"$1/bin/pourbook" <<COMMAND
#!/bin/sh
exec "$1/bin/python" -m ops.cli "\$@"
COMMAND
    chmod 755 "$1/bin/pourbook"
}
