#!/usr/bin/env python3
"""Measures everything in one go and writes tests/bench/record/figures.md.

    tests/bench/figures.py FOLDER [--peers-python PYTHON] [--only PART[,PART]]

FOLDER gets the inputs (1.2 GB). PYTHON: one with numpy, polars and duckdb, for the programs that are compared with.
Parts: program, ingest, pairs, inspecting, rules, comparisons, window, frames, crowd, accuracy; a part that is left out keeps what
the record says of it, with its own date. Quiet the machine first; the load stands beside each part. Takes some 40 minutes
on two cores, most of it compiling the benchmarks and simulating captures.
"""
import argparse
import glob
import json
import os
import re
import shutil
import statistics
import subprocess
import sys
import tempfile
import time

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
PROGRAM = os.path.join(ROOT, "target", "release", "edgewitness")
RECORD = os.path.join(HERE, "record", "figures.md")


def told(command, **more):
    """What a command prints; its failing ends the part."""
    done = subprocess.run(command, cwd=ROOT, stdout=subprocess.PIPE, text=True, **more)
    if done.returncode:
        raise RuntimeError(f"{' '.join(command)} ended with {done.returncode}")
    return done.stdout.strip()


def fenced(text):
    return f"```text\n{text}\n```"


def program(_):
    """Start-up, size and memory, 20 starts on an empty folder."""
    times, resident = [], []
    for _ in range(20):
        data = tempfile.mkdtemp()
        begun = time.perf_counter()
        child = subprocess.Popen([PROGRAM, "serve", "--data", data, "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        next(line for line in child.stdout if "http://" in line)
        times.append(time.perf_counter() - begun)
        resident.append(int(re.search(r"VmRSS:\s+(\d+)", open(f"/proc/{child.pid}/status").read())[1]) / 1024)
        child.terminate()
        child.wait()
        shutil.rmtree(data)
    pages = sum(os.path.getsize(f) for f in glob.glob(os.path.join(ROOT, "static", "**", "*"), recursive=True) if os.path.isfile(f))
    return "\n".join([
        "| what | figure | target |", "| --- | ---: | ---: |",
        f"| start of `serve` to its address, median of 20 | {statistics.median(times) * 1e3:.0f} ms | 100 ms |",
        f"| the slowest of them | {max(times) * 1e3:.0f} ms | |",
        f"| resident after the start | {statistics.median(resident):.0f} MiB | |",
        f"| binary, pages embedded | {os.path.getsize(PROGRAM) / 1e6:.1f} MB | |",
        f"| everything in `static/`, uncompressed (a page takes part of it) | {pages / 1e3:.0f} kB | |",
    ])


def ingest(given):
    peers = ["--peers-python", given.peers_python] if given.peers_python else []
    told([os.path.join(HERE, "ingest.py"), given.folder, *peers], stderr=sys.stderr)
    table = open(os.path.join(HERE, "record", "ingest.md")).read().split("\n\n", 2)[2]
    return "Whole processes, medians, all in turn in one run (`tests/bench/ingest.py`).\n\n" + table.strip()


def criterion(bench, *words, keep=""):
    """Runs a bench and tables criterion's own point estimates of the mean, with their 95 % confidence interval."""
    home = os.path.join(ROOT, "target", "criterion")
    shutil.rmtree(home, ignore_errors=True)
    prefix = keep.split() if keep else []
    told([*prefix, "cargo", "bench", "--quiet", "--bench", bench, "--", *words], stderr=subprocess.DEVNULL)
    rows = ["| benchmark | mean s | 95 % interval |", "| --- | ---: | ---: |"]
    for path in sorted(glob.glob(os.path.join(home, "*", "*", "new", "estimates.json"))):
        mean = json.load(open(path))["mean"]
        low, high = (mean["confidence_interval"][k] / 1e9 for k in ("lower_bound", "upper_bound"))
        group, name = path.split(os.sep)[-4:-2]
        rows.append(f"| {group}, {name} | {mean['point_estimate'] / 1e9:.4g} | {low:.4g} to {high:.4g} |")
    return "\n".join(rows)


def pairs(given):
    edges = os.path.join(given.folder, "pairs.bin")
    text = "On both cores:\n\n" + criterion("pairs")
    os.environ["EDGEWITNESS_EDGES"] = edges
    text += "\n\nOn one core:\n\n" + criterion("pairs", "10000000", keep="taskset -c 0")
    del os.environ["EDGEWITNESS_EDGES"]
    if given.peers_python:
        twin = told(["taskset", "-c", "0", given.peers_python, os.path.join(HERE, "pairs.py"), edges])
        text += "\n\nNumPy over merged edges, the same edges, one core (`tests/bench/pairs.py`):\n\n" + fenced(twin)
    return text


def frames(_):
    if not os.path.isdir(os.path.join(ROOT, "tests", "browser", "node_modules")):
        told(["npm", "ci", "--prefix", "tests/browser"], stderr=sys.stderr)
    return fenced(told(["node", "tests/browser/frames.mjs"], stderr=sys.stderr))


def accuracy(_):
    """Fresh seeds each time: the first is drawn from the clock, and told."""
    first = int(time.time()) % 1_000_000
    env = dict(os.environ, EDGEWITNESS_FIRST_SEED=str(first))
    done = subprocess.run(["cargo", "test", "--release", "--quiet", "--test", "accuracy", "--", "--nocapture", "--test-threads=1"], cwd=ROOT, stdout=subprocess.PIPE, text=True, env=env)
    # A quiet test runner leaves its dots in front of what the next test prints.
    lines = [re.sub(r"^[.F]+(?=\w)", "", line) for line in done.stdout.splitlines()]
    kept = [line for line in lines if re.search(r"^family|/\d+ +\d\.\d{3}|^\d+ of \d+", line)]
    if done.returncode:
        kept.append("The bounds of the tests did not hold on these seeds: see the rows below their target.")
    return f"Seeds from {first}. The last lines: captures without any coupling in which somebody is accused (calibration), the same where lines shake hands, and guilty lines named at 20 opportunities struck at one half (power).\n\n" + fenced("\n".join(kept))


PARTS = {
    "program": ("The program", program),
    "ingest": ("Reading", ingest),
    "pairs": ("Lag histograms of all ordered pairs of 32 lines", pairs),
    "inspecting": ("The whole of inspect, 32 lines with 10,000,000 edges", lambda given: told([os.path.join(HERE, "inspecting.py"), given.folder])),
    "rules": ("Fifty rules on 32 lines", lambda _: criterion("rules")),
    "comparisons": ("Clocks, links, proposals", lambda _: criterion("comparisons")),
    "window": ("Windows of the timing diagram", lambda _: fenced(told(["cargo", "bench", "--quiet", "--bench", "window"], stderr=subprocess.DEVNULL))),
    "frames": ("Frames of the timing diagram in Chromium", frames),
    "crowd": ("A crowd", lambda given: told([os.path.join(HERE, "crowd.py"), given.folder])),
    "accuracy": ("Who did it: simulated captures with fresh seeds", accuracy),
}


def before():
    """The sections of the record as it is: heading to text."""
    if not os.path.exists(RECORD):
        return {}
    parts = re.split(r"^## ", open(RECORD).read(), flags=re.M)[1:]
    return {part.split("\n", 1)[0].strip(): part.split("\n", 1)[1].strip() for part in parts}


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("folder")
    words.add_argument("--peers-python")
    words.add_argument("--only")
    given = words.parse_args()
    os.makedirs(given.folder, exist_ok=True)
    wanted = given.only.split(",") if given.only else list(PARTS)
    if unknown := [part for part in wanted if part not in PARTS]:
        sys.exit(f"No part is called {', '.join(unknown)}; there are {', '.join(PARTS)}.")
    told(["cargo", "build", "--release", "--locked", "--quiet"], stderr=sys.stderr)
    cpu = next((l.split(": ")[1].strip() for l in open("/proc/cpuinfo") if l.startswith("model name")), "unknown")
    sections = before()
    failed = 0
    for name in wanted:
        heading, measure = PARTS[name]
        stamp = f"{time.strftime('%Y-%m-%d %H:%M')}, {os.cpu_count()} cores, {cpu}; load before {os.getloadavg()[0]:.2f}."
        print(f"== {name}", file=sys.stderr)
        try:
            sections[heading] = f"{stamp}\n\n{measure(given)}"
        except (RuntimeError, subprocess.CalledProcessError, OSError) as error:
            failed += 1
            print(f"{name}: {error}", file=sys.stderr)
    os.makedirs(os.path.dirname(RECORD), exist_ok=True)
    with open(RECORD, "w") as out:
        out.write("# Figures\n\nWritten by `tests/bench/figures.py`; each part names its machine, day and load.\n")
        for heading, _ in PARTS.values():
            if heading in sections:
                out.write(f"\n## {heading}\n\n{sections[heading]}\n")
    print(f"wrote {RECORD}")
    sys.exit(1 if failed else 0)


if __name__ == "__main__":
    main()
