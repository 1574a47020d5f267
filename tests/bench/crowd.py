#!/usr/bin/env python3
"""Twenty browsers read pages while eight captures of 200 MB come in at once.

    tests/bench/crowd.py FOLDER [--browsers 20] [--uploads 8] [--megabytes 200]

Build first: cargo build --release. FOLDER holds the data folder meanwhile (removed afterwards). Each browser opens the
start page, the demo's findings, what the diagram asks for, the bench log and the report, over and over, with a rest of
half a second between pages, as people rest longer. Prints a table: the pages' times while nothing else goes on and
while captures come in and are read; the most memory of the server; and whether what came in is whole: every session
counts the edges that were written, no share of progress ever went back, `edgewitness doctor` finds nothing to mend.
Ends with 1 when something was lost.
"""
import argparse
import http.client
import json
import multiprocessing
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from urllib.parse import quote

ROOT = os.path.dirname(os.path.dirname(os.path.dirname(os.path.abspath(__file__))))
PROGRAM = os.environ.get("EDGEWITNESS_BIN", os.path.join(ROOT, "target", "release", "edgewitness"))
LINES = 8


def table(path, size):
    """A sample table of eight lines at 24 MHz of about `size` bytes; gives the number of edges of all lines."""
    rng, edges, row, written = random.Random(1), 0, 0, 0
    levels = [0] * LINES
    with open(path, "w") as out:
        written += out.write("Time [s]," + ",".join(f"D{k}" for k in range(LINES)) + "\n")
        while written < size:
            part = []
            for _ in range(50_000):
                if row and rng.random() < 0.2:
                    levels[rng.randrange(LINES)] ^= 1
                    edges += 1
                part.append(f"{row / 24e6:.9f},{','.join(map(str, levels))}\n")
                row += 1
            written += out.write("".join(part))
    return edges


def asked(server, method, path, body=None, headers={}):
    connection = http.client.HTTPConnection(server, timeout=300)
    connection.request(method, path, body, headers)
    answer = connection.getresponse()
    content = answer.read()
    connection.close()
    if answer.status >= 300:
        raise RuntimeError(f"{method} {path}: {answer.status} {content[:300]!r}")
    return content


def browse(server, paths, until, results):
    times, n = [], os.getpid()
    while not until.is_set():
        path = paths[n % len(paths)]
        n += 1
        begun = time.perf_counter()
        try:
            asked(server, "GET", path)
            times.append((path, time.perf_counter() - begun))
        except (RuntimeError, OSError) as error:
            times.append((path, None))
            print(f"{path}: {error}", file=sys.stderr)
        until.wait(0.5)
    results.put(times)


def bring(server, path, k, results):
    """Brings the table under a heading of its own (or it would be the same file), and follows the reading."""
    try:
        title = json.dumps({"title": f"crowd {k}"})
        session = json.loads(asked(server, "POST", "/api/sessions", title, {"content-type": "application/json"}))["id"]
        with open(path, "rb") as file:
            head = file.readline().replace(b"D0", b"K%d" % k)
            length = len(head) + os.path.getsize(path) - file.tell()
            connection = http.client.HTTPConnection(server, timeout=600)
            connection.putrequest("POST", f"/api/sessions/{session}/captures?name={quote(f'crowd-{k}.csv')}")
            connection.putheader("content-type", "application/octet-stream")
            connection.putheader("content-length", str(length))
            connection.endheaders(head)
            while piece := file.read(1 << 16):
                connection.send(piece)
        answer = connection.getresponse()
        if answer.status != 201:
            raise RuntimeError(f"upload {k}: {answer.status} {answer.read()[:300]!r}")
        answer.read()
        connection.close()
        results.put((k, session, None, *follow(server, session)))
    except (RuntimeError, OSError, KeyError) as error:
        results.put((k, None, str(error)))


def follow(server, session):
    """The work of a session to its end: how often its share of a step went back, and the last event."""
    connection = http.client.HTTPConnection(server, timeout=600)
    connection.request("GET", f"/api/sessions/{session}/work")
    events, event, back, steps, share_of = connection.getresponse(), "", 0, 0, {}
    for raw in iter(events.readline, b""):
        line = raw.decode().rstrip("\n")
        if line.startswith("event: "):
            event = line[7:]
        elif line.startswith("data: ") and event == "step":
            step = json.loads(line[6:])
            steps += 1
            if step["share"] is not None:
                back += step["share"] < share_of.get(step["says"], 0)
                share_of[step["says"]] = step["share"]
        elif line.startswith("data: "):
            return event, back, steps
    return "broken off", back, steps


def quantile(times, share):
    times = sorted(times)
    return times[min(len(times) - 1, int(len(times) * share))]


def crowd(server, paths, browsers, during):
    """Lets the browsers go on while `during` runs; all times in seconds, by path."""
    until, results = multiprocessing.Event(), multiprocessing.Queue()
    people = [multiprocessing.Process(target=browse, args=(server, paths, until, results)) for _ in range(browsers)]
    for person in people:
        person.start()
    begun = time.perf_counter()
    outcome = during()
    took = time.perf_counter() - begun
    until.set()
    times = [time for _ in people for time in results.get()]
    for person in people:
        person.join()
    return outcome, took, times


def main():
    words = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    words.add_argument("folder")
    words.add_argument("--browsers", type=int, default=20)
    words.add_argument("--uploads", type=int, default=8)
    words.add_argument("--megabytes", type=int, default=200)
    given = words.parse_args()
    os.makedirs(given.folder, exist_ok=True)
    source = os.path.join(given.folder, f"crowd-{given.megabytes}.csv")
    edges_file = source + ".edges"
    if not os.path.exists(edges_file):
        edges = table(source, given.megabytes * 1_000_000)
        with open(edges_file, "w") as out:
            out.write(str(edges))
    edges = int(open(edges_file).read())
    data = tempfile.mkdtemp(prefix="crowd-", dir=given.folder)
    server = subprocess.Popen([PROGRAM, "serve", "--demo", "--data", data, "--listen", "127.0.0.1:0"], stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
    try:
        for line in server.stdout:
            if found := re.search(r"http://(127\.0\.0\.1:\d+)(/sessions/\d+)?", line):
                address = found[1]
                break
        else:
            sys.exit("the server did not start")
        lost = run(given, address, source, edges, server.pid)
    finally:
        server.send_signal(signal.SIGTERM)
        server.wait()
    doctor = subprocess.run([PROGRAM, "doctor", "--data", data], capture_output=True, text=True)
    print(f"\n`edgewitness doctor` afterwards, exit {doctor.returncode}: {doctor.stdout.strip().splitlines()[-1] if doctor.stdout.strip() else doctor.stderr.strip()}")
    shutil.rmtree(data)
    sys.exit(1 if lost or doctor.returncode else 0)


def run(given, address, source, edges, pid):
    sessions = json.loads(asked(address, "GET", "/api/sessions"))
    demo = f"/sessions/{max(s['id'] for s in sessions)}"
    follow(address, demo.rsplit("/", 1)[1])
    facts = json.loads(asked(address, "GET", f"/api{demo}/diagram"))
    everything = ",".join(str(k) for k in range(min(16, len(facts["lines"]))))
    paths = [demo, f"{demo}/log", f"/api{demo}/diagram", f"/api{demo}/window?start=0&end={facts['length']}&columns=900&lines={everything}", f"{demo}/report.html", "/how-it-decides"]
    for path in paths:
        asked(address, "GET", path)
    _, _, quiet = crowd(address, paths, given.browsers, lambda: time.sleep(10))

    def uploads():
        results = multiprocessing.Queue()
        carriers = [multiprocessing.Process(target=bring, args=(address, source, k, results)) for k in range(given.uploads)]
        for carrier in carriers:
            carrier.start()
        outcome = [results.get() for _ in carriers]
        for carrier in carriers:
            carrier.join()
        return outcome

    outcome, took, busy = crowd(address, paths, given.browsers, uploads)
    memory = re.search(r"VmHWM:\s+(\d+)", open(f"/proc/{pid}/status").read())
    print(f"{time.strftime('%Y-%m-%d')}, {os.cpu_count()} cores: {given.browsers} browsers, {given.uploads} uploads of {os.path.getsize(source) / 1e6:.0f} MB at once, all in and read after {took:.0f} s.\n")
    print("| page | pages while quiet | p50 ms | p95 ms | pages meanwhile | p50 ms | p95 ms | worst ms |")
    print("| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |")
    failed = 0
    for path in [*paths, None]:
        rows = []
        for times in (quiet, busy):
            own = [t for p, t in times if (path is None or p == path)]
            failed += sum(t is None for t in own) if path is None else 0
            rows.append([t * 1e3 for t in own if t is not None])
        name = "all" if path is None else re.sub(r"\?.*", "", path)
        figures = [[len(own), *(f"{quantile(own, share):.0f}" for share in (0.5, 0.95, 1))] if own else ["0", "", "", ""] for own in rows]
        print(f"| {name} | {' | '.join(map(str, figures[0][:3] + figures[1]))} |")
    lost = failed
    backwards = steps = 0
    for k, session, error, *more in outcome:
        if error:
            print(f"upload {k}: {error}")
            lost += 1
            continue
        event, back, seen = more
        backwards += back
        steps += seen
        # The server holds only so many sessions open: the work is asked for again, and is done at once.
        follow(address, session)
        report = json.loads(asked(address, "GET", f"/api/sessions/{session}/report"))
        counted = sum(line["edges"] for line in report["lines"])
        if event != "ready" or counted != edges:
            print(f"upload {k}: {event}, {counted} edges of {edges}")
            lost += 1
    print(f"\nMost memory of the server: {int(memory[1]) / 1024:.0f} MiB. Pages that failed: {failed}. Uploads whole and counted right: {sum(1 for o in outcome if not o[2])} of {given.uploads}.")
    print(f"Steps of progress told: {steps}; shares that went back: {backwards}.")
    return lost + backwards


if __name__ == "__main__":
    main()
