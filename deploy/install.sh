#!/usr/bin/env bash
# Sets a board up from this checkout: packages, program, user, folders, broker with passwords, unit, log limits.
#
#   sudo deploy/install.sh                      on a board with internet
#   sudo deploy/install.sh --wheelhouse DIR     without: DIR is made elsewhere by deploy/wheelhouse.sh
#   deploy/install.sh --dry-run                 says what it would do, and changes nothing
#   sudo deploy/install.sh uninstall            takes it away again; journal, config and passwords stay
#
# For Debian 12, 64-bit. Each run does only what is not done yet, so it may be cut off anywhere and run again; a new
# version is put beside the old one and takes its place in one step. It ends with what remains for you to do.
set -euo pipefail
. "$(dirname "$(readlink -f "${BASH_SOURCE[0]}")")/venv.sh"
. "$root/deploy/packages.sh"

at='' # before every path; only the tests set it
here=$root/deploy
opt=/opt/coldbrood
etc=/etc/coldbrood
state=/var/lib/coldbrood
broker=/etc/mosquitto
unit=/etc/systemd/system
program=/usr/local/bin/coldbrood
disk_mb_least=400

dry='' wheelhouse='' verb=install changed=0 broker_changed='' unit_changed='' program_changed=''
remaining=()

usage() { sed -n '2,10s/^# \{0,1\}//p' "${BASH_SOURCE[0]}"; }

remains() { remaining+=("$*"); }

# act WORDS COMMAND...: do it and say so, or only say so.
act() {
    local words=$1
    shift
    changed=$((changed + 1))
    if [ -n "$dry" ]; then
        echo "would: $words"
        return
    fi
    "$@" || give_up "failed: $words"
    echo "did: $words"
}

# ---- files

owner_of() { stat -c '%U:%G' "$1"; }
mode_of() { stat -c '%a' "$1"; }

# give PATH MODE OWNER: as if it were a new file; an owner that only comes to be later is the dry run's.
give() {
    chmod "$2" "$1" && chown "$3" "$1"
}

put_now() {
    local draft=$2.new
    cp "$1" "$draft" && give "$draft" "$3" "$4" && sync "$draft" && mv "$draft" "$2"
}

# put SOURCE PATH MODE OWNER: returns 0 if it changed something.
put() {
    local source=$1 path=$at$2 mode=$3 owner=$4
    if cmp -s "$source" "$path" && [ "$(mode_of "$path")" = "$mode" ] && [ "$(owner_of "$path")" = "$owner" ]; then
        return 1
    fi
    act "$2, $mode $owner" put_now "$source" "$path" "$mode" "$owner"
}

make_folder_now() {
    mkdir -p "$1" && give "$1" "$2" "$3"
}

# folder PATH MODE OWNER
folder() {
    local path=$at$1
    [ -d "$path" ] && [ "$(mode_of "$path")" = "$2" ] && [ "$(owner_of "$path")" = "$3" ] && return
    act "$1/, $2 $3" make_folder_now "$path" "$2" "$3"
}

remove() {
    [ ! -e "$at$1" ] && [ ! -L "$at$1" ] && return
    act "remove $1" rm -rf "$at$1"
}

# ---- what must be so before anything is done

check_machine() {
    debian_arch "$(uname -m)" >/dev/null ||
        give_up "$(uname -m): a 64-bit system is needed (aarch64 or x86_64), since numpy comes ready-made for it only"
    command -v apt-get >/dev/null || give_up "apt-get: missing: this is for Debian 12 and what is made from it"
    [ -n "$dry" ] || [ "$(id -u)" = 0 ] || give_up "run it as root: sudo deploy/install.sh; or look first: --dry-run"
    local free_mb
    free_mb=$(df -Pm "${at:-/}" | awk 'NR == 2 { print $4 }')
    [ "$free_mb" -ge "$disk_mb_least" ] || give_up "the disk has $free_mb MB left, $disk_mb_least are needed"
    [ -z "$wheelhouse" ] || ls "$wheelhouse"/coldbrood-*.whl >/dev/null 2>&1 ||
        give_up "--wheelhouse: $wheelhouse: holds no coldbrood: make it by deploy/wheelhouse.sh"
}

# ---- Debian's packages

has_package() { [ "$(dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null)" = installed ]; }

missing_packages() {
    local name
    for name in "${board_packages[@]}"; do
        has_package "$name" || echo "$name"
    done
}

apt_now() {
    export DEBIAN_FRONTEND=noninteractive
    local log own=() done_so=''
    log=$(mktemp)
    if [ -n "$wheelhouse" ] && [ -e "$wheelhouse/debian/Packages" ]; then
        own=(-o "Dir::Etc::sourcelist=$log.list" -o Dir::Etc::sourceparts=- -o "Dir::State::lists=$log.lists"
            -o APT::Sandbox::User=)
        echo "deb [trusted=yes] file:$(readlink -f "$wheelhouse")/debian ./" >"$log.list"
        mkdir "$log.lists"
    fi
    apt-get -q -o Acquire::Retries=5 "${own[@]}" update >"$log" 2>&1 &&
        apt-get -q -y "${own[@]}" install --no-install-recommends "$@" >>"$log" 2>&1 && done_so=1
    [ -n "$done_so" ] || tail -n 15 "$log" >&2
    rm -rf "$log" "$log.list" "$log.lists"
    [ -n "$done_so" ]
}

install_packages() {
    local missing
    mapfile -t missing < <(missing_packages)
    [ ${#missing[@]} -gt 0 ] || return 0
    act "install from Debian: ${missing[*]}" apt_now "${missing[@]}"
}

# ---- the program: one folder a version, and a link that is changed in one step

version_mark() {
    if [ -n "$wheelhouse" ]; then
        (cd "$wheelhouse" && sha256sum -- *.whl) | sha256sum | cut -c1-12
    else
        { hash_needs && hash_source; } | sha256sum | cut -c1-12
    fi
}

build_now() {
    local wheels=$wheelhouse scratch=''
    venv=$1 venv_home=$1 python=$1/bin/python
    rm -rf "$1" # what an earlier run left half made
    make_venv
    if [ -z "$wheels" ]; then
        scratch=$(mktemp -d)
        wheels=$scratch
        "$here/wheelhouse.sh" --machine "$(uname -m)" --python "$("$python" -c "$version_words")" \
            --wheels-only "$wheels" || return 1
    fi
    "$python" -m pip install --quiet --no-index --find-links "$wheels" coldbrood || return 1
    [ -z "$scratch" ] || rm -rf "$scratch"
    "$1/bin/coldbrood" --version >/dev/null || return 1
    sync -f "$1" && touch "$1/complete"
}

switch_now() {
    ln -sfn "$1" "$at$opt/.venv.new" && mv -T "$at$opt/.venv.new" "$at$opt/.venv" && sync -f "$at$opt"
}

version_words='import sys; print("%d.%d" % sys.version_info[:2])'

install_program() {
    folder "$opt" 755 root:root
    local new
    new=version-$(version_mark)
    if [ ! -e "$at$opt/$new/complete" ]; then
        act "$opt/$new, the program and what it needs (a few minutes on a board)" build_now "$at$opt/$new"
    fi
    if [ "$(readlink "$at$opt/.venv")" != "$new" ]; then
        act "$opt/.venv is $new from now on" switch_now "$new"
        program_changed=1
    fi
    if [ "$(readlink "$at$program")" != "$opt/.venv/bin/coldbrood" ]; then
        act "$program" ln -sfn "$opt/.venv/bin/coldbrood" "$at$program"
    fi
}

# Once the daemon runs on the new version: a running one still loads parts of the old.
remove_old_versions() {
    local path keep
    keep=$(readlink "$at$opt/.venv" || true)
    for path in "$at$opt"/version-*; do
        [ ! -d "$path" ] || [ "${path##*/}" = "$keep" ] || remove "$opt/${path##*/}"
    done
}

# ---- user, folders, broker, system

install_user() {
    id -u coldbrood >/dev/null 2>&1 && return
    act "the user coldbrood, who may not log in" useradd --system --user-group --no-create-home \
        --home-dir /nonexistent --shell /usr/sbin/nologin coldbrood
}

install_folders() {
    folder "$etc" 755 root:root
    folder "$etc/secrets" 700 root:root
    folder "$state" 700 coldbrood:coldbrood
}

has_login() { grep -qs '^coldbrood:\$' "$at$broker/coldbrood.passwd" && [ -s "$at$etc/secrets/broker-password" ]; }

login_now() {
    "$at$opt/.venv/bin/python" -c 'import sys; from pathlib import Path; from coldbrood import enrol
enrol.new_login(Path(sys.argv[1]), "coldbrood", Path(sys.argv[2]))' \
        "$at$broker/coldbrood.passwd" "$at$etc/secrets/broker-password"
}

install_broker() {
    folder "$unit/mosquitto.service.d" 755 root:root
    put "$here/broker/coldbrood.acl" "$broker/coldbrood.acl" 600 mosquitto:mosquitto && broker_changed=1
    has_login || { act "the daemon's password on the broker" login_now && broker_changed=1; }
    put "$here/broker/coldbrood.conf" "$broker/conf.d/coldbrood.conf" 644 root:root && broker_changed=1
    put "$here/broker/restart.conf" "$unit/mosquitto.service.d/coldbrood.conf" 644 root:root && unit_changed=1
    return 0
}

install_system() {
    folder /etc/systemd/journald.conf.d 755 root:root
    folder /etc/systemd/system.conf.d 755 root:root
    folder /etc/sysctl.d 755 root:root
    put "$here/log-limits.conf" /etc/systemd/journald.conf.d/coldbrood.conf 644 root:root && log_changed=1
    put "$here/board-watchdog.conf" /etc/systemd/system.conf.d/coldbrood.conf 644 root:root &&
        remains "the board's own watchdog works from the next start on: sudo reboot"
    put "$here/card.conf" /etc/sysctl.d/60-coldbrood.conf 644 root:root && kernel_changed=1
    put "$here/coldbrood.service" "$unit/coldbrood.service" 644 root:root && unit_changed=1
    return 0
}
log_changed='' kernel_changed=''

# ---- systemd, which may be absent (no such system) or asleep (a root that is not booted)

is_booted() { [ -z "$at" ] && [ -d /run/systemd/system ]; }

enable_unit() {
    if ! command -v systemctl >/dev/null; then
        remains "there is no systemctl here: have $program run --config $etc/coldbrood.toml started at boot"
    elif [ ! -L "$at$unit/multi-user.target.wants/coldbrood.service" ]; then
        act "start coldbrood with the board" systemctl --quiet ${at:+--root="$at"} enable coldbrood.service
    fi
}

# The old one has ended before its files go; the new one may have a long log to bring up to date: no waiting.
restart_daemon_now() { systemctl stop coldbrood && systemctl start --no-block coldbrood; }

restart_what_changed() {
    is_booted || {
        remains "systemd does not run here: the rest begins when the board starts"
        return 0
    }
    [ -z "$unit_changed" ] || act "let systemd read its files" systemctl daemon-reload
    [ -z "$kernel_changed" ] || act "let the kernel spare the card" systemctl restart systemd-sysctl
    [ -z "$log_changed" ] || act "restart the log, for its limits" systemctl restart systemd-journald
    [ -z "$broker_changed$unit_changed" ] || act "restart the broker" systemctl restart mosquitto
    [ -e "$etc/coldbrood.toml" ] || return 0
    [ -z "$program_changed$unit_changed" ] || act "restart coldbrood" restart_daemon_now
}

run_install() {
    check_machine
    install_packages
    install_program
    install_user
    install_folders
    install_broker
    install_system
    enable_unit
    restart_what_changed
    remove_old_versions
    [ -e "$at$etc/coldbrood.toml" ] || remains "the config file: sudo coldbrood setup --config $etc/coldbrood.toml"
}

run_uninstall() {
    [ -n "$dry" ] || [ "$(id -u)" = 0 ] || give_up "run it as root: sudo deploy/install.sh uninstall"
    if is_booted && systemctl cat coldbrood.service >/dev/null 2>&1; then
        act "end coldbrood" systemctl --quiet disable --now coldbrood.service
    fi
    remove "$unit/multi-user.target.wants/coldbrood.service"
    local path
    for path in "$unit/coldbrood.service" "$unit/mosquitto.service.d/coldbrood.conf" "$broker/conf.d/coldbrood.conf" \
        "$broker/coldbrood.acl" /etc/systemd/journald.conf.d/coldbrood.conf /etc/systemd/system.conf.d/coldbrood.conf \
        /etc/sysctl.d/60-coldbrood.conf "$program" "$opt"; do
        remove "$path"
    done
    if [ "$changed" -gt 0 ] && is_booted; then
        act "let systemd read its files" systemctl daemon-reload
        act "restart the broker" systemctl try-restart mosquitto
    fi
    remains "left as they are: $state (the journal), $etc (config and secrets), $broker/coldbrood.passwd," \
        "the user coldbrood, and Debian's packages"
}

parse() {
    while [ $# -gt 0 ]; do
        case $1 in
        --dry-run) dry=1 ;;
        --wheelhouse)
            wheelhouse=${2:-}
            [ -n "$wheelhouse" ] || give_up "--wheelhouse: missing: a folder"
            shift
            ;;
        -h | --help) usage && exit 0 ;;
        install | uninstall) verb=$1 ;;
        *) give_up "$1: not known; --help shows what is" ;;
        esac
        shift
    done
}

main() {
    parse "$@"
    "run_$verb"
    [ "$changed" -gt 0 ] || echo "nothing to do: all is as it should be"
    local line
    for line in "${remaining[@]}"; do
        echo "remains: $line"
    done
}

[ "${BASH_SOURCE[0]}" != "$0" ] || main "$@"
