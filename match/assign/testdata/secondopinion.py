"""A second opinion on the assignment solvers, by scipy.

    python3 secondopinion.py > secondopinion.json

makes nearly additive cost tables, as errors are, and solves them by other
methods than ours: scipy.optimize.linear_sum_assignment for the least total,
thresholds with scipy.sparse.csgraph.maximum_bipartite_matching for the least
greatest cost, and scipy.optimize.milp (HiGHS, branch and cut) where extras are
given out too. TestAgainstScipy reads what it printed.
"""
import json

import numpy
import scipy
from scipy.optimize import Bounds, LinearConstraint, linear_sum_assignment, milp
from scipy.sparse import csr_matrix, lil_matrix
from scipy.sparse.csgraph import maximum_bipartite_matching


def table(rng, rows, cols, own, forbidden):
    c = 20 + 3 * rng.standard_normal((rows, 1)) + 3 * rng.standard_normal((1, cols)) + own * rng.standard_normal((rows, cols))
    c = numpy.round(c, 3)
    c[rng.random((rows, cols)) < forbidden] = numpy.inf
    return c


def bottleneck(c):
    for limit in sorted(set(c[numpy.isfinite(c)].tolist())):
        match = maximum_bipartite_matching(csr_matrix((c <= limit).astype(int)), perm_type="column")
        if (match >= 0).all():
            return limit
    return None


def plain(rng, rows, cols, own, forbidden):
    c = table(rng, rows, cols, own, forbidden)
    i, j = linear_sum_assignment(c)
    return {"cost": [[None if numpy.isinf(x) else x for x in row] for row in c.tolist()], "total": float(c[i, j].sum()), "worst": bottleneck(c)}


def two(rng, persons, things, copies):
    extras = len(copies)
    c = table(rng, persons, things, 0.8, 0)[:, :, None] + rng.standard_normal((1, things, extras)) + 0.7 * rng.standard_normal((persons, 1, extras))
    c = numpy.round(c, 3)
    at = numpy.arange(c.size).reshape(c.shape)
    rows, low, high = lil_matrix((persons + things + extras, c.size)), [], []
    for i in range(persons):
        rows[i, at[i].ravel()] = 1
    for j in range(things):
        rows[persons + j, at[:, j].ravel()] = 1
    for k in range(extras):
        rows[persons + things + k, at[:, :, k].ravel()] = 1
    low = [1] * persons + [0] * (things + extras)
    high = [1] * (persons + things) + copies
    r = milp(c.ravel(), constraints=LinearConstraint(rows.tocsr(), low, high), integrality=numpy.ones(c.size), bounds=Bounds(0, 1), options={"mip_rel_gap": 0})
    assert r.success, r.message
    return {"persons": persons, "things": things, "extras": extras, "copies": copies, "cost": c.ravel().tolist(), "total": float(r.fun)}


rng = numpy.random.default_rng(11)
print(json.dumps({
    "scipy": scipy.__version__,
    "plain": [plain(rng, 6, 8, 0.5, 0.2), plain(rng, 20, 24, 0.5, 0), plain(rng, 30, 30, 0.5, 0.3), plain(rng, 50, 50, 0.2, 0)],
    "two": [two(rng, 5, 6, [5, 1, 1]), two(rng, 8, 9, [8, 1, 2, 1]), two(rng, 12, 12, [12, 1, 1, 1, 3]), two(rng, 10, 12, [3, 3, 3, 3])],
}))
