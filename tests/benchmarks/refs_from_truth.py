"""A reference set written from a photo set's truth (`world` of its truth.json), for whatever makers and models it has.

The set says what a careful collector would know of each model: outline, sizes, rings, eye, lip, years, colourways.  It
holds no model without a maker.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from identify.geometry import Array, extent_across, max_feret
from identify.outline import to_frame
from identify.reference import write

LENGTH_TOLERANCE, DEPTH_TOLERANCE = 0.004, 0.008
"""Standard deviations between true pieces, as shares of length and depth (the photo sets' README)."""
ZONES = {"head": "head", "stripe": "side", "side": "side", "tail": "tail", "throat": "throat"}
KNOWN_BY = ("paper", "marked", "collectors", "told")
Row = dict[str, Any]


class Frame:
    """Moves points of a model's own frame into the bait's frame: x along the maximum Feret diameter."""

    def __init__(self, outline: Array) -> None:
        ends = sorted(max_feret(outline), key=lambda p: float(p[0]))
        self.nose, self.tail = ends
        self.length_mm = float(np.hypot(*(self.tail - self.nose)))
        self.depth_mm = extent_across(outline, self.nose, self.tail)

    def __call__(self, points: Any) -> list[list[float]]:
        moved = to_frame(np.atleast_2d(np.asarray(points, float)), self.nose, self.tail, True, y_down=False)
        return [[round(float(x), 2), round(float(y), 2)] for x, y in moved]


def _rings(rings: list[Row], frame: Frame) -> Row:
    return {"count": len(rings), **({"at_mm": frame([r["centre_mm"] for r in rings])} if rings else {})}


def _size(number: int, size: Row) -> Row:
    frame = Frame(np.asarray(size["outline_mm"], float))
    eye = size.get("eye")
    return {
        "code": str(number),
        "length_mm": round(frame.length_mm, 2),
        "depth_mm": round(frame.depth_mm, 2),
        "thickness_mm": round(float(size["thickness_mm"]), 2) if size.get("thickness_mm") else None,
        "tolerance_mm": round(LENGTH_TOLERANCE * frame.length_mm, 2),
        "depth_tolerance_mm": round(DEPTH_TOLERANCE * frame.depth_mm, 2),
        "line_ties": _rings(size["ties"], frame),
        "hangers": _rings(size["hangers"], frame),
        "eye": {"at_mm": frame(eye["at_mm"])[0], "diameter_mm": round(float(eye["diameter_mm"]), 2), "kind": "painted"}
        if eye
        else {"kind": "none"},
    }


def _colourway(code: str, name: str | None, colour: Row) -> Row:
    spots = "dots" if colour.get("dots") else "bars" if colour.get("bars") else None
    return {
        "code": code,
        "name": name or code,
        "back_lab": colour["back_lab_d50"],
        "belly_lab": colour["belly_lab_d50"],
        "basis": "paint",
        "pattern": spots or ("plain" if colour["edge"] == "sharp" else "blend"),
        "pattern_lab": colour[f"{spots}_lab_d50"] if spots else None,
        "zones": [{"kind": ZONES[z["kind"]], "lab": z["lab_d50"]} for z in colour["zones"]] or None,
        "finish": "leaf" if colour.get("foil") else "clear" if colour.get("translucent") else "paint",
        "known_by": "collectors",
    }


def _bodies(world: Row) -> dict[str, Array]:
    """Each model's first outline brought to unit length, to see which follow one another to a hair."""
    firsts = {code: np.asarray(m["sizes"][0]["outline_mm"], float) for code, m in world["models"].items()}
    return {code: o / np.ptp(o[:, 0]) for code, o in firsts.items()}


def model_values(world: Row, code: str) -> Row:
    """One model of a truth's world as the values of its file."""
    model, names = world["models"][code], world["maker_names"]
    bodies = _bodies(world)
    twins = [
        c
        for c, body in bodies.items()
        if c != code and body.shape == bodies[code].shape and np.abs(body - bodies[code]).max() < 1e-3
    ]

    def called(c: str) -> str:
        return f"{names[world['models'][c]['maker']]} / {world['model_names'][c]}"

    stuff = world.get("maker_stuff", {}).get(model["maker"], "")
    years = world.get("made", {}).get(code)
    wooden = "wood" in stuff
    name = world["model_names"][code]
    return {
        "maker": names[model["maker"]],
        "model": name,
        "also_called": [name.split()[-1].lower()],
        "view": "side",
        "made": f"{years[0]}/{years[1]}" if years else None,
        "known_by": KNOWN_BY[sorted(names).index(model["maker"]) % len(KNOWN_BY)],
        "material": "wood" if wooden else "plastic",
        "parts": 1,
        "hooks": model["hook_count"],
        "lip": model["lip"] or "none",
        "tie_kind": "screw-eye" if wooden else "wire",
        "hanger_kind": "screw-eye" if wooden else "wire",
        "same_mould_as": [called(c) for c in twins] or None,
        "size": [_size(i + 1, s) for i, s in enumerate(sorted(model["sizes"], key=lambda s: s["length_mm"]))],
        "colourway": [
            _colourway(c, world.get("colour_names", {}).get(c), world["colourways"][c])
            for c in model["colourways"] or ()
        ],
    }


def world_of(photo_set: Path) -> Row:
    """The world of a photo set's truth.json."""
    document: Mapping[str, Any] = json.loads((Path(photo_set) / "truth.json").read_text("utf-8"))
    return dict(document["world"])


def write_refs(world: Row, folder: Path, about: Row | None = None) -> Path:
    """Write the reference set of a truth's world to a folder (made if needed); returns the folder.

    `about` holds values of set.toml that go before the plain ones.
    """
    folder = Path(folder)
    write.put(folder / "set.toml", write.set_toml({"title": world["title"], **(about or {})}))
    for code, model in world["models"].items():
        values = model_values(world, code)
        path = folder / write.model_path(values["maker"], values["model"])
        write.put(path, write.model_toml(values))
        smallest = min(model["sizes"], key=lambda s: s["length_mm"])
        outline = np.asarray(smallest["outline_mm"], float)
        framed = to_frame(outline, *sorted(max_feret(outline), key=lambda p: float(p[0])), True, y_down=False)
        write.put(path.with_suffix(".svg"), write.outline_svg(framed, f"{values['maker']} / {values['model']}"))
    return folder
