# shellcheck shell=bash
# Shared by deploy/try, deploy/install.sh and tests/run: puts coldbrood, built as a wheel from this checkout, into
# its .venv; the installer has a venv of its own.
# To be sourced; bash. Writes nothing outside the checkout but a temporary folder.

root=$(cd "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/.." && pwd)
venv=$root/.venv
venv_home=$root
python=$venv/bin/python
stamp_file=$venv/coldbrood-stamp

export PIP_DISABLE_PIP_VERSION_CHECK=1 PIP_NO_INPUT=1 PIP_NO_CACHE_DIR=1 PIP_RETRIES=10
export PIP_DEFAULT_TIMEOUT=${PIP_DEFAULT_TIMEOUT:-60} PIP_ROOT_USER_ACTION=ignore
unset PYTHONPATH PYTHONHOME

say() { printf 'coldbrood: %s\n' "$*" >&2; }

give_up() {
    say "$*"
    exit 1
}

# Prints the first Python that is new enough and can make a venv.
find_python() {
    local candidate
    for candidate in python3 python3.13 python3.12 python3.11 /usr/bin/python3; do
        if "$candidate" -c 'import ensurepip, sys, venv; sys.exit(sys.version_info < (3, 11))' 2>/dev/null; then
            "$candidate" -c 'import sys; print(sys.executable)'
            return
        fi
    done
    return 1
}

why_no_python() {
    if ! command -v python3 >/dev/null; then
        echo "no python3 here; install it: sudo apt install python3 python3-venv"
    elif ! python3 -c 'import sys; sys.exit(sys.version_info < (3, 11))'; then
        echo "$(python3 --version 2>&1) is too old; Python 3.11 or newer is needed (Debian 12 has it)"
    else
        echo "python3 cannot make a .venv; install what it lacks: sudo apt install python3-venv"
    fi
}

# A venv holds absolute paths, so one that was moved with its checkout is made anew.
venv_is_sound() {
    [ "$(cat "$venv/coldbrood-home" 2>/dev/null)" = "$venv_home" ] || [ ! -e "$venv/coldbrood-home" ] || return 1
    "$python" -c 'import pip, sys; sys.exit(sys.version_info < (3, 11))' 2>/dev/null
}

make_venv() {
    venv_is_sound && return
    local base
    base=$(find_python) || give_up "$(why_no_python)"
    say "making $venv"
    "$base" -m venv --clear "$venv" || give_up "could not make $venv"
    echo "$venv_home" >"$venv/coldbrood-home"
}

# The network of a barn is not always there: three tries, each with pip's own retries.
pip_install() {
    local try
    for try in 1 2 3; do
        "$python" -m pip install --quiet "$@" && return
        [ "$try" = 3 ] || sleep $((try * 5))
    done
    give_up "pip could not install; what it said is above. Is there a way to the internet?"
}

hash_needs() { sha256sum <"$root/pyproject.toml" | cut -d' ' -f1; }

hash_source() {
    (cd "$root" && find daemon README.md -type f -not -path '*/__pycache__/*' -print0 | LC_ALL=C sort -z |
        xargs -0 sha256sum | sha256sum | cut -d' ' -f1)
}

is_editable() {
    "$python" - 2>/dev/null <<'PY'
import importlib.metadata, json, sys
url = json.loads(importlib.metadata.distribution("coldbrood").read_text("direct_url.json") or "{}")
sys.exit(not url.get("dir_info", {}).get("editable"))
PY
}

# install_wheel EXTRAS: nothing to do if the stamp shows these extras (or more) from this very source.
# When only the source changed, only the wheel is made again, and no network is asked.
install_wheel() {
    local extras=$1 needs source dist had_needs='' had_source='' had_extras=''
    make_venv
    needs=$(hash_needs)
    source=$(hash_source)
    [ ! -e "$stamp_file" ] || read -r had_needs had_source had_extras <"$stamp_file" || true
    has_extras "$extras" "$had_extras" && [ "$needs" = "$had_needs" ] || had_needs=
    if is_editable; then
        say "replacing the editable install in .venv by the built wheel"
        had_source=
    fi
    [ "$needs" = "$had_needs" ] && [ "$source" = "$had_source" ] && return
    rm -f "$stamp_file"
    dist=$(mktemp -d)
    if [ "$needs" != "$had_needs" ]; then
        say "installing coldbrood and what it needs into .venv (first time: a minute or two)"
        pip_install hatchling
    fi
    "$python" -m pip wheel --quiet --no-deps --no-build-isolation --wheel-dir "$dist" "$root" ||
        give_up "the wheel could not be built; what pip said is above"
    pip_install --no-deps --force-reinstall "$dist"/coldbrood-*.whl
    [ "$needs" = "$had_needs" ] || pip_install "$(echo "$dist"/coldbrood-*.whl)[$extras]"
    rm -rf "$dist"
    echo "$needs $source $extras" >"$stamp_file"
}

# has_extras WANTED HAD: both comma lists.
has_extras() {
    local extra
    for extra in ${1//,/ }; do
        case ",$2," in *",$extra,"*) ;; *) return 1 ;; esac
    done
}
