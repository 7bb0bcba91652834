# Sourced by the other scripts: makes .venv in the project's folder and installs fesplice.
#
#   prepare core    what the program needs
#   prepare test    that and what the checks need
#   prepare manual  what the manual needs
#
# Set PYTHON to choose an interpreter, CONSTRAINTS= (empty) to take the newest releases
# instead of those tested together.

cd "$(dirname "${BASH_SOURCE[0]}")/.."

# The solver shares two cores with other processes: one thread each is the fastest.
export OMP_NUM_THREADS=1 OPENBLAS_NUM_THREADS=1 MKL_NUM_THREADS=1 NUMEXPR_NUM_THREADS=1
export PIP_DISABLE_PIP_VERSION_CHECK=1 MPLBACKEND=Agg

PYTHON=${PYTHON:-python3}
CONSTRAINTS=${CONSTRAINTS-scripts/constraints.txt}

# Shared libraries that the gmsh and VTK wheels expect of the system, and their packages.
LIBRARIES="
libGLU.so.1       libglu1-mesa
libGL.so.1        libgl1
libEGL.so.1       libegl1
libXft.so.2       libxft2
libXcursor.so.1   libxcursor1
libXinerama.so.1  libxinerama1
libXi.so.6        libxi6
libXfixes.so.3    libxfixes3
libXrender.so.1   libxrender1
libXext.so.6      libxext6
libX11.so.6       libx11-6
libfontconfig.so.1 libfontconfig1
libgomp.so.1      libgomp1
"

# What the checks also need of the system: the browser that plays the pages, and what drives it.
PROGRAMS="
chromium      chromium
chromedriver  chromium-driver
"

say() { printf '%s\n' "$*"; }
die() { printf '%s\n' "$*" >&2; exit 1; }

check_python() {
    command -v "$PYTHON" >/dev/null || die "$PYTHON not found: fesplice needs Python 3.11 or newer"
    "$PYTHON" -c 'import sys; sys.exit(sys.version_info < (3, 11))' ||
        die "fesplice needs Python 3.11 or newer; $PYTHON is $("$PYTHON" -V 2>&1)"
}

# The script rather than "python -m pip": it also breaks when the folder was moved.
usable_venv() { .venv/bin/pip --version >/dev/null 2>&1; }

# Names of the Debian packages that are missing, on one line.
missing_packages() {
    local known name package
    known=$(PATH=$PATH:/sbin:/usr/sbin ldconfig -p 2>/dev/null || true)
    while read -r name package; do
        [ -z "$name" ] && continue
        case "$known" in *"$name "*) ;; *) printf '%s ' "$package" ;; esac
    done <<<"$LIBRARIES"
    [ "$1" != test ] || while read -r name package; do
        [ -z "$name" ] || command -v "$name" >/dev/null || printf '%s ' "$package"
    done <<<"$PROGRAMS"
    # Debian keeps what "python -m venv" needs in a package of its own.
    usable_venv || "$PYTHON" -c 'import ensurepip' 2>/dev/null || printf 'python3-venv '
}

install_system() {
    local packages log
    [ "$(uname -s)" = Linux ] || return 0
    packages=$(missing_packages "$1")
    [ -n "$packages" ] || return 0
    command -v apt-get >/dev/null || die "missing system libraries; on Debian they are: $packages"
    # shellcheck disable=SC2086  # the list is meant to be split
    if [ "$(id -u)" = 0 ]; then
        say "installing system packages: $packages"
        export DEBIAN_FRONTEND=noninteractive
        log=$(mktemp)
        { apt-get update -q && apt-get install -qy --no-install-recommends $packages; } >"$log" 2>&1 ||
            { tail -n 20 "$log" >&2; die "apt-get failed; its whole output is in $log"; }
        rm -f "$log"
    else
        say "system packages are missing; run this line once and start again:" >&2
        die "  sudo apt-get update && sudo apt-get install -y --no-install-recommends $packages"
    fi
}

# One line that changes when what is to be installed changes.
stamp() {
    cat pyproject.toml ${CONSTRAINTS:+"$CONSTRAINTS"} <(.venv/bin/python -VV) | sha256sum | cut -c1-16
}

prepare() {
    local wanted=$1 mark
    check_python
    if ! usable_venv; then
        install_system "$wanted"
        say "making .venv with $("$PYTHON" -V)"
        "$PYTHON" -m venv --clear .venv
    fi
    mark=.venv/fesplice-$(stamp)
    [ -e "$mark-$wanted" ] && return 0
    install_system "$wanted"
    say "installing fesplice ($wanted) into .venv"
    case $wanted in
        core) .venv/bin/python -m pip install -q ${CONSTRAINTS:+-c "$CONSTRAINTS"} -e . ;;
        *) .venv/bin/python -m pip install -q ${CONSTRAINTS:+-c "$CONSTRAINTS"} -e ".[$wanted]" ;;
    esac
    .venv/bin/python -c 'import gmsh, vtkmodules.vtkRenderingOpenGL2' ||
        die "gmsh or VTK does not load on this system; the line above names the library it misses"
    [ -e "$mark-core" ] || rm -f .venv/fesplice-*
    touch "$mark-core" "$mark-$wanted"
    # what the checks need holds what the manual needs
    [ "$wanted" != test ] || touch "$mark-manual"
}
