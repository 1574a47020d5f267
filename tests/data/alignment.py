"""Lines through matched edges, by numpy and SciPy: the outside values of tests/clocks/alignment.rs.

python tests/data/alignment.py > tests/data/alignment.json   (numpy 2, SciPy 1.17)

Edges of one line as two instruments stamp them: irregular times, each stamped by the first sample that shows it,
half a sample taken off. The fit is of (time in A - time in B) against time in B.
"""
import json
import numpy, scipy
from scipy import stats

rows = []
random = numpy.random.default_rng(20261125)
for n, period_a, period_b, offset, drift, span in [
    (60, 5e-9, 1 / 24e6, 0.0871342, 31.2e-6, 1.2),
    (400, 1e-8, 2e-8, -0.731, 23e-6, 3.0),
    (25, 1e-6, 2.5e-7, 12.5, -48e-6, 40.0),
]:
    true = numpy.sort(random.uniform(0, span, n))
    a = numpy.ceil(true / period_a) * period_a - period_a / 2
    in_b = (true - offset) / (1 + drift)
    b = numpy.ceil(in_b / period_b) * period_b - period_b / 2
    x, y = b, a - b
    line = stats.linregress(x, y)
    slope, at_zero = numpy.polyfit(x, y, 1)
    theil = stats.theilslopes(y, x)
    rows.append({
        "x": x.tolist(), "y": y.tolist(), "offset": offset, "drift": drift,
        "linregress": {"slope": line.slope, "intercept": line.intercept, "slope_se": line.stderr, "intercept_se": line.intercept_stderr},
        "polyfit": {"slope": slope, "intercept": at_zero},
        "theilslopes": {"slope": theil.slope, "low": theil.low_slope, "high": theil.high_slope},
        # Bennett (1948): an edge stamped every T is off by T/sqrt(12).
        "theory": float(numpy.hypot(period_a, period_b) / numpy.sqrt(12) / numpy.sqrt(n)),
    })
print(json.dumps({"made_by": f"numpy {numpy.__version__}, scipy {scipy.__version__}", "rows": rows}))
