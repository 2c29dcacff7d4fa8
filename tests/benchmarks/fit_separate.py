"""Fits the networks that tell ground, solid things and wire apart (`identify/separate/pixels.py`).

    python -m tests.benchmarks.fit_separate PHOTO_SET [PHOTO_SET …]

Of each set only photos of the tune split are used, and enrol; a set without a tune split (fresh renders) is used whole
if named with --whole.  Writes first.json and second.json beside the module.
"""

from __future__ import annotations

import argparse
import json
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from sklearn.exceptions import ConvergenceWarning
from sklearn.neural_network import MLPClassifier

from identify.geometry import Array, apply_homography
from identify.photo import Photo, read
from identify.separate import pixels
from identify.separate.look import Scene, look_at
from identify.separate.thoughts import places
from tests.benchmarks.truth import PhotoTruth, ideal_calibration, photos, world

HERE = Path(pixels.__file__).parent
IGNORE = 255
PER_CLASS = {pixels.GROUND: 1300, pixels.SOLID: 1000, pixels.WIRE: 350}
RNG = np.random.default_rng(20)


def labels(photo: PhotoTruth, models: dict[str, Any], scene: Scene, mm: float) -> NDArray[np.uint8]:
    """What each pixel of the scene's picture is (`mm`: its scale); IGNORE where the truth does not say or the border
    runs."""
    h, w = scene.linear.shape[:2]
    out = np.zeros((h, w), np.uint8)
    k = 1 / scene.step

    def at(points: Any) -> NDArray[np.int32]:
        return np.round(scene.from_photo(points) * 16).astype(np.int32)

    t = photo.truth
    for thing in t["things"]:
        value = IGNORE if "hook" in str(thing.get("kind", "")) else pixels.SOLID
        cv2.fillPoly(out, [at(thing["polygon_px"])], value, shift=4)
    for wall in t.get("walls_px") or []:
        cv2.fillPoly(out, [at(wall)], IGNORE, shift=4)
    for b in photo.baits:
        size = models[b["model"]]["sizes"][b["size_index"]]
        # model frame to picture, by the outline's own points
        to_px = cv2.findHomography(np.array(size["outline_mm"], float), np.array(b["body_polygon_px"], float))[0]
        if models[b["model"]].get("lip"):
            reach = 0.2 * size["length_mm"]
            nose = apply_homography(to_px, [[0, 0]])
            cv2.circle(out, tuple(int(v) for v in at(nose)[0]), int(reach * mm * 16), IGNORE, -1, shift=4)
    for b in photo.baits:
        size = models[b["model"]]["sizes"][b["size_index"]]
        to_px = cv2.findHomography(np.array(size["outline_mm"], float), np.array(b["body_polygon_px"], float))[0]
        for hook in b["hooks_px"]:
            for line in hook:
                cv2.polylines(out, [at(line)], False, IGNORE, round(2.4 * mm), shift=4)
        for hook in b["hooks_px"]:
            for line in hook:
                cv2.polylines(out, [at(line)], False, pixels.WIRE, max(1, round(1.0 * mm)), shift=4)
        for hanger in size["hangers"]:
            c = apply_homography(to_px, [hanger["centre_mm"]])
            cv2.circle(out, tuple(int(v) for v in at(c)[0]), int(2.2 * mm * 16), IGNORE, -1, shift=4)
        for c, r in zip(b["ties_px"], b["tie_radius_px"], strict=False):
            centre = tuple(int(v) for v in at([c])[0])
            cv2.circle(out, centre, int((r * k + 0.6 * mm) * 16), IGNORE, -1, shift=4)
            cv2.circle(out, centre, int((r * k - 0.5 * mm) * 16), pixels.WIRE, max(1, round(1.0 * mm)), shift=4)
    for b in photo.baits:
        body = np.zeros((h, w), np.uint8)
        cv2.fillPoly(body, [at(b["apparent_polygon_px"])], 1, shift=4)
        out[(body > 0)] = pixels.SOLID
        # a hook that lies over the body counts as body, but is not shown as an example of paint
        over = np.zeros((h, w), np.uint8)
        for hook in b["hooks_px"]:
            for line in hook:
                cv2.polylines(over, [at(line)], False, 1, round(1.5 * mm), shift=4)
        out[(body > 0) & (over > 0)] = IGNORE
        rim = cv2.dilate(body, np.ones((2, 2), np.uint8)) != cv2.erode(body, np.ones((2, 2), np.uint8))
        out[rim] = IGNORE
    out[~scene.usable] = IGNORE
    return out


def scenes(
    sets: list[tuple[Path, bool]], step: int
) -> Iterator[tuple[PhotoTruth, dict[str, Any], Photo, Scene, float]]:
    for folder, whole in sets:
        w = world(folder)
        models = {**w["models"], **w["unknown_models"]}
        for photo in photos(folder)[:: 1 if whole else step]:
            if not whole and photo.split != "tune" and photo.subset != "enrol":
                continue
            if any(not b["known"] for b in photo.baits):  # unknown models are never tuned on
                continue
            # a photo without a card is looked at in about its own scale, as the second look at such a photo is
            scale = float(np.median([b["length_px"] / b["length_mm"] for b in photo.baits]))
            picture = read(photo.path)
            walls = photo.truth.get("walls_px")
            # a box is looked into: its floor is the ground of what lies in it
            box = cv2.convexHull(np.float32([q for wall in walls for q in wall]))[:, 0] if walls else None
            scene = look_at(picture, ideal_calibration(photo), scale * RNG.uniform(0.85, 1.18), box)
            if scene is not None:
                yield photo, models, picture, scene, scale


def pick(label: NDArray[np.uint8], where: NDArray[np.bool_], share: float) -> NDArray[np.int64]:
    """Flat places of some pixels of each class, `share` times the usual number."""
    chosen = []
    for value, n in PER_CLASS.items():
        every = np.flatnonzero((label == value) & where)
        chosen.append(RNG.choice(every, min(int(n * share), len(every)), replace=False))
    return np.concatenate(chosen)


def fit(x: Array, y: Array, names: tuple[str, ...], name: str, hidden: tuple[int, ...]) -> None:
    mean, spread = x.mean(0), x.std(0) + 1e-6
    net = MLPClassifier(hidden, alpha=3e-4, max_iter=14, batch_size=2048, learning_rate_init=3e-3, random_state=1)
    warnings.simplefilter("ignore", ConvergenceWarning)  # a fixed number of rounds is meant
    net.fit(np.clip((x - mean) / spread, -5, 5).astype(np.float32), y)
    print(name, len(x), "pixels, final loss", round(float(net.loss_), 4))
    layers = [
        [np.round(w, 4).tolist(), np.round(b, 4).tolist()] for w, b in zip(net.coefs_, net.intercepts_, strict=True)
    ]
    document = {
        "fitted by": "python -m tests.benchmarks.fit_separate, tune split and fresh renders only",
        "cases": len(x), "names": list(names), "classes": list(pixels.CLASSES),
        "mean": np.round(mean, 5).tolist(), "spread": np.round(spread, 5).tolist(), "members": [layers],
    }  # fmt: skip
    (HERE / f"{name}.json").write_text(json.dumps(document, separators=(",", ":")), "utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description="Fit the networks that separate things from the ground.")
    parser.add_argument("photo_sets", type=Path, nargs="+")
    parser.add_argument("--whole", type=Path, action="append", default=[], help="a set of fresh renders, used whole")
    parser.add_argument(
        "--step", type=int, default=1, help="of the sets not named with --whole, use every step-th photo"
    )
    parser.add_argument("--only", choices=["first", "second"])
    options = parser.parse_args()
    cv2.setNumThreads(1)
    sets = [(p, False) for p in options.photo_sets] + [(p, True) for p in options.whole]
    for name in [options.only] if options.only else ["first", "second"]:
        xs, ys, names = [], [], ()
        for photo, models, picture, scene, scale in scenes(sets, options.step):
            if name == "first":
                seen = pixels.looks(scene.linear, scene.ground, scene.lit)
                pairs = [(seen, scene, scene.usable)]
            else:
                pairs = [
                    (
                        pixels.second_looks(p.scene.linear, scene.ground, p.scene.lit, p.first),
                        p.scene,
                        pixels.open_question(p.first) & p.scene.usable,
                    )
                    for p in places(picture, scene)
                ]
            for seen, there, where in pairs:
                label = labels(photo, models, there, scale / there.step)
                chosen = pick(label, where, min(5.0, max(1.0, len(photo.baits) / len(pairs))))
                xs.append(seen.planes.reshape(-1, seen.planes.shape[2])[chosen])
                ys.append(label.ravel()[chosen])
                names = seen.names
        fit(np.concatenate(xs), np.concatenate(ys), names, name, (28, 14) if name == "first" else (56, 28))


if __name__ == "__main__":
    main()
