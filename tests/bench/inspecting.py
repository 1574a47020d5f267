#!/usr/bin/env python3
"""Times the whole of `inspect` on 32 lines with 10,000,000 edges beside the reading of the same file.

    tests/bench/inspecting.py FOLDER [--edges 10000000] [--rounds 5]

Build first: cargo build --release. Writes FOLDER/many_edges.vcd where it is missing (140 MB): in one second clocks with
jitter, lines that switch at any time, and lines that follow another after 20 to 400 ns, the busiest of them 250 times as
busy as the least. Each program takes its turn in each round; the medians of seconds and of processor seconds are printed.
"""
import argparse
import heapq
import os
import random
import resource
import statistics
import subprocess
import time

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAM = os.environ.get("EDGEWITNESS_BIN", os.path.join(ROOT, "target", "release", "edgewitness"))
LINES, SECOND = 32, 1_000_000_000


def edges(total):
    """Ascending nanoseconds of each line, each once."""
    rng, lines = random.Random(1), []
    weights = [0.004 ** (k / (LINES - 1)) for k in range(LINES)]
    for k, weight in enumerate(weights):
        count = max(16, int(total * weight / sum(weights)))
        if k % 4 == 3 and k > 3:
            source = rng.sample(lines[k - 3], min(count * 3 // 4, len(lines[k - 3])))
            times = [t + 20 + 12 * k + rng.randrange(-8, 9) for t in source]
            times += [rng.randrange(SECOND) for _ in range(count - len(times))]
        elif k % 2 == 0:
            times = [n * SECOND // count + rng.randrange(-15, 16) for n in range(count)]
        else:
            times = [rng.randrange(SECOND) for _ in range(count)]
        lines.append(sorted({min(max(t, 1), SECOND - 1) for t in times}))
    return lines


def write(path, lines):
    """One scalar a line; written whole under another name first."""
    codes = [chr(33 + k) for k in range(LINES)]
    with open(path + ".part", "w") as out:
        out.write("$timescale 1 ns $end\n$scope module bench $end\n")
        out.writelines(f"$var wire 1 {code} LINE_{k} $end\n" for k, code in enumerate(codes))
        out.write("$upscope $end\n$enddefinitions $end\n#0\n" + "".join(f"0{code}\n" for code in codes))
        levels, last = [0] * LINES, 0
        for t, k in heapq.merge(*([(t, k) for t in of] for k, of in enumerate(lines))):
            if t != last:
                out.write(f"#{t}\n")
                last = t
            levels[k] ^= 1
            out.write(f"{levels[k]}{codes[k]}\n")
        out.write(f"#{SECOND}\n")
    os.replace(path + ".part", path)


def timed(command, path):
    """Seconds, and seconds of all cores."""
    before, start = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    subprocess.run([PROGRAM, command, path, "--json"], stdout=subprocess.DEVNULL, check=True)
    after, end = resource.getrusage(resource.RUSAGE_CHILDREN), time.perf_counter()
    return end - start, after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def main():
    words = argparse.ArgumentParser()
    words.add_argument("folder")
    words.add_argument("--edges", type=int, default=10_000_000)
    words.add_argument("--rounds", type=int, default=5)
    given = words.parse_args()
    os.makedirs(given.folder, exist_ok=True)
    path = os.path.join(given.folder, "many_edges.vcd")
    if not os.path.exists(path):
        write(path, edges(given.edges))
    took = {"lines": [], "inspect": []}
    for _ in range(given.rounds):
        for command, times in took.items():
            times.append(timed(command, path))
    print(f"{os.path.getsize(path) / 1e6:.0f} MB.\n\n| program | seconds | seconds of all cores |\n| --- | ---: | ---: |")
    for command, times in took.items():
        wall, cores = (statistics.median(t[k] for t in times) for k in (0, 1))
        print(f"| edgewitness {command} --json | {wall:.2f} | {cores:.2f} |")


if __name__ == "__main__":
    main()
