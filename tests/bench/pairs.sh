#!/bin/sh
# Times the lag histograms of all ordered pairs beside their NumPy twin, on the same edges in the same run, and writes
# tests/bench/record/pairs.md. PYTHON names a Python that has NumPy. The twin runs on one core, so the sweep is timed on
# one core as well as on all of them. Quiet the machine first: the load is recorded with the figures.
set -eu
cd "$(dirname "$0")/../.."
python=${PYTHON:-python3}
edges=$(mktemp)
out=$(mktemp)
trap 'rm -f "$edges" "$out"' EXIT
last='all ordered pairs of 32 lines/10000000'

cargo bench --bench pairs --no-run
load=$(cut -d' ' -f1 /proc/loadavg)
EDGEWITNESS_EDGES="$edges" cargo bench --bench pairs >"$out"
grep '10000000 edges\|coincidences' "$out" || true
all=$(grep -A1 "^$last" "$out" | grep -o 'time:.*' | head -1)
one=$(taskset -c 0 cargo bench --bench pairs -- "$last" | grep -o 'time:.*' | head -1)
twin=$(taskset -c 0 "$python" tests/bench/pairs.py "$edges")

mkdir -p tests/bench/record
{
    echo '# Lag histograms of all ordered pairs'
    echo
    echo '32 lines, 10,000,000 edges, ±1 µs in bins of 10 ns (`tests/bench/pairs.sh`). The twin prints the same checksum.'
    echo
    echo "- $(date -u +%Y-%m-%d), $(nproc) cores, $(grep -m1 'model name' /proc/cpuinfo | cut -d: -f2 | sed 's/^ *//'), load $load"
    echo "- all cores, low / middle / high: $all"
    echo "- one core: $one"
    echo "- NumPy over merged edges, one core: $(echo "$twin" | tail -1)"
    echo
    echo '```'
    grep 'coincidences' "$out"
    echo "twin: $(echo "$twin" | head -1)"
    echo '```'
} >tests/bench/record/pairs.md
cat tests/bench/record/pairs.md
