"""Pictures to train on from a rendered set: reduced photos for one network, cut-outs of single baits for the other.

Each picture is three files: NAME.jpg, NAME.png with its labels (`labels`; FINER times as large), NAME.json with its
scale and, for a bait, places: `tie`, `hanger`, `trace` (where a ring is lost), `eye` as (x, y) in the picture's pixels.
"""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from identify.geometry import Array
from tests.benchmarks.fit_pixelnets import labels
from tests.benchmarks.fit_pixelnets.looks import LOOKS
from tests.benchmarks.fit_pixelnets.renderer import Renderer, load

Picture = NDArray[np.uint8]

CROWDED = ("tray", "boxed")
"""Photos of many baits, of which every third is cut out."""
ROOM_MM = 34.0
"""How much longer and wider a cut-out is than the body in it."""
SEAM_MM = 0.7
"""`scene` is to see no body so near to another one."""


@dataclass(frozen=True)
class Job:
    """One photo of a set: its plan, and where everything is."""

    photo: dict[str, Any]
    folder: Path
    world: Path | None
    renderer: Path
    out: Path


def make(jobs: list[Job], processes: int) -> int:
    """Make the pictures of some photos; the number of photos that were there.

    A photo that was planned and not rendered is passed over, so that a part of a set can be used.
    """
    context = multiprocessing.get_context("spawn")  # each process loads the renderer for itself
    with ProcessPoolExecutor(processes, mp_context=context) as pool:
        return sum(pool.map(_make, jobs))


def _make(job: Job) -> bool:
    """Make the pictures of one photo, if it is there."""
    cv2.setNumThreads(1)
    path = job.folder / "photos" / job.photo["file"]
    if not path.exists():
        return False
    picture = np.asarray(cv2.imread(str(path), cv2.IMREAD_COLOR), np.uint8)
    renderer = load(job.renderer, job.world)
    h, w = picture.shape[:2]
    photo = {**job.photo, "cam": {**job.photo["cam"], "w": w, "h": h}}  # a set may be rendered smaller than planned
    name = f"{job.folder.name}-{Path(photo['file']).with_suffix('')}".replace("/", "-")
    _write(job.out / f"scene-{name}", *_reduced(picture, photo, renderer))
    step = 3 if photo["subset"] in CROWDED else 1
    for i in range(0, len(photo["baits"]), step):
        _write(job.out / f"bait-{name}-{i}", *_cut_out(picture, photo, i, renderer))
    return True


def _write(stem: Path, picture: Picture, label: labels.Plane, facts: dict[str, Any]) -> None:
    cv2.imwrite(f"{stem}.jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, 88])
    cv2.imwrite(f"{stem}.png", label, [cv2.IMWRITE_PNG_COMPRESSION, 9])
    Path(f"{stem}.json").write_text(json.dumps(facts), "utf-8")


def _reduced(
    picture: Picture, photo: dict[str, Any], renderer: Renderer
) -> tuple[Picture, labels.Plane, dict[str, Any]]:
    """A whole photo at the scale that pictures of `scene` are kept in, or its own if that is coarser."""
    h, w = picture.shape[:2]
    scale = _px_per_mm(photo, renderer)
    k = min(1.0, LOOKS["scene"].stored_px_per_mm / scale)
    size = int(w * k), int(h * k)
    zoom = np.array([size[0] / w, size[1] / h])
    seam_px = round(SEAM_MM * scale * k)
    label = labels.label(photo, size, lambda px: (px + 0.5) * zoom - 0.5, renderer, seam_px)
    small = np.asarray(cv2.resize(picture, size, interpolation=cv2.INTER_AREA), np.uint8)
    return small, label, {"px_per_mm": scale * k}


def _px_per_mm(photo: dict[str, Any], renderer: Renderer) -> float:
    """A photo's scale at its card, or amid its baits."""
    if photo["card"] is None:
        middle = np.mean([[*bait["t"], 0] for bait in photo["baits"]], 0)
    else:
        middle = np.array([*photo["card"][:2], renderer.scene.CARD[2]])
    at = renderer.scene.Camera(photo["cam"]).project(middle + 10.0 * np.eye(4, 3, -1))
    return float(np.sqrt(abs(np.linalg.det(at[1:3] - at[0]))) / 10)


def _cut_out(
    picture: Picture, photo: dict[str, Any], number: int, renderer: Renderer
) -> tuple[Picture, labels.Plane, dict[str, Any]]:
    """One bait, nose to the left, at the scale that pictures of `bait` are kept in."""
    bait, scale = photo["baits"][number], LOOKS["bait"].stored_px_per_mm
    camera = renderer.scene.Camera(photo["cam"])
    points = {name: camera.project(p) for name, p in _points(bait, renderer)}
    nose, tail = points.pop("ends")
    body = renderer.frame.piece(renderer.world.MODELS, bait)
    axis = (tail - nose) / np.hypot(*(tail - nose))
    zoom = scale * body.L / float(np.hypot(*(tail - nose)))
    turn = np.array([axis, [-axis[1], axis[0]]]) * zoom
    _, top, bottom = body.outline(100)
    size = int((body.L + ROOM_MM) * scale), int((top.max() - bottom.min() + ROOM_MM) * scale)
    move = np.c_[turn, np.array(size) / 2 - turn @ (nose + tail) / 2]

    def to_picture(px: Array) -> Array:
        moved: Array = px @ move[:, :2].T + move[:, 2]
        return moved

    label = labels.label_one(photo, number, size, to_picture, renderer)
    inside = cv2.warpAffine(np.ones(picture.shape[:2], np.uint8), move, size, flags=cv2.INTER_NEAREST)
    label[cv2.resize(inside, label.shape[::-1], interpolation=cv2.INTER_NEAREST) == 0] = labels.VOID
    places = {name: to_picture(p).round(2).tolist() for name, p in points.items()}
    return _moved(picture, move, zoom, size), label, {"px_per_mm": scale, **places}


def _moved(picture: Picture, move: Array, zoom: float, size: tuple[int, int]) -> Picture:
    """A picture moved by an affine map (2, 3) that resizes it by `zoom`; beyond its frame its edge goes on."""
    if zoom < 0.75:  # average before taking fewer samples
        shrink = max(1, round(1 / zoom / 0.75))
        if shrink > 1:
            h, w = picture.shape[:2]
            picture = np.asarray(
                cv2.resize(picture, (w // shrink, h // shrink), interpolation=cv2.INTER_AREA), np.uint8
            )
            middle = (shrink - 1) / 2
            move = np.c_[move[:, :2] * shrink, move @ [middle, middle, 1]]
        else:
            picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), 0.35 / zoom), np.uint8)
    moved = cv2.warpAffine(picture, move, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(moved, np.uint8)


def _points(bait: dict[str, Any], renderer: Renderer) -> Iterator[tuple[str, Array]]:
    """Places of one bait by name, each (n, 3) in mm on the table; `ends`: nose and tail."""
    geom = renderer.geom
    built = geom.build_bait(bait, np.random.default_rng(bait["seed"]))
    place, piece = geom.place(built, bait["theta"], bait["t"]), built["piece"]

    def at(xy: Any, flank: bool = False) -> Array:
        """Points of the bait's own frame, in its middle plane or on the flank that faces up."""
        xy = np.asarray(xy, float).reshape(-1, 2)
        height = np.zeros(len(xy))
        if flank:
            height = np.clip(geom.Surface(piece).height(xy), 0, None) * (-1 if bait["flip"] else 1)
        placed: Array = place(np.c_[xy, height] @ built["A"].T + built["o"])
        return placed

    yield "ends", at([[0, 0], piece.tail()])
    yield "tie", at([tie["centre"] for tie in built["ties"]])
    yield "hanger", at([hanger["centre"] for hanger in piece.hangers()])
    yield "trace", at([tie["root"] for tie in piece.all_ties() if tie["lost"]])
    eye = renderer.world.MODELS[bait["model"]]["eye"]
    if eye:
        x, top, bottom = piece.outline(400)
        along = eye[0] * piece.L
        low, high = np.interp(along, x, bottom), np.interp(along, x, top)
        yield "eye", at([[along, low + eye[1] * (high - low)]], flank=True)
