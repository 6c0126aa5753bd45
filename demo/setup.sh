# SPDX-License-Identifier: MIT
# Sourced by demo/run and tests/run: installs the packages they name and builds. Not for running by itself.

# What building and running needs, and what the tests need on top. All are Debian 12 packages. The build files name
# the tests too, so what those look for (catch2, libgsl-dev) must be there even when only the demo is built.
yokedock_build_packages="g++ cmake make pkg-config gcc-avr avr-libc libsimavr-dev libelf-dev libserialport-dev \
libcli11-dev libfmt-dev nlohmann-json3-dev catch2 libgsl-dev gnuplot-nox"
yokedock_test_packages="python3-scipy ngspice procps"
# For ./tests/run --fuzz and --tidy only; 100 MB and more each, so not part of the above.
yokedock_fuzz_packages="clang libclang-rt-14-dev llvm"
yokedock_tidy_packages="clang-tidy"

# The file whose presence shows that a package is there, without asking the package manager: keeps a second
# call quick, and lets other systems that have the tools go on.
yokedock_missing() {
    local package missing=""
    for package in "$@"; do
        if ! dpkg-query -W -f='${db:Status-Status}' "$package" 2>/dev/null | grep -qx installed; then
            missing="$missing $package"
        fi
    done
    printf '%s' "$missing"
}

# yokedock_install PACKAGES...: installs what is missing; needs Debian (or a system with its package names).
yokedock_install() {
    if ! command -v dpkg-query >/dev/null || ! command -v apt-get >/dev/null; then
        echo "This system has no apt-get, so nothing was installed. Needed, by their Debian 12 names:" >&2
        echo "  $*" >&2
        echo "Install their equivalents; the build then runs if they are found. Going on." >&2
        return 0
    fi
    local missing
    missing=$(yokedock_missing "$@")
    [ -n "$missing" ] || return 0
    local as_root=""
    if [ "$(id -u)" -ne 0 ]; then
        if ! command -v sudo >/dev/null; then
            echo "Packages are missing:$missing" >&2
            echo "Installing them needs root: run  apt-get install$missing  as root, then this again." >&2
            return 1
        fi
        as_root=sudo
    fi
    if [ -r /etc/os-release ] && ! grep -q 'VERSION_ID="12"' /etc/os-release; then
        echo "Note: made for Debian 12; this is another release, whose package versions may differ." >&2
    fi
    echo "Installing packages:$missing" >&2
    # shellcheck disable=SC2086
    { $as_root env DEBIAN_FRONTEND=noninteractive apt-get update -q &&
        $as_root env DEBIAN_FRONTEND=noninteractive apt-get install -q -y --no-install-recommends \
            $missing; } >&2 || {
        echo "Installing failed. The lines above say why; with a network and root rights, run this again." >&2
        return 1
    }
}

# yokedock_build PRESET [TARGET...]: configures once and builds what changed. yokedock_configure, where set, holds
# arguments for the configuring.
yokedock_build() {
    local preset=$1
    shift
    local jobs
    jobs=$(nproc 2>/dev/null || echo 2)
    local targets=()
    local target
    for target in "$@"; do targets+=(--target "$target"); done
    # shellcheck disable=SC2086
    cmake --preset "$preset" ${yokedock_configure:-} >/dev/null || return 1 # quick when nothing changed; new targets need it
    cmake --build --preset "$preset" -j "$jobs" "${targets[@]}"
}
