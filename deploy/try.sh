#!/bin/bash
# fadeward at work within minutes: builds it, invents the Tarn Valley (four radio links and their
# troubles of three days), plays the valley faster than life through a pseudo-terminal, as a radio
# on a serial port would, and lets the daemon watch it.
#
#   deploy/try.sh                 until Ctrl-C or the end of the story, 12 minutes
#   deploy/try.sh --for 60        ends by itself after 60 seconds
#   deploy/try.sh --no-build      takes the program that is there
#   deploy/try.sh --speed 720     so many times faster than life (default 360: an hour in 10 s)
#   deploy/try.sh --port 8080     serves there instead of on 10868
#
# Ends with exit code 0, leaves no process and, beside build/, no file behind.
set -euo pipefail

top=$(cd "$(dirname "${BASH_SOURCE[0]}")/.." && pwd)
program=${FADEWARD_PROGRAM:-$top/build/daemon/fadeward}
for_s=0
speed=360
build=yes
seed=7
days=3
story_start=2031-04-01T00:00:00Z
address=127.0.0.1
port=10868

usage() { sed -n '2,/^set/{/^set/d;s/^# \{0,1\}//;p}' "${BASH_SOURCE[0]}"; }

whole_number() {  # option, value, highest
  if [[ ! $2 =~ ^[1-9][0-9]{0,6}$ ]] || [ "$2" -gt "$3" ]; then
    echo "$1: '$2' is not a whole number from 1 to $3" >&2
    exit 2
  fi
}

while [ $# -gt 0 ]; do
  case $1 in
    --for) for_s=${2-}; whole_number --for "$for_s" 86400; shift ;;
    --speed) speed=${2-}; whole_number --speed "$speed" 3600; shift ;;
    --port) port=${2-}; whole_number --port "$port" 65535; shift ;;
    --no-build) build=no ;;
    -h | --help) usage; exit 0 ;;
    *) echo "unknown option '$1'; see deploy/try.sh --help" >&2; exit 2 ;;
  esac
  shift
done

build_program() {
  # shellcheck source=deploy/packages.sh
  . "$top/deploy/packages.sh"
  fadeward_install_packages "${fadeward_build_packages[@]}"
  # A build directory of the tests stays one; a new one gets the program alone.
  local fresh=()
  [ -e "$top/build/CMakeCache.txt" ] ||
    fresh=(-G Ninja -DCMAKE_BUILD_TYPE=Release -DFADEWARD_TESTS=OFF -DFADEWARD_BENCH=OFF)
  echo "Building build/daemon/fadeward (the first time takes some minutes) ..."
  if ! { cmake -S "$top" -B "$top/build" "${fresh[@]}" &&
         cmake --build "$top/build" --target fadeward; } >"$dir/build.log" 2>&1; then
    tail -n 40 "$dir/build.log" >&2
    echo "The build failed." >&2
    return 1
  fi
}

# Ends one process of ours: asks, waits at most 5 s, insists.
end() {
  local pid=$1 i
  [ -n "$pid" ] || return 0
  kill -TERM "$pid" 2>/dev/null || true
  for ((i = 0; i < 50; i++)); do
    kill -0 "$pid" 2>/dev/null || break
    sleep 0.1
  done
  kill -KILL "$pid" 2>/dev/null || true
  wait "$pid" 2>/dev/null || true
}

dir=$(mktemp -d "${TMPDIR:-/tmp}/fadeward-try.XXXXXX")
radio_pid=
watch_pid=
clean_up() {
  local code=$?
  trap '' INT TERM HUP
  end "$watch_pid"
  end "$radio_pid"
  rm -rf -- "$dir"
  exit "$code"
}
trap clean_up EXIT
# Asked to stop: that is how it is meant to end.
trap 'echo; echo "Stopping."; exit 0' INT TERM HUP

[ "$build" = no ] || build_program
if [ ! -x "$program" ]; then
  echo "$program is not there; run deploy/try.sh without --no-build" >&2
  exit 1
fi

listening() { (exec 3<>"/dev/tcp/$address/$port") 2>/dev/null; }
if listening; then
  echo "Port $port of $address is in use: perhaps by another deploy/try.sh or by the daemon itself." >&2
  echo "Another one can be given: deploy/try.sh --port 10869" >&2
  exit 1
fi

sed -e "s|/tmp/fadeward-demo|$dir|" \
  -e "s|127.0.0.1:10868|$address:$port|" "$top/deploy/examples/demo.yaml" >"$dir/demo.yaml"

milliseconds() { local us=${EPOCHREALTIME//[!0-9]/}; echo $((us / 1000)); }
"$program" simulate --scenario tarn-valley --seed "$seed" --days "$days" --pace "$speed" \
  --pty "$dir/radio" &
radio_pid=$!
for ((i = 0; i < 100; i++)); do
  begun=$(milliseconds)
  [ -e "$dir/radio" ] && break
  kill -0 "$radio_pid" 2>/dev/null || { echo "The invented radio did not start." >&2; exit 1; }
  sleep 0.05
done

# The valley's clock runs since its radio appeared: the daemon's joins in where it stands.
passed_s=$((($(milliseconds) - begun) * speed / 1000))
joined=$(date -u -d "@$(($(date -u -d "$story_start" +%s) + passed_s))" +%Y-%m-%dT%H:%M:%SZ)
"$program" watch --config "$dir/demo.yaml" --time-factor "$speed" --time-start "$joined" &
watch_pid=$!
still_watched() {
  kill -0 "$watch_pid" 2>/dev/null && return
  echo "The daemon has ended; its last words stand above." >&2
  exit 1
}
for ((i = 0; i < 200; i++)); do
  still_watched
  listening && break
  sleep 0.05
done

cat <<TEXT

  The Tarn Valley is invented; its four links are watched $speed times faster than life.
  Look at   http://$address:$port/              all links
            http://$address:$port/review/ridge  one link's history
            http://$address:$port/links         the same as JSON
            http://$address:$port/alerts        what is wrong right now
            http://$address:$port/metrics       for Prometheus
  Expect    noise at quarry after 1 h, over at 3 h; a restart of weir; a tree in ridge's path at
            3 h 30 min; a battery that fades at the sluice from 10 h on, and more until day 3.
  The daemon tells below what it finds. Ctrl-C ends everything.

TEXT

ends_at=$((SECONDS + for_s))
while kill -0 "$radio_pid" 2>/dev/null; do
  still_watched
  if [ "$for_s" -gt 0 ] && [ "$SECONDS" -ge "$ends_at" ]; then
    echo "$for_s seconds are over."
    exit 0
  fi
  sleep 0.2
done
code=0
wait "$radio_pid" || code=$?
radio_pid=
if [ "$code" -ne 0 ]; then
  echo "The invented radio ended with code $code." >&2
  exit 1
fi
echo "The story of the Tarn Valley is told."
