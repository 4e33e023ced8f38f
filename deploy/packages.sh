# shellcheck shell=bash
# What a board needs from Debian. Shared by deploy/install.sh and deploy/wheelhouse.sh; to be sourced; bash.

# shellcheck disable=SC2034 # used by those who source this
board_packages=(python3 python3-venv mosquitto procps) # procps: kill, by which the broker is reloaded

# debian_arch MACHINE: Debian's word for what uname -m says.
debian_arch() {
    case $1 in
    aarch64) echo arm64 ;;
    x86_64) echo amd64 ;;
    *) return 1 ;;
    esac
}
