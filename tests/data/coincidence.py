#!/usr/bin/env python3
"""Makes coincidence.json: coincidences of two published spike recordings, counted by NumPy and judged by SciPy.

coincidence.py DIRECTORY    DIRECTORY: nitime/data of the nitime package, version 0.12.1 (BSD licence), which carries
                            grasshopper_spike_times1.txt and …2.txt: spikes of an auditory receptor in microseconds, ten
                            seconds each, under two different stimuli, so that neither drives the other.

Made with numpy 2.4.6 and scipy 1.17.1.
"""
import json
import sys

import numpy as np
from scipy.stats import binom

SPAN = 10_000_000
REACH, BIN = 5_000, 250


def spikes(directory, which):
    with open(f"{directory}/grasshopper_spike_times{which}.txt") as lines:
        return np.array([int(float(w)) for line in lines if not line.startswith("#") for w in line.split()])


def histogram(a, b):
    """Counts of t_b - t_a in bins that are closed below and open above."""
    lags = (b[None, :] - a[:, None]).ravel()
    lags = lags[(lags >= -REACH) & (lags < REACH)]
    return np.bincount((lags + REACH) // BIN, minlength=2 * REACH // BIN).tolist()


def coincidences(a, b, window):
    """Spikes of a with one of b in the `window` before (both ends closed); what the windows cover; chances."""
    last = np.searchsorted(b, a, "right") - 1
    hits = int(np.sum((last >= 0) & (a - b[np.maximum(last, 0)] <= window)))
    ends = np.minimum(np.append(b[1:], SPAN), b + window)
    covered = float(np.sum(ends - b)) / SPAN
    poisson = 1 - (1 - window / SPAN) ** b.size
    return {
        "window": window,
        "hits": hits,
        "covered": covered,
        "p_poisson": float(binom.sf(hits - 1, a.size, poisson)),
        "p_covered": float(binom.sf(hits - 1, a.size, covered)),
    }


a, b = (spikes(sys.argv[1], which) for which in (1, 2))
table = {
    "source": "nitime 0.12.1, data/grasshopper_spike_times1.txt (a) and 2.txt (b), microseconds",
    "span": SPAN, "reach": REACH, "bin": BIN,
    "a": a.tolist(), "b": b.tolist(),
    "lags": {"aa": histogram(a, a), "ab": histogram(a, b), "ba": histogram(b, a), "bb": histogram(b, b)},
    "coincidences": [coincidences(a, b, window) for window in (500, 1_000, 2_000, 5_000)],
}
with open("coincidence.json", "w") as file:
    json.dump(table, file, separators=(",", ":"))
    file.write("\n")
