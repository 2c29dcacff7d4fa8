"""Reads the known truth of a photo set (`truth.json`), and makes ideal stage values from it, so that each stage can be
judged and tuned on its own."""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from identify.calibration import Calibration, Camera
from identify.geometry import Array
from identify.records import Card, Scale
from identify.stages import Body, Region, as_polygon

CARD_MM = (85.60, 53.98)
CARD_THICKNESS_MM = 0.8
MARGIN_MM = 14.0


@dataclass(frozen=True, eq=False)
class PhotoTruth:
    """One photo of a set with its truth (a dict as in truth.json)."""

    folder: Path
    truth: dict[str, Any]

    @property
    def path(self) -> Path:
        return self.folder / self.truth["file"]

    @property
    def subset(self) -> str:
        return str(self.truth["subset"])

    @property
    def split(self) -> str:
        return str(self.truth["split"])

    @property
    def baits(self) -> list[dict[str, Any]]:
        return list(self.truth["baits"])


@lru_cache(maxsize=4)
def _document(folder: Path) -> dict[str, Any]:
    return json.loads((folder / "truth.json").read_text("utf-8"))  # type: ignore[no-any-return]


def photos(folder: Path, subsets: tuple[str, ...] = (), split: str | None = None) -> list[PhotoTruth]:
    """The photos of a set, of some subsets and one split ("tune" or "report")."""
    chosen = [p for p in _document(Path(folder))["photos"] if not subsets or p["subset"] in subsets]
    return [PhotoTruth(Path(folder), p) for p in chosen if split is None or p["split"] == split]


def world(folder: Path) -> dict[str, Any]:
    """The set's models, sizes, ties and colourways."""
    return dict(_document(Path(folder))["world"])


def ideal_calibration(photo: PhotoTruth) -> Calibration:
    """The calibration that a perfect reading of the card would give; without a card one with no scale."""
    t = photo.truth
    corners = t["card_corners_px"]
    if not corners:
        card = Card(False, None, None, None, None, None, None, "there is no card in this photo")
        return Calibration(card, Scale("none", None, None), None, None, 0.0, 0.8, (1.0, 1.0, 1.0), 1.0, False, 1.0)
    w, h = CARD_MM
    # y down as in the picture: the truth's corner order is (-,+) (+,+) (+,-) (-,-) with y up
    plane = np.array([[-w, -h], [w, -h], [w, h], [-w, h]], np.float32) / 2
    to_plane = cv2.getPerspectiveTransform(np.array(corners, np.float32), plane)
    # the camera in the card frame: the card's own axes in the table frame, solved from the truth's camera
    cam = t["camera"]
    c, fwd, right, up = (np.array(cam[k], float) for k in ("origin_mm", "forward", "right", "up"))
    size = np.array(t["size_px"], float)

    def ray_to_top(px: Array) -> Array:
        d = fwd * t["focal_px"] + right * (px[0] + 0.5 - size[0] / 2) - up * (px[1] + 0.5 - size[1] / 2)
        return c + d * ((CARD_THICKNESS_MM - c[2]) / d[2])

    table = np.array([ray_to_top(np.array(q)) for q in corners])
    centre = table.mean(0)
    ex = table[1] - table[0]
    ey = table[3] - table[0]
    ex, ey = ex / np.linalg.norm(ex), ey / np.linalg.norm(ey)
    rel = c - centre
    at = (float(rel @ ex), float(rel @ ey), float(c[2] - CARD_THICKNESS_MM))
    matrix = tuple(tuple(float(v) for v in row) for row in to_plane)
    lin = t.get("card_linear_srgb") or [0.18, 0.18, 0.18]
    gains = (lin[1] / lin[0], 1.0, lin[1] / lin[2])
    exposure = 0.18 / lin[1]
    card = Card(True, as_polygon(corners), None, float(t["tilt_deg"]), at[2], float(-np.log2(exposure)), gains, None)
    cal = Calibration(
        card, Scale("card", None, None), matrix, Camera(at, (1.0, 1.0, 1.0)), 0.0003, CARD_THICKNESS_MM, gains,
        exposure, True, 0.02,
    )  # fmt: skip
    ppm = cal.px_per_mm_at(np.mean(corners, 0))
    return Calibration(**{**cal.__dict__, "scale": Scale("card", ppm, ppm * 0.0003)})


def ideal_body(bait: dict[str, Any]) -> Body:
    """The visible contour of the body, clockwise as seen in the picture."""
    pts = np.array(bait["apparent_polygon_px"], float)
    x, y = pts.T
    if (x * np.roll(y, -1) - np.roll(x, -1) * y).sum() < 0:  # y points down, so clockwise as seen is positive
        pts = pts[::-1]
    return Body(pts, np.ones(len(pts), bool), 0.3)


def ideal_region(photo: PhotoTruth, bait: dict[str, Any], px_per_mm: float, linear: Any = None) -> Region:
    """Window, mask (body, hooks and rings drawn from the truth) and core of one bait; the ground is a smooth fill-in
    from around the thing (no ground truth exists), good enough to develop later stages on."""
    t = photo.truth
    w, h = t["size_px"]
    pts = [np.array(bait["apparent_polygon_px"], float)]
    pts += [np.array(line, float) for hook in bait["hooks_px"] for line in hook]
    if bait["ties_px"]:
        pts.append(np.array(bait["ties_px"], float))
    every = np.concatenate(pts)
    m = MARGIN_MM * px_per_mm
    x0, y0 = np.maximum(np.floor(every.min(0) - m), 0).astype(int)
    x1, y1 = np.minimum(np.ceil(every.max(0) + m), [w, h]).astype(int)
    core = np.zeros((y1 - y0, x1 - x0), np.uint8)
    shift = np.array([x0, y0])
    cv2.fillPoly(core, [np.round((pts[0] - shift) * 16).astype(np.int32)], 1, shift=4)
    mask = core.copy()
    for hook in bait["hooks_px"]:
        for line in hook:
            q = np.round(np.array(line) - shift).astype(np.int32)
            cv2.polylines(mask, [q], False, 1, max(1, round(1.1 * px_per_mm)))
    for centre, r in zip(bait["ties_px"], bait["tie_radius_px"], strict=False):
        cv2.circle(mask, tuple(int(v) for v in np.round(np.array(centre) - shift)), int(r), 1, max(1, int(px_per_mm)))
    ground = np.zeros((*core.shape, 3), np.float32)
    if linear is not None:
        part = linear[y0:y1, x0:x1]
        weight = (cv2.dilate(mask, np.ones((3, 3)), iterations=max(2, int(2 * px_per_mm))) == 0).astype(np.float32)
        s = max(3.0, 4 * px_per_mm)
        ground = cv2.GaussianBlur(part * weight[..., None], (0, 0), s) / np.maximum(
            cv2.GaussianBlur(weight, (0, 0), s), 1e-4
        )[..., None]  # fmt: skip
    return Region((int(x0), int(y0), int(x1), int(y1)), 1, mask > 0, core > 0, ground, False)
