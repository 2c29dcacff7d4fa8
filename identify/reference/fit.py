"""A dense closed outline as a few cubic Bézier curves (after P. J. Schneider, "An Algorithm for Automatically Fitting
Digitized Curves", Graphics Gems, 1990): least squares between fixed tangents, split where the fit is worst.  All
stretches of an outline are fitted at once: each step is one call for them all."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from identify.geometry import Array

Complex = npt.NDArray[np.complex128]
"""Points in the plane, x + iy: lengths and angles between them are one call then."""
Index = npt.NDArray[np.intp]
CORNER_DEG = 35.0
"""A turn between neighbouring stretches sharper than this is kept as a corner."""
REACH = 3
"""Points on each side that a tangent is taken from."""
ROUNDS = 12
"""So often a curve is tried before it is split."""
HOPE = 2.0
"""A curve that misses by more than so many tolerances is split at once: trying again would bring it little nearer."""


def fit_closed(points: Array, tolerance: float) -> Array:
    """Cubic curves (k, 4, 2) along a closed polygon (n, 2), joined end to end, none further from its points than
    `tolerance` (same unit).  The first curve begins at the first point."""
    p = np.asarray(points, float) @ (1, 1j)
    leave, arrive, knots = _tangents(p)
    ring = np.append(p, p[0])
    ends = np.array([knots[:-1], knots[1:]])
    done: dict[int, Complex] = {}
    while ends.size:
        curves, miss, worst = _fitted(ring, ends, leave[ends[0]], arrive[ends[1]], tolerance)
        good = miss <= tolerance
        done.update(zip(ends[0, good].tolist(), curves[:, good].T, strict=True))
        ends, at = ends[:, ~good], worst[~good]
        leave[at] = _unit(ring[at + 1] - ring[at - 1])  # a place where a curve is split is smooth
        arrive[at] = -leave[at]
        ends = np.array([[ends[0], at], [at, ends[1]]]).reshape(2, -1)
    found = np.array([done[first] for first in sorted(done)])
    return np.stack([found.real, found.imag], -1)


def _tangents(p: Complex) -> tuple[Complex, Complex, Index]:
    """Unit tangents (n + 1,) out of each point of a closed polygon (n,) and back into the stretch that arrives there,
    the first point's again at the end; and the places of its first point, its corners, and its end."""
    ahead, behind = _unit(np.roll(p, -REACH) - p), _unit(p - np.roll(p, REACH))
    turn = np.degrees(np.abs(np.angle(ahead * behind.conj())))
    local = np.stack([np.roll(turn, k) for k in range(-REACH, REACH + 1)]).max(0)
    sharp = (turn > CORNER_DEG) & (turn == local)
    sharp[0] = turn[0] > CORNER_DEG
    smooth = _unit(np.roll(p, -1) - np.roll(p, 1))
    leave, arrive = np.where(sharp, ahead, smooth), -np.where(sharp, behind, smooth)
    return np.append(leave, leave[0]), np.append(arrive, arrive[0]), np.unique([0, *np.flatnonzero(sharp), len(p)])


def _unit(v: Complex) -> Complex:
    out: Complex = v / np.maximum(np.abs(v), 1e-12)
    return out


def curve_at(c: Complex, t: Array) -> Complex:
    """Points (m,) at parameters t (m,) of curves (4, m), or of one (4,)."""
    u = 1 - t
    out: Complex = u * u * (u * c[0] + 3 * t * c[1]) + t * t * (3 * u * c[2] + t * c[3])
    return out


def _fitted(
    ring: Complex, ends: Index, leave: Complex, arrive: Complex, tolerance: float
) -> tuple[Complex, Array, Index]:
    """Curves (4, k) for stretches of a ring of points, from and to the points `ends` (2, k), with the unit tangents
    (k,) into each; by how much each misses (k,), and the point where it does so most (k,)."""
    along = np.concatenate([[0.0], np.cumsum(np.abs(np.diff(ring)))])
    count = ends[1] - ends[0] + 1
    at = np.arange(count.sum()) + np.repeat(ends[0] - np.cumsum(count) + count, count)
    t = (along[at] - np.repeat(along[ends[0]], count)) / np.repeat(along[ends[1]] - along[ends[0]], count)
    curves, miss, worst = np.empty((4, len(count)), complex), np.empty(len(count)), np.empty(len(count), np.intp)
    left = np.arange(len(count))
    for _ in range(ROUNDS):
        start = np.cumsum(count) - count
        of = np.repeat(np.arange(len(left)), count)
        p = ring[at]
        found = _least_squares(p, t, start, of, leave[left], arrive[left])
        each = found[:, of]
        off = curve_at(each, t) - p
        far = np.abs(off)
        most = np.maximum.reduceat(far, start)
        furthest = np.flatnonzero(far == most[of])
        curves[:, left], miss[left] = found, most
        worst[left] = at[furthest[np.searchsorted(of[furthest], np.arange(len(left)))]]
        again = (most > tolerance) & (most < HOPE * tolerance)
        if not again.any():
            break
        t = _nearer(each, off, t)
        kept = again[of]
        left, count, at, t = left[again], count[again], at[kept], t[kept]
    return curves, miss, worst


def _least_squares(p: Complex, t: Array, start: Index, of: Index, leave: Complex, arrive: Complex) -> Complex:
    """The curves (4, k) nearest to the points (m,) of k stretches at parameters t (m,).  `start` (k,): where each
    begins among the points, `of` (m,): the stretch of each."""
    first, last = p[start], p[np.append(start[1:], len(p)) - 1]
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    rest = p - (u**3 + b1) * first[of] - (b2 + t**3) * last[of]
    # the two unknowns' normal equations
    sums = [b1 * b1, b2 * b2, b1 * b2, b1 * (rest * leave.conj()[of]).real, b2 * (rest * arrive.conj()[of]).real]
    here, there, across, at_start, at_end = np.add.reduceat(sums, start, axis=1)
    across = across * (leave * arrive.conj()).real
    det = here * there - across**2
    reach = np.array([there * at_start - across * at_end, here * at_end - across * at_start])
    reach /= np.where(det > 1e-12 * here * there, det, np.inf)
    span = np.abs(last - first)
    reach = np.where(reach.min(0) < 1e-3 * span, span / 3, reach)
    return np.array([first, first + reach[0] * leave, last + reach[1] * arrive, last])


def _nearer(c: Complex, off: Complex, t: Array) -> Array:
    """Parameters (m,) moved by one Newton step towards the nearest points of curves (4, m), which lie `off` (m,) by
    now."""
    u = 1 - t
    leg = np.diff(c, axis=0)
    bend = np.diff(leg, axis=0)
    d1 = 3 * (u * u * leg[0] + 2 * u * t * leg[1] + t * t * leg[2])
    d2 = 6 * (u * bend[0] + t * bend[1])
    slope = np.abs(d1) ** 2 + (off * d2.conj()).real
    step = np.divide((off * d1.conj()).real, slope, out=np.zeros_like(t), where=np.abs(slope) > 1e-12)
    moved: Array = np.clip(t - step, 0, 1)
    return moved
