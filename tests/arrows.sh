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
exit $wrong
