"""Paint: the colours of a bait lying on its side, zone by zone, its pattern, and finishes that are hard to read."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.calibration import Calibration
from identify.colour import linear_to_lab
from identify.geometry import Array
from identify.paint.bars import find_bars
from identify.paint.colours import read_colour
from identify.paint.finish import is_leaf
from identify.paint.gloss import washed_out
from identify.paint.layers import Layers, find_layers
from identify.paint.level import light_level
from identify.paint.pattern import find_marks, read_pattern
from identify.paint.shading import Shading, fit_shading
from identify.paint.shadow import light_from_shadow
from identify.paint.straight import USUAL_THICKNESS, Straight, straighten
from identify.paint.zones import Patch, find_patches
from identify.photo import Photo
from identify.records import WARNINGS, Colour, Notice, Zone
from identify.stages import Body, Hardware, Paint, Pose, Region, Sizing, as_polygon

INSET_MM = 1.0
CLIPPED = 0.96
GRAZING = 0.3
"""Cells seen or lit more obliquely than this (cosine) are left out."""


def read(
    photo: Photo,
    region: Region,
    body: Body,
    sizing: Sizing,
    hardware: Hardware,
    pose: Pose,
    calibration: Calibration,
) -> Paint:
    """Read back and belly, zones of other paint, pattern and finish.

    Colours are CIELAB under D50 (2°).  The flank is straightened, the light on it fitted from the paint itself
    (`shading`), and each zone's typical mid tone is brought to what it would show lying flat like the card.
    """
    grid = straighten(photo, body, sizing, pose, calibration)
    grid = replace(grid, rgb=grid.rgb / np.float32(light_level(photo, region, calibration)))
    usable = _usable(grid, hardware)
    layers, shading, patches = _explain(
        grid, usable, light_from_shadow(photo, region, body, pose, _thickness_px(grid, sizing))
    )
    albedo: Array = np.maximum(grid.rgb / shading.factor[..., None], 0.0)
    lab = linear_to_lab(albedo)
    taken = np.zeros_like(usable)
    for patch in patches:
        taken |= _grow(patch.cells, 5)
    free = usable & ~taken
    marks = find_marks(lab, free, layers.profile, grid.s, grid.u, _cell_mm(grid))
    bars = find_bars(lab, free, layers.profile, grid.s, grid.u, _cell_mm(grid)[1])
    marked = marks.label > 0 if bars is None else (marks.label > 0) | bars.cells
    clean = free & ~_grow(marked, 3)
    clean &= ~washed_out(grid.rgb, _zone_of(clean, layers))
    pattern = read_pattern(marks, bars, albedo, lab, free & (grid.s < 0.96), layers, grid.u, _depth_px(grid))
    smooth = pattern.kind not in ("dots", "bars")  # their rims are rough too
    leaf = smooth and is_leaf(lab, free & ~_grow(marks.label > 0, 7), layers.profile, grid.s, grid.u)
    hard = ("leaf",) if leaf else ()
    if hard:  # it lies over the border of back and belly
        pattern = replace(pattern, certainty=min(pattern.certainty, 0.5))
    calibrated = calibration.colour_from_card
    u_light = _light_uncertainty(calibration)

    def colour_of(cells: NDArray[np.bool_]) -> Colour | None:
        return read_colour(grid.rgb, shading.factor, cells, u_light, calibrated, bool(hard))

    middle = (grid.s > 0.12) & (grid.s < 0.94)
    back = colour_of(clean & layers.back[:, None] & middle)
    belly = colour_of(clean & layers.belly[:, None] & middle)
    zones = []
    for patch in patches:
        colour = colour_of(usable & _shrink(patch.cells, 3))
        if colour is not None:
            zones.append(Zone(patch.kind, as_polygon(_outline(patch.cells, grid.px)), colour))
    return Paint(back, belly, tuple(zones), pattern, hard, _warnings(calibrated, hard, back, belly, grid, usable))


def _usable(grid: Straight, hardware: Hardware) -> NDArray[np.bool_]:
    """Cells away from the outline, not clipped, and not under an eye, a ring or a hook's middle."""
    depth_mm = np.ptp(grid.px[:, grid.px.shape[1] // 2], axis=0)
    inset = min(INSET_MM, 0.07 * float(np.hypot(*depth_mm)) / grid.px_per_mm)
    ok = (grid.edge_mm > inset) & (grid.level < CLIPPED) & (grid.normal[..., 2] > GRAZING)
    spots = [(eye.at_px, 0.62 * eye.diameter_px) for eye in hardware.eyes if eye.probability > 0.3]
    spots += [(ring.at_px, 0.7 * ring.outer_diameter_px) for ring in hardware.rings if ring.probability > 0.3]
    for at, radius in spots:
        ok &= (grid.px[..., 0] - at[0]) ** 2 + (grid.px[..., 1] - at[1]) ** 2 > radius**2
    return ok


def _explain(
    grid: Straight, usable: NDArray[np.bool_], lean: tuple[float, float]
) -> tuple[Layers, Shading, tuple[Patch, ...]]:
    """Layers, light and zones found in turn: each helps the next to be found better."""
    lab = linear_to_lab(np.maximum(grid.rgb, 0.0))
    layers = find_layers(lab, usable, grid.s, grid.u, 0.4)
    inner = (grid.s > 0.22) & (grid.s < 0.90)
    shading = _fit(grid, usable & inner, layers, lean, None)
    patches: tuple[Patch, ...] = ()
    for _ in range(1):
        lab = linear_to_lab(np.maximum(grid.rgb / shading.factor[..., None], 0.0))
        layers = find_layers(lab, usable, grid.s, grid.u, 0.6)
        patches = find_patches(lab, usable, layers, grid.s, grid.u)
        taken = np.zeros_like(usable)
        for patch in patches:
            taken |= _grow(patch.cells, 5)
        shading = _fit(grid, usable & ~taken & ((grid.s > 0.06) & (grid.s < 0.96)), layers, lean, shading)
    return layers, shading, patches


def _fit(
    grid: Straight, usable: NDArray[np.bool_], layers: Layers, lean: tuple[float, float], known: Shading | None
) -> Shading:
    zone = _zone_of(usable, layers)
    zone[washed_out(grid.rgb, zone)] = -1
    for k in (1, 0):
        if 0 < (zone == k).sum() < 30:
            zone[zone == k] = -1
    if not (zone == 0).any():
        zone[zone == 1] = 0
    return fit_shading(grid.rgb, grid.normal, grid.up, zone, lean, known)


def _zone_of(usable: NDArray[np.bool_], layers: Layers) -> NDArray[np.int_]:
    """0 for the back's cells, 1 for the belly's, -1 for all others."""
    rows = np.where(layers.back, 0, np.where(layers.belly, 1, -1))
    zone: NDArray[np.int_] = np.where(usable, rows[:, None], -1)
    return zone


def _thickness_px(grid: Straight, sizing: Sizing) -> float:
    if sizing.thickness_mm is not None:
        return sizing.thickness_mm.value * grid.px_per_mm
    return USUAL_THICKNESS * _depth_px(grid)


def _depth_px(grid: Straight) -> float:
    return float(np.linalg.norm(grid.px[-1] - grid.px[0], axis=-1).max())


def _cell_mm(grid: Straight) -> tuple[Array, float]:
    """Height of the cells at each station, and their length, in mm (with no scale as if the bait were 60 mm long)."""
    across = np.linalg.norm(grid.px[-1] - grid.px[0], axis=-1) / (grid.px.shape[0] - 1) / grid.px_per_mm
    row = grid.px[grid.px.shape[0] // 2]
    return across, float(np.hypot(*(row[-1] - row[0])) / (len(row) - 1) / grid.px_per_mm)


def _light_uncertainty(calibration: Calibration) -> float:
    """Relative: light on the flank is known to about a seventh, and the card's own exposure comes on top."""
    return float(np.hypot(0.15, calibration.u_exposure)) if calibration.colour_from_card else 0.5


def _grow(cells: NDArray[np.bool_], size: int) -> NDArray[np.bool_]:
    grown: NDArray[np.bool_] = cv2.dilate(cells.astype(np.uint8), np.ones((size, size), np.uint8)) > 0
    return grown


def _shrink(cells: NDArray[np.bool_], size: int) -> NDArray[np.bool_]:
    small: NDArray[np.bool_] = cv2.erode(cells.astype(np.uint8), np.ones((size, size), np.uint8)) > 0
    return small if small.sum() >= 40 else cells


def _outline(cells: NDArray[np.bool_], px: Array) -> Array:
    """Outline of a set of cells in pixels of the photo."""
    contours, _ = cv2.findContours(cells.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    line = max(contours, key=cv2.contourArea)[:, 0]
    line = line[:: max(1, len(line) // 60)]
    outline: Array = px[line[:, 1], line[:, 0]]
    return outline


def _warnings(
    calibrated: bool,
    hard: tuple[str, ...],
    back: Colour | None,
    belly: Colour | None,
    grid: Straight,
    usable: NDArray[np.bool_],
) -> tuple[Notice, ...]:
    codes = []
    if not calibrated:
        codes.append("colour-uncorrected")
    clipped = float(np.mean(grid.level[grid.edge_mm > INSET_MM] >= CLIPPED)) if (grid.edge_mm > INSET_MM).any() else 1.0
    shares = [c.share for c in (back, belly) if c is not None]
    if back is None or belly is None or clipped > 0.25 or min(shares) < 0.4 or usable.mean() < 0.2:
        codes.append("colour-doubtful")
    if hard:
        codes.append("hard-to-read")
    return tuple(Notice(code, WARNINGS[code]) for code in codes)
