#!/usr/bin/env python3
"""Makes statistics.json: outside values for the checks of server/analysis/stats.

Run: python tests/data/statistics.py   (numpy, scipy, statsmodels, mpmath; versions are kept in the output)

Most values come from mpmath at 40 digits, straight from the definitions; where SciPy or statsmodels has the
function it is run too, and the worst relative difference stands beside the group. `ln_` values are natural
logarithms. Deterministic.
"""
import json, math, os
import mpmath as mp
import numpy, scipy, statsmodels
import scipy.optimize
import scipy.stats as st
import statsmodels.stats.proportion as smp
from statsmodels.stats.multitest import multipletests

mp.mp.dps = 40
groups = {}


def put(name, library, source, cases, cross=None):
    groups[name] = dict(library=library, source=source, worst_cross_difference=cross, cases=cases)


def rel(a, b):
    return float(abs(mp.mpf(a) - mp.mpf(b)) / max(abs(mp.mpf(b)), mp.mpf(10) ** -320)) if a != b else 0.0


def series(first, ratio):
    """first · (1 + r0 + r0·r1 + …) until nothing is added"""
    total, term, i = mp.mpf(1), mp.mpf(1), 0
    while True:
        r = ratio(i)
        if r <= 0:
            break
        term *= r
        total += term
        if term < total * mp.mpf(10) ** -35:
            break
        i += 1
    return first * total


def binom_point(k, n, p):
    return mp.exp(mp.loggamma(n + 1) - mp.loggamma(k + 1) - mp.loggamma(n - k + 1) + k * mp.log(p) + (n - k) * mp.log1p(-p))


def upper(k, n, p):
    """P(X >= k)"""
    p = mp.mpf(p)
    if k == 0:
        return mp.mpf(1)
    if k > n * p:
        return series(binom_point(k, n, p), lambda i: mp.mpf(n - k - i) / (k + i + 1) * p / (1 - p))
    return 1 - series(binom_point(k - 1, n, p), lambda i: mp.mpf(k - 1 - i) / (n - k + 2 + i) * (1 - p) / p)


def lower(k, n, p):
    p = mp.mpf(p)
    if k >= n:
        return mp.mpf(1)
    if k < n * p:
        return series(binom_point(k, n, p), lambda i: mp.mpf(k - i) / (n - k + 1 + i) * (1 - p) / p)
    return 1 - upper(k + 1, n, p)


def pois_upper(k, mu):
    mu = mp.mpf(mu)
    if k == 0:
        return mp.mpf(1)
    point = lambda j: mp.exp(j * mp.log(mu) - mu - mp.loggamma(j + 1))
    if k > mu:
        return series(point(k), lambda i: mu / (k + i + 1))
    return 1 - series(point(k - 1), lambda i: (k - 1 - i) / mu)


def ln(tail, rest):
    """ln of a tail, from its complement where it is nearly 1"""
    return mp.log(tail) if tail < 0.9 else mp.log1p(-rest)


def case(inputs, **outputs):
    return dict(inputs=inputs, outputs={k: (float(v) if v is not None else None) for k, v in outputs.items()})


BINOMIAL = [(1, 10, .1), (3, 10, .1), (10, 10, .3), (39, 90, .00345), (5, 1000, .001), (20, 50, .25), (97, 100, .9), (200, 1000, .15), (60, 88, .02),
            (0, 88, .433), (1, 88, .433), (0, 10, .1), (5, 40, .3), (45, 90, .5), (3, 1000, .01),
            (150, 1000, 1e-3), (100, 10**8, 1e-9), (50_010_000, 10**8, .5), (49_990_000, 10**8, .5), (50_185_000, 10**8, .5), (1, 10**8, 1e-300), (10**8, 10**8, .999999),
            (12_000, 10**7, 1e-3), (10_000, 10**7, 1e-3), (30, 40, 1e-10), (1, 1, 1e-300), (5, 10**7, 1e-7), (99_999_990, 10**8, .9999999), (400, 500, 1e-4)]
cases, worst = [], 0
for k, n, p in BINOMIAL:
    u, l = upper(k, n, p), lower(k, n, p)
    below, above = (lower(k - 1, n, p) if k else mp.mpf(0)), (upper(k + 1, n, p) if k < n else mp.mpf(0))
    cases.append(case([k, n, p], ln_upper=ln(u, below), ln_lower=ln(l, above)))
    if n <= 10**4:
        s = float(st.binom.sf(k - 1, n, p))
        if s > 1e-300:
            worst = max(worst, rel(s, u))
put("binomial_tails", "mpmath, sum from the small end; scipy.stats.binom.sf", "definition", cases, worst)

cases, worst = [], 0
for k, mu in [(1, .31), (39, .31), (5, 1.), (10, 3.5), (3, .001), (150, 100.), (2, 2.), (100, 1e-5), (10**8, 1e8), (100_050_000, 1e8), (99_950_000, 1e8), (1, 1e-300), (300, 20.)]:
    u, above = pois_upper(k, mu), pois_upper(k + 1, mu)
    cases.append(case([k, mu], ln_upper=ln(u, 1 - u), ln_lower=ln(1 - above, above)))
    s = float(st.poisson.sf(k - 1, mu))
    if s > 1e-300 and mu < 1e5:
        worst = max(worst, rel(s, u))
put("poisson_tails", "mpmath, series from the small end; scipy.stats.poisson.sf", "definition", cases, worst)

cases = []
for a, b, x in [(2.5, 3.5, .3), (.5, .5, .01), (.25, 40., .02), (1e5 + .5, 2e5 + .25, 1 / 3), (3., 1e6, 1e-5), (120.5, .75, .99)]:
    cases.append(case([a, b, x], lower=mp.betainc(a, b, 0, x, regularized=True)))
put("beta_lower", "mpmath.betainc", "Abramowitz and Stegun 26.5", cases)


def root(g, low, high):
    """root of a monotone function of ln p by bisection"""
    low, high = mp.mpf(low), mp.mpf(high)
    up = g(high) > 0
    for _ in range(110):
        mid = (low + high) / 2
        if (g(mid) > 0) == up:
            high = mid
        else:
            low = mid
    return (low + high) / 2


def cp_low(k, n, each):
    return mp.mpf(0) if k == 0 else mp.exp(root(lambda t: upper(k, n, mp.exp(t)) - each, -60, -mp.mpf(10) ** -12))


def cp_high(k, n, each):
    return mp.mpf(1) if k == n else mp.exp(root(lambda t: lower(k, n, mp.exp(t)) - each, -60, -mp.mpf(10) ** -12))


cases, worst = [], 0
for k, n in [(81, 263), (15, 148), (0, 20), (1, 29), (39, 90), (0, 88), (20, 20), (3, 1000), (1, 1), (5, 10**7), (999, 1000), (100, 10**8)]:
    a = mp.mpf("0.025")
    lo, hi, one = cp_low(k, n, a), cp_high(k, n, a), cp_high(k, n, 2 * a)
    cases.append(case([k, n], low=lo, high=hi, one_sided_upper=one))
    s = smp.proportion_confint(k, n, method="beta")
    worst = max(worst, *(rel(x, y) for x, y in zip(s, (lo, hi)) if y > 0))
put("clopper_pearson", "mpmath root of the exact tails; statsmodels proportion_confint(method='beta')",
    "Clopper and Pearson (1934) Biometrika 26:404; the first four rows are worked examples of Newcombe (1998) Stat. Med. 17:857", cases, worst)

cases = []
for n in [10, 30, 88, 100, 300, 1000, 10000]:
    cases.append(case([n], exact_upper=1 - mp.mpf("0.05") ** (mp.mpf(1) / n)))
put("none_in_n", "mpmath", "Hanley and Lippman-Hand (1983) JAMA 249:1743: 1 - 0.05^(1/n), nearly 3/n", cases)

cases = []
for rate, conf in [(.433, "0.95"), (.2165, "0.95"), (.1, "0.95"), (.05, "0.95"), (.01, "0.95"), (.001, "0.95"), (.01, "0.99"), (.33, "0.95")]:
    cases.append(case([rate, float(conf)], n=mp.ceil(mp.log(1 - mp.mpf(conf)) / mp.log(1 - mp.mpf(repr(rate))))))
put("clean_opportunities", "mpmath", "inverse of the rule of three, same source", cases)


def hyper(x, n1, k, n2):
    lc = lambda n, r: mp.loggamma(n + 1) - mp.loggamma(r + 1) - mp.loggamma(n - r + 1)
    return mp.exp(lc(n1, x) + lc(n2, k - x) - lc(n1 + n2, k))


cases, worst = [], 0
for a, n1, b, n2 in [(3, 4, 1, 4), (39, 90, 0, 88), (10, 100, 2, 100), (8, 10, 1, 6), (0, 20, 5, 20), (1, 10, 11, 14), (30, 100, 28, 100), (7, 19, 0, 5), (2, 10002, 12, 10002),
                     (0, 1, 0, 1), (5, 5, 5, 5), (1, 1, 0, 100), (400, 900, 0, 900), (1000, 3000, 20, 3000), (2, 3, 2, 3), (1, 2, 1, 2), (2000, 5000, 2000, 5000), (900, 1000, 10, 10**6)]:
    k = a + b
    xs = range(max(0, k - n2), min(k, n1) + 1)
    ps = [hyper(x, n1, k, n2) for x in xs]
    at = ps[a - xs[0]]
    less, more = mp.fsum(ps[:a - xs[0] + 1]), mp.fsum(ps[a - xs[0]:])
    two = mp.fsum(p for p in ps if p <= at * (1 + mp.mpf(10) ** -9))
    rest = mp.fsum(p for p in ps if p > at * (1 + mp.mpf(10) ** -9))
    cases.append(case([a, n1, b, n2], ln_less=ln(less, mp.fsum(ps[a - xs[0] + 1:])), ln_greater=ln(more, mp.fsum(ps[:a - xs[0]])), ln_two_sided=ln(two, rest)))
    s = st.fisher_exact([[a, n1 - a], [b, n2 - b]]).pvalue
    if s > 1e-290:
        worst = max(worst, rel(float(s), two))
big = [(50_000, 10**8, 49_000, 10**8), (100, 10**8, 300, 10**8), (10**6, 10**8, 10**6 + 8000, 10**8)]
for a, n1, b, n2 in big:
    # one-sided by series only, a is on its small side
    k = a + b
    up = lambda x: series(hyper(x, n1, k, n2), lambda i: mp.mpf(n1 - x - i) / (x + i + 1) * mp.mpf(k - x - i) / (n2 - k + x + i + 1))
    down = lambda x: series(hyper(x, n1, k, n2), lambda i: mp.mpf(x - i) / (n1 - x + i + 1) * mp.mpf(n2 - k + x - i) / (k - x + i + 1))
    small_up = a * 2 > k
    more = up(a) if small_up else 1 - down(a - 1)
    less = down(a) if not small_up else 1 - up(a + 1)
    # n1 = n2: the law is symmetric, two-sided is twice the small tail
    cases.append(case([a, n1, b, n2], ln_less=mp.log(less), ln_greater=mp.log(more), ln_two_sided=mp.log(2 * min(more, less))))
put("fisher", "mpmath, all tables; scipy.stats.fisher_exact", "Fisher (1935): the tea tasting [[3,1],[1,3]] is 17/70 one-sided, 34/70 two-sided", cases, worst)


def chi(ratio, a, n1, b, n2):
    A, B, C = (n1 + n2) * ratio, -(n2 * ratio + b + n1 + a * ratio), a + b
    p1 = (-B - mp.sqrt(B * B - 4 * A * C)) / (2 * A)
    p2 = p1 * ratio
    v = (p2 * (1 - p2) / n2 + ratio ** 2 * p1 * (1 - p1) / n1) * mp.mpf(n1 + n2) / (n1 + n2 - 1)
    return (mp.mpf(b) / n2 - ratio * mp.mpf(a) / n1) ** 2 / v


z2 = (mp.sqrt(2) * mp.erfinv(mp.mpf("0.95"))) ** 2
cases, worst = [], 0
for a, n1, b, n2 in [(39, 90, 5, 88), (10, 100, 20, 100), (7, 1000, 14, 980), (30, 60, 29, 61), (1, 20, 9, 22), (300, 1000, 280, 1010), (39, 90, 0, 88), (5, 50, 0, 50), (0, 40, 6, 44), (19, 176, 2, 124)]:
    a_, b_ = mp.mpf(a), mp.mpf(b)
    est = (b_ / n2) / (a_ / n1) if a else None
    start = mp.log(est) if a and b else (mp.mpf(-60) if a else mp.mpf(60))
    low = mp.exp(root(lambda t: chi(mp.exp(t), a_, n1, b_, n2) - z2, -60, start)) if b else 0
    high = mp.exp(root(lambda t: chi(mp.exp(t), a_, n1, b_, n2) - z2, start, 60)) if a else None
    cases.append(case([a, n1, b, n2], low=low, high=high))
    if a and b:
        s = smp.confint_proportions_2indep(b, n2, a, n1, compare="ratio", method="score", correction=True)
        worst = max(worst, rel(s[0], low), rel(s[1], high))
put("miettinen_nurminen", "mpmath root of the score equation; statsmodels confint_proportions_2indep(compare='ratio', method='score', correction=True)",
    "Miettinen and Nurminen (1985) Stat. Med. 4:213", cases, worst)

cases = []
for p in [[.0001, .0004, .0019, .0095, .0201, .0278, .0298, .0344, .0459, .324, .4262, .5719, .6528, .759, 1.], [.01, .02, .03, .04, .05], [.05, .01, .04, .01, .9],
          [1e-60, .2, .5, 1e-5], [.5], [.9, .8, .7, .6], [.001] * 3 + [.2] * 7]:
    q = multipletests(p, method="fdr_bh")[1]
    cases.append(dict(inputs=p, outputs=dict(q=[float(x) for x in q])))
put("benjamini_hochberg", "statsmodels multipletests(method='fdr_bh')", "Benjamini and Hochberg (1995) JRSS B 57:289; the first case is their worked example", cases)


cases = []
for n in [6, 8, 9, 10, 20, 37, 100, 1000]:
    ci = st.quantile_test(list(range(1, n + 1)), q=.5, p=.5).confidence_interval(.95)
    cases.append(case([n], low=ci.low, high=ci.high))
put("median_interval", "scipy.stats.quantile_test(1..n).confidence_interval(0.95)", "Conover (1999) Practical Nonparametric Statistics ch. 3", cases)

versions = dict(numpy=numpy.__version__, scipy=scipy.__version__, statsmodels=statsmodels.__version__, mpmath=mp.__version__)
out = os.path.join(os.path.dirname(os.path.abspath(__file__)), "statistics.json")
with open(out, "w") as f:
    f.write('{\n "made_by": "tests/data/statistics.py",\n "libraries": %s,\n "groups": {\n' % json.dumps(versions))
    f.write(",\n".join('  "%s": {"library": %s, "source": %s, "worst_cross_difference": %s, "cases": [\n   %s\n  ]}'
                       % (n, json.dumps(g["library"]), json.dumps(g["source"]), json.dumps(g["worst_cross_difference"]), ",\n   ".join(json.dumps(c) for c in g["cases"])) for n, g in groups.items()))
    f.write("\n }\n}\n")
