# shellcheck shell=bash disable=SC2034
# Debian 12 packages that fadeward is built and tested with, and the one way to install them.
# Sourced by deploy/try.sh and tests/run.sh.

fadeward_build_packages=(
  g++ cmake ninja-build pkg-config
  libboost1.81-dev        # excludes the default libboost1.74-dev: one of the two at a time
  libspdlog-dev libyaml-cpp-dev libcli11-dev libsimdjson-dev libre2-dev libeigen3-dev
  prometheus-cpp-dev libsqlite3-dev zlib1g-dev libssl-dev libcrypt-dev
)
fadeward_test_packages=(
  libgtest-dev libgmock-dev libsnappy-dev libbenchmark-dev
  prometheus prometheus-alertmanager chromium fonts-dejavu-core curl python3 systemd openssl
)

# Prints those of the given packages that are not installed.
fadeward_missing_packages() {
  local package
  for package in "$@"; do
    if [ "$(dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null)" != installed ]; then
      echo "$package"
    fi
  done
}

# Installs what is missing of the given packages; removes nothing. Says what it is about to do.
fadeward_install_packages() {
  local missing=() as_root=()
  if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
    echo "This script installs Debian 12 packages with apt-get, which is not here. Needed: $*" >&2
    return 1
  fi
  mapfile -t missing < <(fadeward_missing_packages "$@")
  [ ${#missing[@]} -eq 0 ] && return 0
  if [ "$(id -u)" -ne 0 ]; then
    if ! command -v sudo >/dev/null; then
      echo "Please install as root:  apt-get install ${missing[*]}" >&2
      return 1
    fi
    as_root=(sudo)
  fi
  echo "Installing ${#missing[@]} Debian packages: ${missing[*]}"
  "${as_root[@]}" apt-get update -q=2 || return 1
  "${as_root[@]}" env DEBIAN_FRONTEND=noninteractive apt-get install -q=2 --yes \
    --no-install-recommends --no-remove "${missing[@]}" || {
    echo "apt-get could not install them. If it wanted to remove libboost1.74-dev: fadeward needs" >&2
    echo "Boost 1.81, and Debian has room for one Boost at a time; remove the old one first." >&2
    return 1
  }
}
