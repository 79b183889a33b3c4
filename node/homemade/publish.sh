#!/bin/sh
# A home-made node as a shell script: each line of standard input is a number, sent as SenML with its
# age instead of a time, so that no clock is needed. Must never be needed: see publish.c.
# sensor | ./publish.sh HOST PORT AUTHORITY SITE NODE PASSWORD CHANNEL UNIT
set -eu
[ $# -eq 8 ] || { echo "usage: $0 HOST PORT AUTHORITY SITE NODE PASSWORD CHANNEL UNIT" >&2; exit 2; }
host=$1 port=$2 authority=$3 site=$4 node=$5 password=$6 channel=$7 unit=$8
set -- -h "$host" -p "$port" -u "$node" -P "$password" -q 1 -t "roomwake/$site/$node/senml"
[ -z "$authority" ] || set -- "$@" --cafile "$authority"

while read -r number; do
  # "t":-0.2 would say: measured 0.2 s before this message arrives. 0 is now.
  mosquitto_pub "$@" -m "[{\"n\":\"$channel\",\"u\":\"$unit\",\"t\":0,\"v\":$number}]"
done
