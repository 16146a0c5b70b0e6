#!/bin/bash
# Each room includes only the rooms that it may use: the same list as in daemon/CMakeLists.txt and
# DEVELOPERS.md, checked on the #include lines. Prints every arrow that points the wrong way.
set -eu
top=${1:-$(cd "$(dirname "$0")/.." && pwd)}
declare -A may=(
  [base]="" [estimate]="base" [framing]="base" [report]="base" [budget]="base estimate"
  [link]="base estimate budget" [judge]="base estimate budget link" [history]="base estimate"
  [review]="base estimate budget history" [net]="base"
  [publish]="base judge review history net" [port]="base net"
  [prove]="base estimate framing" [simulate]="base" [config]="base"
)
wrong=0
for room in "${!may[@]}"; do
  while IFS=: read -r file line target; do
    [ "$target" = "$room" ] && continue
    case " ${may[$room]} " in *" $target "*) continue ;; esac
    echo "$file:$line: $room may not use $target"
    wrong=1
  done < <(grep -rnoE '#include "fadeward/[a-z]+' "$top/include/fadeward/$room" "$top/daemon/$room" 2>/dev/null |
           sed -E 's/#include "fadeward\///' || true)
done
# Devices are opened and written to in `port` alone, besides the program that plays a radio: so no
# request that `publish` answers can reach one.
while IFS= read -r where; do
  echo "$where: only port may open a serial device"
  wrong=1
done < <(grep -rnE '#include <(termios|asm/termbits|linux/serial|boost/asio/serial_port)[a-z_.]*>' \
           "$top/include/fadeward" "$top/daemon" |
         grep -vE "^$top/(include/fadeward/port|daemon/port)/|^$top/daemon/app/simulate.cpp:" || true)
exit $wrong
