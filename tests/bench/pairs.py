#!/usr/bin/env python3
"""The NumPy twin of `cargo bench --bench pairs`: lag histograms of all ordered pairs over merged, sorted edges.

pairs.py FILE    FILE: what the bench writes where EDGEWITNESS_EDGES says. Prints the time and the bench's own sums.
"""
import sys
import time

import numpy as np

REACH, BIN = 1000, 10
BINS = 2 * REACH // BIN
BLOCK = 1 << 18


def read(path):
    words = np.fromfile(path, "<i8")
    lengths = words[1:1 + words[0]]
    return np.split(words[1 + words[0]:], np.cumsum(lengths)[:-1])


def table(lines):
    n = len(lines)
    bits = max(1, (n - 1).bit_length())
    keys = np.sort(np.concatenate([(times << bits) + k for k, times in enumerate(lines)]), kind="stable")
    times, line = keys >> bits, keys & ((1 << bits) - 1)
    counts = np.bincount((line * n + line) * BINS + BINS // 2, minlength=n * n * BINS)
    for start in range(0, times.size, BLOCK):
        at = np.arange(start, min(start + BLOCK, times.size))
        step, found = 1, []
        while at.size:
            at = at[at + step < times.size]
            lag = times[at + step] - times[at]
            near = lag <= REACH
            at, lag = at[near], lag[near]
            a, b = line[at], line[at + step]
            inside = lag < REACH
            found.append(((a * n + b) * BINS + BINS // 2 + lag // BIN)[inside])
            found.append((b * n + a) * BINS + (REACH - lag) // BIN)
            step += 1
        counts += np.bincount(np.concatenate(found), minlength=counts.size)
    return counts.astype(np.uint64)


def main():
    lines = read(sys.argv[1])
    wall, cpu = time.perf_counter(), time.process_time()
    counts = table(lines)
    wall, cpu = time.perf_counter() - wall, time.process_time() - cpu
    check = int((counts * np.arange(1, counts.size + 1, dtype=np.uint64)).sum())
    print(f"{sum(map(len, lines))} edges: {int(counts.sum())} coincidences, checksum {check}")
    print(f"{wall:.3f} s, of which on the processor {cpu:.3f} s")


if __name__ == "__main__":
    main()
