#!/usr/bin/env python3
"""Compares `edgewitness lines` with a plain reading of VCD files, line by line and exactly.

    tests/vcd_twin.py PROGRAM FILE.vcd...

The twin below shares no code with the readers: it splits the file at white space (IEEE Std 1364-2005 clause 18, free
format) and keeps every level of every bit. An edge is a change between known levels; through unknown or floating it is
one edge when the known levels differ, none when they agree; the leap out of a stretch that was not recorded ($dumpoff to
$dumpon) is none. Where NAME.expected.json lies beside a file, its own counts are compared too: `through` counts the leap
out of $dumpoff as an edge, so a line may differ from it by the leaps that the twin counts apart, and by nothing else.
"""
import json
import os
import subprocess
import sys
from fractions import Fraction

UNITS = {"s": 0, "ms": -3, "us": -6, "ns": -9, "ps": -12, "fs": -15}
LEVELS = {"0": "0", "l": "0", "1": "1", "h": "1", "z": "z"}


def level(digit):
    return LEVELS.get(digit.lower(), "x")


def read(path):
    words = iter(open(path, encoding="utf-8", errors="replace").read().split())
    scale, scopes, variables = None, [], []
    for word in words:
        section = []
        if word == "$var":
            section = [next(words) for _ in range(3)]
        for inner in words:
            if inner == "$end":
                break
            section.append(inner)
        if word == "$timescale":
            text = "".join(section)
            number = text.rstrip("smunpf")
            scale = Fraction(int(number)) * Fraction(10) ** UNITS[text[len(number):]]
        elif word == "$scope":
            scopes.append(" ".join(section[1:]))
        elif word == "$upscope":
            scopes.pop()
        elif word == "$var":
            variables.append((section[0], section[1], section[2], section[3:], tuple(scopes)))
        elif word == "$enddefinitions":
            break
    bits = {}
    for kind, size, code, _, _ in variables:
        if kind in ("real", "realtime", "string", "event") or not size.isdigit() or int(size) == 0:
            bits[code] = 0
        else:
            bits[code] = int(size)
    history = {code: [[] for _ in range(n)] for code, n in bits.items()}
    time, first, off = None, None, False

    def put(code, digits):
        n = bits[code]
        if n == 0 or off:
            return
        fill = "0" if digits[0] in "01" else digits[0]
        for bit, digit in enumerate(digits.rjust(n, fill)[-n:]):
            history[code][bit].append((time, level(digit)))

    for word in words:
        head = word[0]
        if head == "#":
            time = int(word[1:])
            first = time if first is None else first
        elif word == "$comment":
            for inner in words:
                if inner == "$end":
                    break
        elif head == "$":
            if word == "$dumpoff":
                off = True
                for code in history:
                    for bit in history[code]:
                        bit.append((time, "off"))
            elif word == "$dumpon":
                off = False
        elif head in "bB":
            put(next(words), word[1:])
        elif head in "rRsS":
            next(words)
        else:
            put(word[1:], head)
    return scale, first, time, variables, bits, history


def line_of(changes, first, last):
    """Edges, leaps, first known level, time a level, shortest and longest pulse."""
    settled = []
    for time, value in changes:
        if settled and settled[-1][0] == time:
            settled[-1] = (time, value)
        else:
            settled.append((time, value))
    # What was told before the first time is the level that the record begins with.
    settled = [(first if time is None else time, value) for time, value in settled]
    times = {"0": 0, "1": 0, "x": 0, "z": 0, "off": 0}
    now, since, known, leap, edges, leaps, start = "x", first, None, False, [], 0, "x"
    for time, value in settled + [(last, None)]:
        times[now] += time - since
        since = time
        if value is None:
            break
        if time == first:
            start = value
        if value in "01":
            if known not in (None, value):
                if leap:
                    leaps += 1
                else:
                    edges.append(time)
            known, leap = value, False
        elif value == "off":
            leap = True
            edges.append(None)
        now = value
    widths = [b - a for a, b in zip(edges, edges[1:]) if a is not None and b is not None]
    edges = [e for e in edges if e is not None]
    return edges, leaps, start, times, widths


def names(variables):
    paths = [v[4] for v in variables]
    common = len(os.path.commonprefix(paths))
    seen, taken = set(), {}
    for kind, size, code, reference, scopes in variables:
        name, index = " ".join(reference), None
        if len(reference) > 1 and reference[-1].startswith("["):
            name, index = " ".join(reference[:-1]), reference[-1]
        elif size.isdigit() and int(size) > 1 and not name.startswith("\\") and name.endswith("]") and ":" in name:
            name, index = name[:name.rindex("[")], name[name.rindex("["):]
        name = ".".join(list(scopes[common:]) + [name])
        if (name, code, index) in seen:
            continue
        seen.add((name, code, index))
        yield kind, size, code, name, index


def compare(program, path):
    scale, first, last, variables, bits, history = read(path)
    report = json.loads(subprocess.run([program, "lines", path, "--json"], capture_output=True, check=True).stdout)
    told = {row["line"]: row for row in report["lines"]}
    unit = scale or Fraction(1, 10**9)
    beside = path[:-4] + ".expected.json"
    expected = json.load(open(beside))["lines"] if os.path.exists(beside) else None
    faults, lines = [], 0
    for kind, size, code, name, index in names(variables):
        n = bits[code]
        if n == 0:
            continue
        if n == 1 and index is None:
            places = [name]
        else:
            low_high = [int(i) for i in index.strip("[]").split(":")] if index else [n - 1, 0]
            if len(low_high) == 1:
                low_high *= 2
            step = 1 if low_high[1] >= low_high[0] else -1
            places = [f"{name}[{low_high[0] + step * k}]" for k in range(n)]
        for place, changes in zip(places, history[code]):
            lines += 1
            edges, leaps, start, times, widths = line_of(changes, first or 0, last or 0)
            row = told.get(place)
            if row is None:
                faults.append(f"{place}: not among the lines told")
                continue
            want = {
                "edges": len(edges),
                "first_level": {"0": "low", "1": "high", "z": "floating"}.get(start, "unknown"),
                "shortest_s": min(widths, default=None),
                "longest_s": max(widths, default=None),
                "low_s": times["0"],
                "high_s": times["1"],
                "unknown_s": times["x"],
                "floating_s": times["z"],
            }
            for key, value in want.items():
                found = row[key]
                if key.endswith("_s") and value is not None:
                    value = float(value * unit)
                    same = found is not None and abs(found - value) <= 1e-15 + 1e-12 * value
                else:
                    same = found == value
                if not same:
                    faults.append(f"{place}: {key} {found}, expected {value}")
            if expected is not None:
                through = expected.get(place, {}).get("edges", {}).get("through")
                if through != len(edges) + leaps:
                    faults.append(f"{place}: the file beside says {through} edges, the twin {len(edges)} and {leaps} leaps")
    print(f"{os.path.basename(path)}: {lines} lines, {len(faults)} differences")
    for fault in faults[:40]:
        print("   ", fault)
    return len(faults)


if __name__ == "__main__":
    if len(sys.argv) < 3:
        sys.exit(__doc__)
    sys.exit(1 if sum(compare(sys.argv[1], path) for path in sys.argv[2:]) else 0)
