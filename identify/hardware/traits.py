"""What a place at the body's edge looks like, as numbers for the classifier: edges, contrasts and colours by sector
(crown, sides, root), all in units of the ground's own variation or in proportion, so that they mean the same in any
light and on any ground."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from identify.hardware.polar import Whitened, across, maps, sample, sample_at, sure
from identify.hardware.rings import FINE_ANGLES, FINE_RADII, FINE_STEP, Places
from identify.hardware.view import Floats, View

_FROM_CROWN = np.minimum(FINE_ANGLES, 360 - FINE_ANGLES)
_SECTORS = {
    "crown": _FROM_CROWN <= 60,
    "side": (_FROM_CROWN > 60) & (_FROM_CROWN <= 120),
    "root": _FROM_CROWN > 120,
}
_SPOKE_RADII = np.arange(0.3, 3.4, 0.3)

Mask = NDArray[np.bool_]


def traits(view: View, white: Whitened, places: Places) -> tuple[Array, tuple[str, ...]]:
    """Numbers (n, k) for n places, and their k names."""
    n = len(places)
    rows = np.arange(n)
    radius, wire = places.radius, places.wire
    hole_radius = np.maximum(radius - wire - 0.25, 0)
    around_each = maps(places.centre, places.outward, FINE_ANGLES, FINE_RADII)
    patches = {
        key: sample_at(picture, around_each)
        for key, picture in (
            ("image", white.image),
            ("ground", white.ground),
            ("depth", view.depth),
            ("rgb", view.image),
        )
    }

    def at(key: str, radii: Array) -> Floats:
        patch = patches[key]
        x = np.clip(radii / FINE_STEP, 0, patch.shape[2] - 1.001)
        i = x.astype(int)
        f = (x - i).reshape(-1, *([1] * (patch.ndim - 2))).astype(np.float32)
        return np.asarray(patch[rows, :, i] * (1 - f) + patch[rows, :, i + 1] * f)

    names: list[str] = []
    columns: list[Array] = []

    def add(name: str, value: Array | Floats) -> None:
        names.append(name)
        columns.append(np.asarray(value, float))

    def by_sector(name: str, value: Floats, seen: Mask) -> None:
        for sector, part in _SECTORS.items():
            add(f"{name} {sector}", _mean(value[:, part], seen[:, part]))

    body = at("image", radius - wire / 2)
    out = (at("image", radius + 0.3) + at("image", radius + 0.5)) / 2
    far = (at("image", radius + 0.7) + at("image", radius + 0.95)) / 2
    hole = at("image", hole_radius)
    middle = ((at("image", 0 * radius) + at("image", 0 * radius + 0.2)) / 2).mean(1)
    seen, seen_out, seen_in = (
        at("depth", radius - wire / 2) < 0,
        at("depth", radius + 0.4) < 0,
        at("depth", hole_radius) < 0,
    )
    beyond = _median(far, seen_out, far.mean(1))
    inside = _median(hole, seen_in, middle)

    by_sector("inner edge", sure(across(at("image", radius - wire - 0.15), at("image", radius - wire + 0.15))), seen)
    by_sector("outer edge", sure(across(at("image", radius + 0.15), at("image", radius - 0.15))), seen_out)
    around, within = sure(across(body, out)), sure(across(body, hole))
    by_sector("wire against outside", around, seen_out)
    by_sector("wire against hole", within, seen_in)
    both, both_seen = np.sqrt(around * within), seen & seen_out & seen_in
    for q in (0.1, 0.25, 0.5):
        add(f"wire quantile {q}", _quantile(both, both_seen, q))
    add("hole like beyond", sure(across(inside, beyond), 6))
    add("middle like beyond", sure(across(middle, beyond), 6))
    add("hole uneven", _mean(sure(across(hole, inside[:, None])), seen_in))
    by_sector("outside uneven", sure(across(out, beyond[:, None])), seen_out)
    by_sector("beyond uneven", sure(across(far, beyond[:, None])), seen_out)
    add("hole like ground", _mean(sure(across(hole, at("ground", hole_radius)), 8), seen_in))
    add("wire like ground", _mean(sure(across(body, at("ground", radius - wire / 2)), 8), seen))
    add("beyond like ground", _mean(sure(across(far, at("ground", radius + 0.8)), 8), seen_out))

    # light: a shadow is darker than the ground, in all channels alike, and has no highlight
    rgb, rgb_out, rgb_in = (np.log(at("rgb", r) + 0.05) for r in (radius - wire / 2, radius + 0.6, hole_radius))
    reference = _median(rgb_out, seen_out, rgb_out.mean(1))
    ratio = rgb - reference[:, None]
    light = ratio.mean(2)
    add("light", _mean(light, seen))
    add("light most", np.where(seen, light, -9).max(1).clip(-1, 2))
    add("light least", np.where(seen, light, 9).min(1).clip(-2, 1))
    add("light spread", np.sqrt(_mean((light - _mean(light, seen)[:, None]) ** 2, seen)))
    add("light of hole", (_median(rgb_in, seen_in, rgb_in.mean(1)) - reference).mean(1))
    add("colour shift", _mean(ratio.max(2) - ratio.min(2), seen))
    add("wire changes", _mean(sure(across(body, np.roll(body, 1, 1))), seen))
    add("outside changes", _mean(sure(across(out, np.roll(out, 1, 1))), seen_out))

    spokes = _spokes(white, places)
    order = np.sort(spokes, 1)
    add("spoke", order[:, -1])
    add("spokes", order[:, -4:].mean(1))
    add("no spoke", order[:, :12].mean(1))

    away = -at("depth", 0 * radius)[:, 0]
    add("radius", radius)
    add("radius squared", (radius - 1.7) ** 2)
    add("wire", wire)
    add("away", away)
    add("away in radii", away / radius)
    add("away off", (away / radius - 0.7) ** 2)
    add("share seen", seen.mean(1))
    add("template", places.template)
    add("edges", places.edges)
    for name, score in (("template", places.template), ("edges", places.edges)):
        add(f"{name} over fourth", score - np.sort(score)[-min(4, n)])
    return np.stack(columns, 1), tuple(names)


def _spokes(white: Whitened, places: Places) -> Array:
    """How much a thin line runs outwards from the ring at each angle: a hook's shank."""
    angles = np.arange(24) * 15.0
    total = np.zeros((len(places), 24))
    for radius in np.unique(np.round(places.radius, 1)):
        which = np.abs(places.radius - radius) < 0.051
        patch = sample(white.image, places.centre[which], places.outward[which], angles, radius + _SPOKE_RADII)
        left, right = np.roll(patch, 2, 1), np.roll(patch, -2, 1)
        line = np.minimum(sure(across(patch, left)), sure(across(patch, right)))
        total[which] = line.mean(2)
    return total


def _mean(value: Array | Floats, seen: Mask) -> Array:
    return np.asarray((value * seen).sum(1) / np.maximum(seen.sum(1), 1), float)


def _median(value: Floats, seen: Mask, otherwise: Floats) -> Floats:
    """Median over the angles seen, per channel: (n, channels)."""
    ordered = np.sort(np.where(seen[..., None], value, np.inf), 1)
    count = seen.sum(1)
    middle = ordered[np.arange(len(value)), np.maximum(count - 1, 0) // 2]
    return np.asarray(np.where(count[:, None] > 0, middle, otherwise), np.float32)


def _quantile(value: Floats, seen: Mask, q: float) -> Array:
    ordered = np.sort(np.where(seen, value, np.inf), 1)
    count = seen.sum(1)
    picked = ordered[np.arange(len(value)), np.clip((count * q).astype(int), 0, value.shape[1] - 1)]
    return np.asarray(np.where(count > 0, picked, 0.0), float)
