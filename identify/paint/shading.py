"""How light falls on the flank: direction and ambient share, fitted on cells that bear one paint.

A surface of normal n that turns its face to a distant lamp is lit in proportion to n · l (Lambert).  Relative to the
card, which faces up, that is n_z + g · n_xy, g being the lamp's horizontal direction times the cotangent of its
elevation; several lamps add up to one g as long as no part turns away from them.  An even sky of share `a` gives
(1 + n_z) / 2, and the ground gives some of it back from below.  So three numbers, (g_x, g_y, a), hold the light of one
photo, and the paint of each zone is one more factor: a robust Gauss-Newton fit in log luminance finds them together.
The shadow on the ground gives g beforehand (`shadow`), the flank itself corrects it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from identify.card.medians import middle
from identify.geometry import Array

LUMINANCE = np.array([0.2126, 0.7152, 0.0722])
"""Of linear sRGB (IEC 61966-2-1)."""
GROUND_ALBEDO = 0.25
SOFT_TERMINATOR = 0.12
"""Lamps are windows, not points: light fades out over this much of n · l."""
SKY = 0.25
SPREAD = np.array([0.3, 0.2, 0.1])
"""Standard deviations of (g_x, g_y, a) about what the shadow tells (g) and about SKY."""
STARTS = (-0.5, 0.0, 0.5)
"""Of g_y, about the shadow's: the sum over outliers is not convex."""
NOISE = 0.06
"""Of log luminance within one paint: noise, brush marks and what the model leaves out."""
EFFECTIVE_CELLS = 80
"""The misfit is shared by whole parts of the flank, so many cells weigh no more than this many."""
TOO_BRIGHT, TOO_DARK = 2.5, 4.0
"""Residuals beyond these many NOISE do not count (Tukey): gloss only ever brightens, so that side is tighter."""
MAX_CELLS = 250
ROUNDS, RACE, SETTLED = 9, 3, 4e-3
"""So many steps, the last ones from the best start alone, or until the next would change nothing that matters: less
than half a percent of light."""


@dataclass(frozen=True, eq=False)
class Shading:
    """`factor` (h, w): light that falls on each cell over what falls on the card.  `log_luminance`, `u_log` (zones,):
    of each zone's paint as if it faced up.  `light`: (g_x, g_y, a)."""

    factor: Array
    log_luminance: Array
    u_log: Array
    light: tuple[float, float, float]


def fit_shading(
    rgb: NDArray[np.float32],
    normal: Array,
    up: Array,
    zone: NDArray[np.int_],
    lean: tuple[float, float],
    known: Shading | None = None,
) -> Shading:
    """Fit the light on cells of known zone.

    `zone` (h, w): 0, 1, ... for cells that bear one paint each, -1 for cells left out.  `lean`: (g_x, g_y) as the
    shadow tells it; with no cell at all the factor is that.  `known`: an earlier fit to start from.
    """
    table = _in_table_frame(normal, up)
    rows, cols = np.nonzero(zone >= 0)
    count = int(zone.max()) + 1 if len(rows) else 0
    prior = np.array([*lean, SKY])
    light, level, u = prior, np.zeros(count), np.full(count, 1.0)
    if len(rows) >= 30:
        step = -(-len(rows) // MAX_CELLS)
        pick = (rows[::step], cols[::step])
        y = np.log(np.maximum(rgb[pick] @ LUMINANCE, 1e-4))
        starts = [prior + np.array([0.0, d, 0.0]) for d in STARTS] if known is None else [np.array(known.light)]
        light, level, u = _descend(y, table[pick], zone[pick], count, prior, np.array(starts))
    gx, gy, a = (float(v) for v in light)
    return Shading(_factor(table, light), level, u, (gx, gy, a))


def _in_table_frame(normal: Array, up: Array) -> Array:
    ex = np.array([1.0, 0.0, 0.0]) - up[0] * up
    ex /= np.linalg.norm(ex)
    frame: Array = normal @ np.column_stack([ex, np.cross(up, ex), up])
    return frame


def _factor(n: Array, light: Array) -> Array:
    """Light (m..., cells...) on normals n (cells..., 3) over that on the table, for each of `light` (m..., 3)."""
    gx, gy, a = (light[..., k].reshape(light.shape[:-1] + (1,) * (n.ndim - 1)) for k in range(3))
    sky = (1 + n[..., 2]) / 2 + GROUND_ALBEDO * (1 - n[..., 2]) / 2
    facing = n[..., 2] + gx * n[..., 0] + gy * n[..., 1]
    lit = (facing + np.sqrt(facing**2 + SOFT_TERMINATOR**2)) / (1 + np.sqrt(1 + SOFT_TERMINATOR**2))
    total: Array = np.maximum(a * sky + (1 - a) * lit, 0.03)
    return total


def _descend(
    y: Array, n: Array, zone: NDArray[np.int_], count: int, centre: Array, starts: Array
) -> tuple[Array, Array, Array]:
    """The best light, levels of the zones and their uncertainties from several `starts` (m, 3): they go side by side
    until it shows which one leaves least."""
    p = starts.copy()
    member = np.broadcast_to(np.arange(count)[:, None] == zone, (len(p), count, len(zone))).astype(float)
    first = y - np.log(_factor(n, p))
    level = np.zeros((len(p), count))
    for k in np.unique(zone):
        level[:, k] = middle(first[:, zone == k].T)
    weight = EFFECTIVE_CELLS / len(y) / NOISE**2
    prior = np.concatenate([np.full(count, 1e-4), 1 / SPREAD**2])
    probes = np.concatenate([np.zeros((1, 3)), np.eye(3) * 1e-3])
    hessian = np.tile(np.diag(prior), (len(p), 1, 1))

    def leaves(p: Array, level: Array) -> Array:
        _, loss = _tukey(y - level[:, zone] - np.log(_factor(n, p)))
        cost: Array = 2 * weight * loss.sum(1) + (((p - centre) / SPREAD) ** 2).sum(1)
        return cost

    for done in range(ROUNDS):
        if done == RACE and len(p) > 1:
            best = int(np.argmin(leaves(p, level)))
            p, level, member = p[best : best + 1], level[best : best + 1], member[:1]
        log_f = np.log(_factor(n, p[:, None] + probes))
        r = y - level[:, zone] - log_f[:, 0]
        w, _ = _tukey(r)
        jac = np.concatenate([member, (log_f[:, 1:] - log_f[:, :1]) / 1e-3], axis=1)
        weighted = jac * w[:, None]
        hessian = weighted @ jac.transpose(0, 2, 1) * weight + np.diag(prior)
        gradient = (weighted @ r[:, :, None])[:, :, 0] * weight
        gradient[:, count:] += (centre - p) * prior[count:]
        step = np.linalg.solve(hessian, gradient[:, :, None])[:, :, 0]
        level, p = level + step[:, :count], p + np.clip(step[:, count:], -0.3, 0.3)
        p[:, 2] = np.clip(p[:, 2], 0.02, 0.7)
        if np.abs(step).max() < SETTLED:
            break
    k = int(np.argmin(leaves(p, level))) if len(p) > 1 else 0
    return p[k], level[k], np.sqrt(np.diag(np.linalg.inv(hessian[k])))[:count]


def _tukey(r: Array) -> tuple[Array, Array]:
    """Weights and losses of Tukey's biweight with its own width on either side."""
    width = np.where(r > 0, TOO_BRIGHT, TOO_DARK) * NOISE
    inside = np.clip(1 - (r / width) ** 2, 0, 1)
    return inside**2, width**2 / 6 * (1 - inside**3)
