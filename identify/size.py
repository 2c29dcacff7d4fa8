"""Length, depth and thickness of a bait from its outline, corrected for the height at which the outline stands.

A bait lies on its side on the table, so its widest section, the silhouette, stands about half its thickness above it,
nearer to the camera than the card.  By pinhole geometry everything in that plane looks larger by 1 / (1 - h / Z), h
being the height above the card's top face and Z the camera's perpendicular height above that face; `Calibration.to_mm`
undoes this along the ray of each point, so that it holds off the axis and on a tilted view too.

Uncertainties follow JCGM 100 (GUM) 5.1: each part is the sensitivity times the standard uncertainty of one input, and
independent parts add up in quadrature.  They are

- "scale": how well the card's sides and its own size give pixels per millimetre in its plane;
- "lens distortion": what the lens may stretch here otherwise than at the card, bounded from how straight the card's
  sides look (`card.lens`);
- "camera distance": how well the camera's height is known, from the focal length (told or guessed) and the scale;
- "height of the silhouette": half the thickness, which is told, or taken from depth with its spread;
- "propping on hooks": how far hooks and hangers may hold the body off the table;
- "outline": how well the ends, or the flanks, are seen;
- "angle of view": widening of a thick body seen aslant, by its thickness and by how far it has rolled or is pitched;
- "slope" (length only): the axis is not quite level.

"scale", "lens distortion", "height of the silhouette", "propping on hooks" and "camera distance" are nearly the same
for length and depth, so proportion has none of them.
"""

from __future__ import annotations

import math

import cv2
import numpy as np

from identify.calibration import Calibration
from identify.geometry import Array, extent_across, max_feret
from identify.records import Part, Quantity, Thickness
from identify.stages import Body, Sizing

# Thickness over depth falls as a bait gets deeper for its length: slender bodies are turned or nearly round, deep ones
# are flat (common practice, no published source).  Line and spread drawn through the bodies of the demo world, the
# spread widened for makers it does not have.
ROUND_RATIO, RATIO_SLOPE, RATIO_RANGE, U_RATIO = 1.08, 1.08, (0.50, 1.0), 0.12

THICKEST = 2.0
"""A told thickness that is so many times the deepest section is a slip, and would put the bait above the camera."""

LIFT_MM, U_LIFT_MM = 0.4, 0.7
"""How far hooks and hangers hold a lying body off the table on average, and its spread: most lie flat, a few stand on
their hooks by several millimetres."""

PITCH_DEG, ROLL_DEG = 1.0, 2.5
"""Standard deviation of how far a lying bait's axis is from level, and of how far it has rolled about its axis."""

SECTION_DUAL = 1.8
"""q = p / (p - 1) of the superellipse |y/a|^p + |z/c|^p = 1 that sections follow: p = 2.25, a little fuller than an
ellipse.  Chosen so that the visible contours of the demo world's and of a second invented world's bodies come out
without bias."""


def _quantity(value: float, parts: dict[str, float]) -> Quantity:
    kept = tuple(Part(what, abs(u)) for what, u in parts.items() if u)
    return Quantity(value, math.sqrt(sum(p.u**2 for p in kept)), kept)


def thickness_from_depth(girth_mm: float, length_mm: float) -> Thickness:
    """Thickness (across the line of sight) expected of a body whose deepest section spans `girth_mm`."""
    ratio = float(np.clip(ROUND_RATIO - RATIO_SLOPE * girth_mm / length_mm, *RATIO_RANGE))
    return Thickness(ratio * girth_mm, U_RATIO * girth_mm, "depth")


def deepest_section(outline: Array) -> float:
    """Diameter of the largest circle inside a closed outline: a curved body's own depth, where the extent across its
    Feret diameter also counts the curve."""
    low = outline.min(0)
    k = 250 / float(np.ptp(outline, axis=0).max())
    raster = np.zeros(np.ceil((np.ptp(outline, axis=0)[::-1]) * k).astype(int) + 5, np.uint8)
    cv2.fillPoly(raster, [np.round(((outline - low) * k + 2) * 16).astype(np.int32)], 1, shift=4)
    return float(2 * cv2.distanceTransform(raster, cv2.DIST_L2, cv2.DIST_MASK_5).max() / k)


def _extents(points: Array) -> tuple[float, float, Array, Array]:
    start, end = max_feret(points)
    return float(np.hypot(*(end - start))), extent_across(points, start, end), start, end


def _view_tangents(calibration: Calibration, framed: Array, height: float, axis: Array) -> tuple[float, float]:
    """Tangents of the angle from the vertical at which the camera sees the body, along its axis and across it."""
    if calibration.camera is None:
        return 0.0, 0.0
    x, y, z = calibration.camera.at_mm
    slope = (np.array([x, y]) - framed.mean(0)) / (z - height)
    return float(slope @ axis), float(slope @ np.array([-axis[1], axis[0]]))


def widening(thickness_to_extent: float, tangent: float) -> float:
    """How much larger than its mid-plane section a thick body looks at an angle: the support function of a
    superellipse, over its extent.  For an ellipse this is √(1 + (T/D)² tan²θ)."""
    return float((1 + abs(thickness_to_extent * tangent) ** SECTION_DUAL) ** (1 / SECTION_DUAL))


def measure_size(body: Body, calibration: Calibration, told: Thickness | None = None) -> Sizing:
    """Length (maximum Feret diameter), depth (extent at right angles) and thickness of one body, this as `told` if it
    is.

    The visible contour of a thick body seen at an angle is wider than its mid-plane outline (`widening`); length and
    depth are divided by that.  Without a scale the sizes in millimetres are None and proportion is measured in pixels.
    """
    if not calibration.has_scale:
        return _proportion_only(body)
    height, thick_to_girth, section = 0.0, 0.7, 0.0
    for _ in range(4):  # height depends on depth, which depends on height: converges by a factor of about 20 a round
        framed = calibration.to_mm(body.outline_px, height)
        length, depth, start, end = _extents(framed)
        along, across = _view_tangents(calibration, framed, height, (end - start) / length)
        section = section or deepest_section(framed) / length  # a share that hardly depends on the height
        girth = section * length / widening(thick_to_girth, across)
        thick = told if told and told.value < THICKEST * girth else thickness_from_depth(girth, length)
        thick_to_girth = thick.value / girth
        height = thick.value / 2 + LIFT_MM - calibration.card_thickness_mm
    wide, long = widening(thick_to_girth, across), widening(thick.value / length, along)
    length, depth = length / long, depth / wide
    ppm = calibration.px_per_mm_at(body.outline_px.mean(0), height)
    z, u_z = (calibration.camera.at_mm[2], calibration.camera.u_mm[2]) if calibration.camera else (math.inf, 0.0)
    u_ends, u_flanks = (u / ppm for u in _u_extents_px(body))
    u_wide = _u_widening(wide, thick_to_girth, thick.u / girth, across, ROLL_DEG)
    u_long = _u_widening(long, thick.value / length, thick.u / length, along, PITCH_DEG)
    # an axis that slopes by φ and is seen at θ from the vertical is foreshortened to cos φ + sin φ tan θ
    u_slope = math.hypot(1 - math.cos(math.radians(PITCH_DEG)), math.sin(math.radians(PITCH_DEG)) * along)
    ends = calibration.to_px(np.array([start, end]), height)
    shared = {
        "scale": calibration.scale_u,
        # dL/L = dh / (Z - h), and the same height divided by a wrong Z
        "height of the silhouette": thick.u / 2 / (z - height),
        "propping on hooks": U_LIFT_MM / (z - height),
        "camera distance": height / (z * (z - height)) * u_z if calibration.camera else 0.0,
    }
    length_q = _quantity(
        length,
        {k: v * length for k, v in shared.items()}
        | {"lens distortion": _u_lens(calibration, ends) * length}
        | {"outline": u_ends, "angle of view": u_long * length, "slope": u_slope * length},
    )
    depth_q = _quantity(
        depth,
        {k: v * depth for k, v in shared.items()}
        | {"lens distortion": _u_lens(calibration, _across(ends, depth / length)) * depth}
        | {"outline": u_flanks, "angle of view": u_wide * depth},
    )
    proportion = depth / length
    own = {
        "outline": proportion * math.hypot(u_flanks / depth, u_ends / length),
        "angle of view": proportion * math.hypot(u_wide, u_long),
        "slope": proportion * u_slope,
    }
    return Sizing((_point(ends[0]), _point(ends[1])), length_q, depth_q, _quantity(proportion, own), thick, height, ppm)


def _u_lens(calibration: Calibration, ends_px: Array) -> float:
    return calibration.lens.u(ends_px[0], ends_px[1]) if calibration.lens is not None else 0.0


def _across(ends: Array, share: float) -> Array:
    """Two points on either side of the middle of two others, apart by `share` of their distance."""
    half = (ends[1] - ends[0]) * share / 2
    across: Array = ends.mean(0) + np.array([[-half[1], half[0]], [half[1], -half[0]]])
    return across


def _u_widening(value: float, ratio: float, u_ratio: float, tangent: float, turned_deg: float) -> float:
    """Relative uncertainty of `widening`: from the thickness, and from the body lying turned by `turned_deg` (1 sigma)
    so that the angle at which it is seen differs."""
    by_ratio = widening(ratio + u_ratio, tangent) / value - 1
    turn = math.tan(math.radians(turned_deg))
    by_turn = (widening(ratio, abs(tangent) + turn) - widening(ratio, abs(abs(tangent) - turn))) / (2 * value)
    return math.hypot(by_ratio, by_turn)


def _proportion_only(body: Body) -> Sizing:
    length, depth, start, end = _extents(body.outline_px)
    ends, flanks = _u_extents_px(body)
    proportion = depth / length
    parts = {
        "outline": proportion * math.hypot(flanks / depth, ends / length),
        # the camera's tilt is not known without a card: cos 12° foreshortens one direction by 2 %
        "tilt of the camera": 0.02 * proportion,
    }
    return Sizing((_point(start), _point(end)), None, None, _quantity(proportion, parts), None, 0.0, None)


def _u_extents_px(body: Body) -> tuple[float, float]:
    """Standard uncertainties of the outline's extents along and across its Feret diameter."""
    edges = math.sqrt(2) * body.u_edge_px
    return (
        edges if body.u_ends_px is None else body.u_ends_px,
        edges if body.u_flanks_px is None else body.u_flanks_px,
    )


def _point(p: Array) -> tuple[float, float]:
    return float(p[0]), float(p[1])
