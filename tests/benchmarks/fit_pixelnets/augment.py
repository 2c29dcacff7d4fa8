"""Pictures to train on, changed anew each time, in batches on the GPU: what a network must not depend on is varied.

Pictures are (n, 3, h, w) in linear light of about 0 to 1 until they are developed.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from numpy.typing import NDArray
from torch import Tensor
from torch.nn import functional

from identify.geometry import Array
from tests.benchmarks.fit_pixelnets.labels import FINER, ON_BODY, VOID, Kind
from tests.benchmarks.fit_pixelnets.looks import Look

GAMMA = 2.2
"""Between code values and linear light, near enough to sRGB's curve."""
LIGHT = 0.5
"""The exponent of linear light that networks see (`pixelnet`), on average."""
FAINT = 0.02
POINT_MM = 0.32
"""Standard deviation of the peak at a point."""
MOST_POINTS = 8
_NOWHERE = -1e4


@dataclass(frozen=True, eq=False)
class Example:
    """A picture (h, w, 3) RGB and its labels (2 h, 2 w) on the GPU, its scale, places of bodies (n, 2) as (y, x), and
    points by name as (x, y)."""

    picture: Tensor
    label: Tensor
    px_per_mm: float
    bodies: Array
    points: dict[str, list[list[float]]]


@dataclass(frozen=True, eq=False)
class Batch:
    """What a network sees (n, 3, h, w), what it should say (n, planes, h, w), and where that counts (n, 1, h, w)."""

    seen: Tensor
    true: Tensor
    counts: Tensor


def read(folders: Iterable[Path], look: Look, device: str) -> list[Example]:
    """All pictures of a look in some folders."""
    paths = sorted(path for folder in folders for path in folder.glob(f"{look.name}-*.jpg"))

    def one(path: Path) -> Example:
        picture = np.asarray(cv2.imread(str(path), cv2.IMREAD_COLOR), np.uint8)
        label = np.asarray(cv2.imread(str(path.with_suffix(".png")), cv2.IMREAD_UNCHANGED), np.uint8)
        facts: dict[str, Any] = json.loads(path.with_suffix(".json").read_text("utf-8"))
        step = 4  # pixels between places
        bodies: Array = np.argwhere(label[:: FINER * step, :: FINER * step] // ON_BODY == 1).astype(float) * step
        rgb, label_ = (torch.from_numpy(a.copy()).to(device) for a in (picture[..., ::-1], label))
        return Example(rgb, label_, facts.pop("px_per_mm"), bodies, facts)

    with ThreadPoolExecutor(12) as pool:
        return list(pool.map(one, paths))


class Sampler:
    """Draws batches of one look from some pictures.  `masks`: how many shapes of things and shadows it draws from."""

    def __init__(self, examples: list[Example], look: Look, device: str, rng: np.random.Generator, masks: int) -> None:
        self.examples, self.look, self.device, self.rng = examples, look, device, rng
        self.things = self._on_device([thing_mask(look, rng) for _ in range(masks)])
        self.shadows = self._on_device([shadow_mask(look, rng) for _ in range(masks // 2)])

    def batch(self, n: int) -> Batch:
        """n pictures, each from any of the examples."""
        cuts = [self._cut(self.examples[k]) for k in self.rng.integers(0, len(self.examples), n)]
        coded, labels, beyond = (torch.cat([cut[i] for cut in cuts]) for i in range(3))
        labels = labels.round().long()
        true = self._truth(labels, np.stack([cut[3] for cut in cuts]))
        light = (coded / 255) ** GAMMA
        for _ in range(2):
            light, thing = self._thing_laid(light, true)
            if "thing" in self.look.planes:
                k = list(self.look.planes).index("thing")
                true[:, k : k + 1] = torch.maximum(true[:, k : k + 1], thing)
        light = self._developed(self._lit(light))
        blank = beyond[:, None] & (self._uniform(0, 1, n) < 0.3)
        light = torch.where(blank, self._uniform(0, 1, n), light)
        seen = (light - light.mean((2, 3), keepdim=True)) / (light.std((1, 2, 3), keepdim=True) + FAINT)
        void = functional.max_pool2d((labels == VOID).float(), FINER) > 0
        return Batch(seen, true, (~(void | beyond[:, None])).float())

    def _on_device(self, masks: list[NDArray[np.uint8]]) -> Tensor:
        return torch.from_numpy(np.stack(masks)[:, None]).to(self.device)

    def _uniform(self, low: float, high: float, n: int) -> Tensor:
        """(n, 1, 1, 1)."""
        return torch.empty((n, 1, 1, 1), device=self.device).uniform_(low, high)

    def _normal(self, spread: float, n: int, channels: int = 1) -> Tensor:
        """(n, channels, 1, 1)."""
        return torch.randn((n, channels, 1, 1), device=self.device) * spread

    def _where(self, example: Example) -> tuple[Array, float, float, float]:
        """Where to cut: middle (y, x) in the picture, pixels of it along one of the cut's, angle, and -1 to mirror."""
        rng = self.rng
        h, w = example.picture.shape[:2]
        zoom = example.px_per_mm / self.look.px_per_mm
        if self.look.points:  # one bait lies along x, either end first
            zoom *= math.exp(rng.uniform(-0.12, 0.12))
            angle = math.radians(rng.normal(0, 5)) + (math.pi if rng.random() < 0.5 else 0)
            middle = np.array([h / 2 + rng.normal(0, 14), w / 2 + rng.normal(0, 14)])
        else:  # the scale is a guess without a card
            zoom *= math.exp(rng.uniform(-0.35, 0.35))
            angle = rng.uniform(0, 2 * math.pi)
            middle = rng.uniform(0, 1, 2) * (h, w)
            if rng.random() < 0.75 and len(example.bodies):
                middle = example.bodies[rng.integers(len(example.bodies))] + rng.uniform(-60, 60, 2)
        return middle, zoom, angle, -1.0 if rng.random() < 0.5 else 1.0

    def _cut(self, example: Example) -> tuple[Tensor, Tensor, Tensor, NDArray[np.float32]]:
        """A part of a picture turned, mirrored, resized and stretched: (1, 3, h, w) code values, its labels
        (1, 1, 2 h, 2 w), whether beyond the frame (1, h, w), and points (kinds, MOST_POINTS, 2)."""
        h, w = self.look.size
        (y, x), zoom, angle, mirror = self._where(example)
        stretch = math.exp(self.rng.normal(0, 0.06))
        c, s = math.cos(angle), math.sin(angle)
        move = np.array([[c, -s], [s, c]]) @ np.diag([zoom * stretch * mirror, zoom / stretch])
        left, right, top, bottom = _needed(example.picture.shape, x, y, np.abs(move) @ [w / 2, h / 2])
        part_w, part_h = right - left, bottom - top
        picture = example.picture[top:bottom, left:right].permute(2, 0, 1)[None].float()
        label = example.label[FINER * top : FINER * bottom, FINER * left : FINER * right][None, None].float()
        theta = [
            [move[0, 0] * w / part_w, move[0, 1] * h / part_w, (x - left) * 2 / part_w - 1],
            [move[1, 0] * w / part_h, move[1, 1] * h / part_h, (y - top) * 2 / part_h - 1],
        ]
        affine = torch.tensor(theta, dtype=torch.float32, device=self.device)[None]
        if zoom > 1.3:  # average before taking fewer samples
            picture = functional.avg_pool2d(picture, 2)
        grid = functional.affine_grid(affine, (1, 1, h, w), align_corners=False)
        finer = functional.affine_grid(affine, (1, 1, FINER * h, FINER * w), align_corners=False)
        at_x, at_y = (grid[..., 0] + 1) * part_w / 2 + left, (grid[..., 1] + 1) * part_h / 2 + top
        full_h, full_w = example.picture.shape[:2]
        points = np.full((len(self.look.points), MOST_POINTS, 2), _NOWHERE, np.float32)
        for i, name in enumerate(self.look.points):
            for k, (px, py) in enumerate(example.points.get(name, [])[:MOST_POINTS]):
                off = np.linalg.solve(move, [px + 0.5 - x, py + 0.5 - y])
                points[i, k] = off[0] + w / 2, off[1] + h / 2
        return (
            functional.grid_sample(picture, grid, mode="bilinear", padding_mode="border", align_corners=False),
            functional.grid_sample(label, finer, mode="nearest", padding_mode="border", align_corners=False),
            (at_x < 0) | (at_y < 0) | (at_x > full_w) | (at_y > full_h),
            points,
        )

    def _truth(self, labels: Tensor, points: NDArray[np.float32]) -> Tensor:
        """What a network should say (n, planes, h, w), given labels (n, 1, 2 h, 2 w) and points (n, kinds, k, 2)."""
        kinds = labels % ON_BODY
        areas = {
            "body": labels // ON_BODY == 1,
            "wire": (kinds == Kind.TIE) | (kinds == Kind.HANGER) | (kinds == Kind.HOOK),
            "tie": kinds == Kind.TIE,
            "hanger": kinds == Kind.HANGER,
            "hook": kinds == Kind.HOOK,
            "lip": kinds == Kind.LIP,
            "thing": (kinds == Kind.THING) | (kinds == Kind.WALL) | (kinds == Kind.CARD),
        }
        planes = [functional.avg_pool2d(areas[p].float(), FINER) for p in self.look.planes if p in areas]
        if self.look.points:
            h, w = self.look.size
            y, x = (torch.arange(n, device=self.device) + 0.5 for n in (h, w))
            at = torch.from_numpy(points).to(self.device)[..., None, None]
            distance2 = (x - at[:, :, :, 0]) ** 2 + (y[:, None] - at[:, :, :, 1]) ** 2
            planes.append(torch.exp(-distance2.amin(2) / (2 * (POINT_MM * self.look.px_per_mm) ** 2)))
        return torch.cat(planes, 1)

    def _thing_laid(self, light: Tensor, true: Tensor) -> tuple[Tensor, Tensor]:
        """The pictures with another thing and its shadow where the ground is bare, on three of ten; and the things'
        mask (n, 1, h, w)."""
        n, (h, w), rng = len(light), self.look.size, self.rng
        laid = (self._uniform(0, 1, n) < 0.3).float()
        mask = self.things[torch.randint(len(self.things), (n,), device=self.device)].float() / 255
        bare = functional.max_pool2d(true[:, :5].amax(1, keepdim=True), 5, 1, 2) < 0.5
        down, right = 4 + rng.integers(-4, 5), 4 + rng.integers(-4, 5)
        moved = functional.pad(mask, (8, 8, 8, 8))[:, :, down:, right:][:, :, :h, :w]
        shadow = blurred(moved, self._uniform(1, 4, n).flatten())
        mask = mask * bare * laid
        colour = torch.exp(self._uniform(math.log(0.02), 0, n)) * (1 + self._normal(0.3, n, 3))
        coarse = int(rng.integers(2, 20))
        strength = self._uniform(0, 0.4, n)
        noise = torch.randn(n, 1, h // coarse + 1, w // coarse + 1, device=self.device)
        texture = 1 + strength * functional.interpolate(noise, (h, w), mode="bilinear")
        dark = self._uniform(0, 0.8, n) * laid * shadow * (true[:, :1] < 0.5) * (1 - mask)
        light = light * (1 - dark)
        return light * (1 - mask) + mask * (colour.clamp(0.01, 1) * texture.clamp(0.1, 2)), mask

    def _lit(self, light: Tensor) -> Tensor:
        """The pictures with a shadow's edge across a third of them, in another exposure and white balance, and with
        hues turned or colours faded in some."""
        n = len(light)
        shaded = (self._uniform(0, 1, n) < 0.35).float()
        shadow = self.shadows[torch.randint(len(self.shadows), (n,), device=self.device)].float() / 255 * shaded
        left = (self._uniform(0.15, 0.85, n) * (1 + self._normal(0.06, n, 3))).clamp(0.08, 1)
        light = light * (1 - shadow * (1 - left))
        light = light * torch.exp(self._normal(0.12, n, 3) + self._normal(0.3, n))
        angle = (self._uniform(-math.pi, math.pi, n) * (self._uniform(0, 1, n) < 0.3)).flatten()
        light = torch.einsum("nij,njhw->nihw", hue_turns(angle), light).clamp(0, 4)
        grey = light.mean(1, keepdim=True)
        faded = self._uniform(0, 1, n) < 0.2
        return grey + (light - grey) * torch.where(faded, self._uniform(0, 0.8, n), torch.ones_like(grey[:, :, :1, :1]))

    def _developed(self, light: Tensor) -> Tensor:
        """What the network sees of the light: blurred in some, clipped, with noise, on varied tone curves."""
        n = len(light)
        soft = self._uniform(0, 1, n) < 0.45
        light = blurred(light, torch.where(soft, self._uniform(0.3, 1.1, n), 0.05).flatten()).clamp(0, 1.3)
        noise = self._uniform(0, 0.03, n) * torch.randn_like(light) * (light + 0.01).sqrt()
        return (light + noise).clamp(1e-5, 1) ** (LIGHT * torch.exp(self._normal(0.12, n)))


def _needed(shape: tuple[int, ...], x: float, y: float, reach: Array) -> tuple[int, int, int, int]:
    """Left, right, top, bottom of the part of a picture that a cut about (x, y) needs, 2 pixels at least."""
    h, w = shape[:2]
    left, right = int(max(0, min(w - 2, x - reach[0] - 3))), int(min(w, max(2, x + reach[0] + 4)))
    top, bottom = int(max(0, min(h - 2, y - reach[1] - 3))), int(min(h, max(2, y + reach[1] + 4)))
    return min(left, right - 2), right, min(top, bottom - 2), bottom


def blurred(x: Tensor, sigma_px: Tensor) -> Tensor:
    """(n, c, h, w) blurred by Gaussians of `sigma_px` (n,), cut off after 4 pixels."""
    n, c, h, w = x.shape
    reach = 4
    along = torch.arange(-reach, reach + 1, device=x.device).float()
    kernel = torch.exp(-(along**2) / (2 * sigma_px[:, None] ** 2 + 1e-6))
    kernel = (kernel / kernel.sum(1, keepdim=True)).repeat_interleave(c, 0)[:, None]
    x = x.reshape(1, n * c, h, w)
    x = functional.pad(x, (reach, reach, 0, 0), mode="replicate")
    x = functional.conv2d(x, kernel[:, :, None], groups=n * c)
    x = functional.pad(x, (0, 0, reach, reach), mode="replicate")
    return functional.conv2d(x, kernel[..., None], groups=n * c).reshape(n, c, h, w)


def hue_turns(angle: Tensor) -> Tensor:
    """Rotations (n, 3, 3) of linear RGB about grey by angles (n,)."""
    c, s = torch.cos(angle), torch.sin(angle)
    third, side = (1 - c) / 3, s / math.sqrt(3)
    same, next_, last = c + third, third - side, third + side
    rows = ((same, next_, last), (last, same, next_), (next_, last, same))
    return torch.stack([torch.stack(row, 1) for row in rows], 1)


def thing_mask(look: Look, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A thing of 4 to 60 mm somewhere in a picture: (h, w), 0 or 255."""
    h, w = look.size
    mask = np.zeros((h, w), np.uint8)
    middle = rng.uniform(0, 1, 2) * (w, h)
    size = np.exp(rng.uniform(np.log(4), np.log(60))) * look.px_per_mm
    shape, angle = rng.integers(4), rng.uniform(0, 360)
    if shape == 0:
        cv2.ellipse(mask, (middle.tolist(), (size, size * rng.uniform(0.3, 1)), angle), 255, -1)
    elif shape == 1:
        box = cv2.boxPoints((middle.tolist(), (size, size * rng.uniform(0.1, 1)), angle))
        cv2.fillPoly(mask, [np.round(box).astype(np.int32)], 255)
    elif shape == 2:
        turns = np.sort(rng.uniform(0, 2 * np.pi, rng.integers(4, 9)))
        corners = np.stack([np.cos(turns), np.sin(turns)], 1) * rng.uniform(0.4, 1, (len(turns), 1))
        cv2.fillPoly(mask, [np.round(middle + size / 2 * corners).astype(np.int32)], 255)
    else:
        line = middle + np.cumsum(rng.normal(0, size / 4, (6, 2)), 0)
        width = int(max(1, rng.uniform(0.5, 5) * look.px_per_mm))
        cv2.polylines(mask, [np.round(line).astype(np.int32)], False, 255, width)
    return mask


def shadow_mask(look: Look, rng: np.random.Generator) -> NDArray[np.uint8]:
    """A shadow with an edge of 0.3 to 8 mm across a picture: (h, w), 0 to 255."""
    h, w = look.size
    corners = rng.uniform(-0.3, 1.3, (rng.integers(3, 7), 2)) * (w, h)
    outline = cv2.convexHull(corners.astype(np.float32))[:, 0]
    mask = cv2.fillPoly(np.zeros((h, w), np.uint8), [np.round(outline).astype(np.int32)], 255)
    edge = math.exp(rng.uniform(math.log(0.3), math.log(8))) * look.px_per_mm
    return np.asarray(cv2.GaussianBlur(mask, (0, 0), edge), np.uint8)
