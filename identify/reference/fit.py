"""A dense closed outline as a few cubic Bézier curves (after P. J. Schneider, "An Algorithm for Automatically Fitting
Digitized Curves", Graphics Gems, 1990): least squares between fixed tangents, split where the fit is worst."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from identify.geometry import Array

CORNER_DEG = 35.0
"""A turn between neighbouring stretches sharper than this is kept as a corner."""
REACH = 3
"""Points on each side that a tangent is taken from."""
ROUNDS = 40


def fit_closed(points: Array, tolerance: float, rounds: int = ROUNDS) -> Array:
    """Cubic curves (k, 4, 2) along a closed polygon (n, 2), joined end to end, none further from its points than
    `tolerance` (same unit).  The first curve begins at the first point.  `rounds`: how often a curve is tried again
    before it is split; fewer give more curves sooner."""
    p = np.asarray(points, float)
    n = len(p)
    ahead = _unit(np.roll(p, -REACH, 0) - p)
    behind = _unit(p - np.roll(p, REACH, 0))
    turn = np.degrees(np.arccos(np.clip((ahead * behind).sum(1), -1, 1)))
    local = np.stack([np.roll(turn, k) for k in range(-REACH, REACH + 1)]).max(0)
    corners = [int(i) for i in np.flatnonzero((turn > CORNER_DEG) & (turn == local)) if i]
    smooth = _unit(np.roll(p, -1, 0) - np.roll(p, 1, 0))
    knots = [0, *corners, n]
    sharp = {0, n, *corners} if turn[0] > CORNER_DEG else set(corners)
    out: list[Array] = []
    ring = np.vstack([p, p[:1]])
    for a, b in pairwise(knots):
        leave = ahead[a % n] if a in sharp else smooth[a % n]
        arrive = behind[b % n] if b in sharp else smooth[b % n]
        _fit(ring[a : b + 1], leave, -arrive, tolerance, out, rounds)
    return np.array(out)


def _unit(v: Array) -> Array:
    out: Array = v / np.maximum(np.linalg.norm(v, axis=-1, keepdims=True), 1e-12)
    return out


def curve_at(c: Array, t: Array) -> Array:
    """Points (m, 2) of one cubic (4, 2) at parameters t (m,)."""
    u = 1 - t
    uu, tt = u * u, t * t
    out: Array = np.array([uu * u, 3 * uu * t, 3 * u * tt, tt * t]).T @ c
    return out


def _fit(p: Array, leave: Array, arrive: Array, tolerance: float, out: list[Array], rounds: int) -> None:
    """Append curves for an open run of points; `leave` and `arrive` are unit tangents pointing into the run."""
    if len(p) == 2:
        third = np.hypot(*(p[1] - p[0])) / 3
        out.append(np.array([p[0], p[0] + leave * third, p[1] + arrive * third, p[1]]))
        return
    s = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(p, axis=0).T))])
    t = s / s[-1]
    for _ in range(rounds):
        curve = _least_squares(p, t, leave, arrive)
        miss = np.hypot(*(curve_at(curve, t) - p).T)
        if miss.max() <= tolerance:
            out.append(curve)
            return
        t = _nearer(curve, p, t)
    split = min(max(int(np.argmax(miss)), 1), len(p) - 2)
    tangent = _unit(p[split + 1] - p[split - 1])
    _fit(p[: split + 1], leave, -tangent, tolerance, out, rounds)
    _fit(p[split:], tangent, arrive, tolerance, out, rounds)


def _least_squares(p: Array, t: Array, leave: Array, arrive: Array) -> Array:
    u = 1 - t
    b1, b2 = 3 * u * u * t, 3 * u * t * t
    rest = p - np.outer(u**3 + b1, p[0]) - np.outer(b2 + t**3, p[-1])
    # the two unknowns' normal equations
    here, there, across = float(b1 @ b1), float(b2 @ b2), float(b1 @ b2) * float(leave @ arrive)
    at_start, at_end = float(b1 @ (rest @ leave)), float(b2 @ (rest @ arrive))
    reach = np.zeros(2)
    if (det := here * there - across**2) > 1e-12 * here * there:
        reach = np.array([there * at_start - across * at_end, here * at_end - across * at_start]) / det
    span = float(np.hypot(*(p[-1] - p[0])))
    if reach.min() < 1e-3 * span:
        reach = np.full(2, span / 3)
    return np.array([p[0], p[0] + reach[0] * leave, p[-1] + reach[1] * arrive, p[-1]])


def _nearer(c: Array, p: Array, t: Array) -> Array:
    """Parameters moved by one Newton step towards the curve's nearest points."""
    u = 1 - t
    d1 = np.array([u * u, 2 * u * t, t * t]).T @ (3 * np.diff(c, axis=0))
    d2 = np.array([u, t]).T @ (6 * np.diff(c, 2, axis=0))
    off = curve_at(c, t) - p
    slope = (d1 * d1).sum(1) + (off * d2).sum(1)
    step = np.divide((off * d1).sum(1), slope, out=np.zeros_like(t), where=np.abs(slope) > 1e-12)
    moved: Array = np.clip(t - step, 0, 1)
    return moved
