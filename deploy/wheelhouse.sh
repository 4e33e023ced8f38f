#!/usr/bin/env bash
# A folder with everything a board without internet needs: made on a machine that has it, carried over on a stick.
#
#   deploy/wheelhouse.sh [--machine aarch64|x86_64] [--python 3.11] [--wheels-only] DIR
#
# DIR gets coldbrood and what it needs as wheels, and, on a Debian of the board's release, Debian's own packages with
# all they rest on (some 70 MB). On the board: deploy/install.sh --wheelhouse DIR. Writes nothing but DIR.
set -euo pipefail
. "$(dirname "$(readlink -f "$0")")/venv.sh"
. "$root/deploy/packages.sh"

usage() { sed -n '2,7s/^# \{0,1\}//p' "$0"; }

lock=$root/deploy/packages.lock # the versions that the tests ran with

# Wheels for this very machine are made by pip itself; for another one only ready-made wheels will do.
own_wheels() { "$python" -m pip wheel --quiet --constraint "$lock" --wheel-dir "$out" "$root"; }

foreign_wheels() {
    local tag=cp${for_python/./} platforms=()
    local glibc
    for glibc in manylinux2014 manylinux_2_17 manylinux_2_27 manylinux_2_28 manylinux_2_34; do
        platforms+=(--platform "${glibc}_$machine")
    done
    "$python" -m pip wheel --quiet --no-deps --wheel-dir "$out" "$root"
    "$python" -m pip download --quiet --constraint "$lock" --only-binary=:all: --implementation cp \
        --python-version "$for_python" --abi "$tag" --abi abi3 --abi none "${platforms[@]}" --dest "$out" \
        "$out"/coldbrood-*.whl
}

make_wheels() {
    say "wheels for $machine, Python $for_python"
    rm -f "$out"/coldbrood-*.whl
    if [ "$machine" = "$(uname -m)" ] && [ "$for_python" = "$("$python" -c "$version_words")" ]; then
        own_wheels
    else
        foreign_wheels
    fi || give_up "pip could not get the wheels; what it said is above. Is there a way to the internet?"
}

version_words='import sys; print("%d.%d" % sys.version_info[:2])'

# apt, with lists and a state of its own, reckons as for an empty board of that machine.
fetch_debs() {
    local state=$scratch/apt arch
    arch=$(debian_arch "$machine")
    mkdir -p "$state/lists/partial" "$state/archives/partial"
    : >"$state/status"
    local own=(-q -o "Dir::State=$state" -o "Dir::State::lists=$state/lists" -o "Dir::State::status=$state/status"
        -o "Dir::Cache=$state" -o "Dir::Cache::archives=$state/archives" -o "APT::Architecture=$arch"
        -o "APT::Architectures::=$arch" -o APT::Sandbox::User= -o Debug::NoLocking=1 -o Acquire::Retries=5
        -o APT::Get::List-Cleanup=0 -o Acquire::Languages=none)
    say "Debian packages for $arch"
    apt-get "${own[@]}" update >"$scratch/apt.log" 2>&1 || true # another's list may be missing for this machine
    apt-get "${own[@]}" install -y --no-install-recommends --download-only "${board_packages[@]}" \
        >>"$scratch/apt.log" 2>&1 || {
        tail -n 5 "$scratch/apt.log" >&2
        give_up "apt could not fetch: ${board_packages[*]}"
    }
    rm -rf "$out/debian"
    mkdir -p "$out/debian"
    mv "$state"/archives/*.deb "$out/debian/"
    index_debs "$out/debian"
}

index_debs() {
    local deb
    for deb in "$1"/*.deb; do
        dpkg-deb -f "$deb"
        printf 'Filename: ./%s\nSize: %s\nSHA256: %s\n\n' "$(basename "$deb")" "$(stat -c %s "$deb")" \
            "$(sha256sum "$deb" | cut -d' ' -f1)"
    done >"$1/Packages"
}

is_this_release() { [ "$(. /etc/os-release 2>/dev/null && echo "${ID:-}${VERSION_ID:-}")" = "debian$release" ]; }

machine=aarch64 for_python=3.11 wheels_only='' out='' release=12
while [ $# -gt 0 ]; do
    case $1 in
    --machine | --python)
        [ -n "${2:-}" ] || give_up "$1: missing: its value"
        if [ "$1" = --machine ]; then machine=$2; else for_python=$2; fi
        shift
        ;;
    --wheels-only) wheels_only=1 ;;
    -h | --help) usage && exit 0 ;;
    -*) give_up "$1: not known; --help shows what is" ;;
    *)
        [ -z "$out" ] || give_up "$1: one folder is enough"
        out=$1
        ;;
    esac
    shift
done
[ -n "$out" ] || give_up "DIR: missing: a folder for the packages"
case $machine in aarch64 | x86_64) ;; *) give_up "--machine: $machine: aarch64 or x86_64" ;; esac

scratch=$(mktemp -d)
trap 'rm -rf "$scratch"' EXIT
mkdir -p "$out"
out=$(readlink -f "$out")
venv=$scratch/venv venv_home=$scratch python=$scratch/venv/bin/python
make_venv 2>/dev/null
make_wheels
if [ -n "$wheels_only" ]; then
    :
elif is_this_release; then
    fetch_debs
else
    say "this is no Debian $release: on the board, install from Debian what install.sh asks for: ${board_packages[*]}"
fi
say "$(find "$out" -name '*.whl' | wc -l) wheels, $(find "$out" -name '*.deb' | wc -l) Debian packages, $(du -sh "$out" | cut -f1) in $out"
