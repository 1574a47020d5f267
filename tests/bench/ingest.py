#!/usr/bin/env python3
"""Makes the inputs, times whole processes and writes tests/bench/record/ingest.md.

    tests/bench/ingest.py FOLDER [--runs N] [--peers-python PYTHON] [--tenfold]

Build first: cargo build --release. FOLDER gets the inputs (some 750 MB) unless they lie there. Every program is run once
to warm the page cache, then N times (5), all in turn in one run, so that a busy machine is as busy for one as for the
other; the table gives medians. Peers, where they can be had: the `csv` and the `vcd` crate (tests/bench/peers, built by
this script), polars and DuckDB (with --peers-python, a Python that has them). With --tenfold our own program reads files of ten
times the length besides (7 GB more in FOLDER): time and memory must not grow faster than the file. Quiet the machine first: the load is
recorded with the figures.
"""
import argparse
import os
import random
import statistics
import subprocess
import sys
import time

HERE = os.path.dirname(os.path.abspath(__file__))
ROOT = os.path.dirname(os.path.dirname(HERE))
PROGRAM = os.path.join(ROOT, "target", "release", "edgewitness")
RECORD = os.path.join(HERE, "record", "ingest.md")
LINES = 8


def moments(rng, rows, mean):
    """Sample numbers at which one of eight lines changes, with the line."""
    now = 0
    while True:
        now += 1 + int(rng.expovariate(1 / mean))
        if now >= rows:
            return
        yield now, rng.randrange(LINES)


def write_tables(folder):
    """samples.csv: one row a sample, 24 MHz, times to the nanosecond; changes.csv: the rows that differ, of a longer record."""
    rng = random.Random(1)
    head = "Time [s]," + ",".join(f"D{k}" for k in range(LINES)) + "\n"
    with open(os.path.join(folder, "samples.csv"), "w") as out:
        out.write(head)
        levels, changes = [0] * LINES, moments(rng, 7_500_000, 4)
        at, line = next(changes)
        cells = "," + ",".join(map(str, levels)) + "\n"
        part = []
        for row in range(7_500_000):
            while row == at:
                levels[line] ^= 1
                cells = "," + ",".join(map(str, levels)) + "\n"
                at, line = next(changes, (-1, 0))
            part.append(f"{row / 24e6:.9f}{cells}")
            if len(part) == 50_000:
                out.write("".join(part))
                part = []
        out.write("".join(part))
    with open(os.path.join(folder, "changes.csv"), "w") as out:
        out.write(head)
        levels, part = [0] * LINES, [f"{0:.9f}," + ",".join("0" * LINES) + "\n"]
        for row, line in moments(rng, 37_500_000, 4):
            levels[line] ^= 1
            part.append(f"{row / 24e6:.9f},{','.join(map(str, levels))}\n")
            if len(part) == 50_000:
                out.write("".join(part))
                part = []
        out.write("".join(part))


def write_volts(folder):
    """volts.csv: two square waves with slow edges and noise, 100 MHz."""
    rng = random.Random(2)
    noise = [rng.gauss(0, 0.02) for _ in range(4096)]
    with open(os.path.join(folder, "volts.csv"), "w") as out:
        out.write("Time [s],A [V],B [V]\n")
        part = []
        for row in range(7_000_000):
            phase = row % 1000
            a = min(phase, 500 - phase, 40) / 40 * 4.8 if phase < 500 else 0.1
            b = 3.3 if row % 770 < 300 else 0.2
            part.append(f"{row / 1e8:.9f},{a + noise[row & 4095]:.6f},{b + noise[row * 7 & 4095]:.6f}\n")
            if len(part) == 50_000:
                out.write("".join(part))
                part = []
        out.write("".join(part))


def write_vcd(folder):
    """changes.vcd: sixteen lines and a bus of eight, some 18 million changes."""
    rng = random.Random(3)
    codes = [chr(33 + k) for k in range(17)]
    with open(os.path.join(folder, "changes.vcd"), "w") as out:
        out.write("$timescale 1 ns $end\n$scope module carillon $end\n")
        for k in range(16):
            out.write(f"$var wire 1 {codes[k]} line{k} $end\n")
        out.write(f"$var wire 8 {codes[16]} tune [7:0] $end\n$upscope $end\n$enddefinitions $end\n#0\n$dumpvars\n")
        out.write("".join(f"0{c}\n" for c in codes[:16]) + f"b0 {codes[16]}\n$end\n")
        levels, now, size, part = [0] * 16, 0, 0, []
        while size < 210_000_000:
            now += 1 + int(rng.expovariate(1 / 110))
            step = [f"#{now}\n"]
            for _ in range(1 if rng.random() < 0.7 else 3):
                k = min(int(rng.expovariate(1 / 4)), 15)
                levels[k] ^= 1
                step.append(f"{levels[k]}{codes[k]}\n")
            if rng.random() < 0.05:
                step.append(f"b{rng.randrange(256):08b} {codes[16]}\n")
            part.extend(step)
            if len(part) > 100_000:
                text = "".join(part)
                size += len(text)
                out.write(text)
                part = []
        out.write("".join(part))


MAKERS = {"samples.csv": write_tables, "changes.csv": write_tables, "volts.csv": write_volts, "changes.vcd": write_vcd}

POLARS_EDGES = """
import sys, polars as pl
f = sys.argv[1]
columns = open(f).readline().strip().split(",")
d = pl.read_csv(f, schema={c: pl.UInt8 if i else pl.Float64 for i, c in enumerate(columns)})
t = d[:, 0]
print(sum(len(t.filter((d[c] != d[c].shift(1)).fill_null(False))) for c in columns[1:]))
"""
POLARS_SUMS = """
import sys, polars as pl
print(pl.read_csv(sys.argv[1]).sum())
"""
DUCKDB_SUMS = """
import sys, duckdb
f = sys.argv[1]
columns = duckdb.sql(f"select * from read_csv('{f}') limit 0").columns
print(duckdb.sql("select count(*), " + ", ".join(f'sum("{c}")' for c in columns) + f" from read_csv('{f}')").fetchall())
"""


def peers(python):
    """Name, command and the inputs that each program reads."""
    tables = ["samples.csv", "changes.csv"]
    yield "edgewitness lines --json", [PROGRAM, "lines", "--json"], list(MAKERS)
    built = os.path.join(HERE, "peers", "target", "release", "peers")
    if subprocess.run(["cargo", "build", "--release", "--manifest-path", os.path.join(HERE, "peers", "Cargo.toml")]).returncode == 0:
        yield "csv crate, to edge lists", [built, "edges"], tables
        yield "csv crate, every field a float", [built, "floats"], ["volts.csv"]
        yield "vcd crate, all commands", [built, "vcd"], ["changes.vcd"]
    if python:
        yield "polars, types given, to edge lists", [python, "-c", POLARS_EDGES], tables
        yield "polars, sums", [python, "-c", POLARS_SUMS], ["volts.csv"]
        yield "DuckDB, sums", [python, "-c", DUCKDB_SUMS], tables + ["volts.csv"]


def tenfold(folder, name):
    """The file ten times over, each time later by its own length."""
    source, target = os.path.join(folder, name), os.path.join(folder, "tenfold-" + name)
    if os.path.exists(target):
        return
    is_vcd = name.endswith(".vcd")
    with open(source) as file, open(target + ".part", "w") as out:
        body, last, shift = None, 0, 0
        for turn in range(10):
            if body is None:
                for text in iter(file.readline, ""):
                    out.write(text)
                    if text.startswith("$enddefinitions") or not is_vcd:
                        break
                body = file.tell()
            file.seek(body)
            part = []
            for text in iter(file.readline, ""):
                if is_vcd and text[0] == "#":
                    last = int(text[1:])
                    text = f"#{last + shift}\n"
                elif not is_vcd:
                    time_text, rest = text.split(",", 1)
                    last = float(time_text)
                    text = f"{last + shift:.9f},{rest}"
                part.append(text)
                if len(part) == 100_000:
                    out.write("".join(part))
                    part = []
            out.write("".join(part))
            # The next turn begins a sample, or a thousand ticks, later.
            shift += last + (1000 if is_vcd else 1 / 24e6)
    os.rename(target + ".part", target)


def timed(command):
    start = time.perf_counter()
    child = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    _, status, usage = os.wait4(child.pid, 0)
    child.returncode = os.waitstatus_to_exitcode(status)
    if child.returncode:
        sys.exit(f"{command} failed")
    return time.perf_counter() - start, usage.ru_utime + usage.ru_stime, usage.ru_maxrss / 1024


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("folder")
    words.add_argument("--runs", type=int, default=5)
    words.add_argument("--peers-python")
    words.add_argument("--tenfold", action="store_true")
    given = words.parse_args()
    os.makedirs(given.folder, exist_ok=True)
    path = lambda name: os.path.join(given.folder, name)
    for name, make in MAKERS.items():
        if not os.path.exists(path(name)):
            make(given.folder)
    jobs = [(name, command + [path(f)], f) for name, command, inputs in peers(given.peers_python) for f in inputs]
    files = list(MAKERS)
    if given.tenfold:
        for name in MAKERS:
            tenfold(given.folder, name)
            files.insert(files.index(name) + 1, "tenfold-" + name)
            jobs.append(("edgewitness lines --json", [PROGRAM, "lines", "--json", path("tenfold-" + name)], "tenfold-" + name))
    load = os.getloadavg()[0]
    for _, command, _ in jobs:
        timed(command)
    results = {i: [] for i in range(len(jobs))}
    for _ in range(given.runs):
        for i, (_, command, _) in enumerate(jobs):
            results[i].append(timed(command))
    cpu = next((l.split(": ")[1].strip() for l in open("/proc/cpuinfo") if l.startswith("model name")), "unknown")
    lines = [
        "# Reading, whole processes",
        "",
        f"{time.strftime('%Y-%m-%d')}, {os.cpu_count()} cores, {cpu}; load before: {load:.2f}; medians of {given.runs}, all in turn in one run.",
        "`tests/bench/ingest.py` makes the inputs and writes this table.",
        "",
        "| input | MB | program | seconds | MB/s | seconds of all cores | most MiB resident |",
        "| --- | --- | --- | --- | --- | --- | --- |",
    ]
    order = sorted(range(len(jobs)), key=lambda i: (files.index(jobs[i][2]), i))
    for i in order:
        name, _, file = jobs[i]
        size = os.path.getsize(path(file)) / 1e6
        wall, cores, most = (statistics.median(r[k] for r in results[i]) for k in range(3))
        lines.append(f"| {file} | {size:.0f} | {name} | {wall:.3f} | {size / wall:.0f} | {cores:.2f} | {most:.0f} |")
    os.makedirs(os.path.dirname(RECORD), exist_ok=True)
    with open(RECORD, "w") as out:
        out.write("\n".join(lines) + "\n")
    print("\n".join(lines))


if __name__ == "__main__":
    main()
