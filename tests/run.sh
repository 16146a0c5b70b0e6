#!/bin/bash
# Installs what the tests need, builds everything and runs it through CTest.
#
#   tests/run.sh           what CI runs: unit tests, fuzzers briefly, end-to-end, benchmarks briefly
#   tests/run.sh --long    also under the address/undefined and the thread sanitizer, fuzzers for
#                          minutes, end-to-end tests in full
#
# Environment: BUILD_DIR (default build), JOBS (default: all cores).
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
cd "$top"
long=no
case ${1-} in
  "") ;;
  --long) long=yes ;;
  *) sed -n '2,/^set/{/^set/d;s/^# \{0,1\}//;p}' "${BASH_SOURCE[0]}"; [ "$1" = --help ] && exit 0; exit 2 ;;
esac

# shellcheck source=deploy/packages.sh
. deploy/packages.sh
fadeward_install_packages "${fadeward_build_packages[@]}" "${fadeward_test_packages[@]}"

jobs=${JOBS:-$(nproc)}
build=${BUILD_DIR:-build}

build_tree() {  # directory, further options of cmake
  local dir=$1
  shift
  local launcher=()
  command -v ccache >/dev/null && launcher=(-DCMAKE_CXX_COMPILER_LAUNCHER=ccache)
  cmake -S . -B "$dir" -G Ninja -DCMAKE_BUILD_TYPE=Release -DFADEWARD_TESTS=ON "${launcher[@]}" "$@" >"$dir.cmake.log" 2>&1 ||
    { cat "$dir.cmake.log"; return 1; }
  rm -f "$dir.cmake.log"
  cmake --build "$dir" -j "$jobs"
}

mkdir -p "$(dirname "$build")"
build_tree "$build" -DFADEWARD_SANITIZE= -DFADEWARD_BENCH=ON
# One more at a time than there are processors: end-to-end tests wait more than they work.
ctest --test-dir "$build" -j "$((jobs + 1))" --output-on-failure --no-tests=error -LE long

if [ "$long" = yes ]; then
  ctest --test-dir "$build" -j 1 --output-on-failure -L long
  for sanitizer in address thread; do
    echo "== $sanitizer sanitizer =="
    build_tree "$build-$sanitizer" -DFADEWARD_SANITIZE=$sanitizer -DFADEWARD_BENCH=OFF
    ctest --test-dir "$build-$sanitizer" -j "$jobs" --output-on-failure --no-tests=error -LE "long|bench|speed"
  done
fi
