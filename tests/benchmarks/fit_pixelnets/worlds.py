"""Random worlds: bodies and paints of no maker, so that a network learns what baits are and not which ones there are.

A world is written as a Python module that the renderer loads (its README tells what a world defines).  Outlines are in
units of a body's length, angles in degrees, colours in CIELAB D50, other lengths in mm.
"""

from __future__ import annotations

from pathlib import Path
from pprint import pformat
from typing import Any

import numpy as np

BODIES = 26
KNOWN = 22
"""Bodies that are some maker's; the others are strangers."""
PAINTS = 60
LISTED = 10
"""Paints a body is listed in."""

_ALONG = np.linspace(0, 1, 9)
_MODULE = '''"""A random world, only to train on.  Written by tests.benchmarks.fit_pixelnets."""
from frame import Shape, colourways

TITLE = "Random world"
MAKERS = {{
    "ZA": dict(name="A", years=(1930, 1950), stuff="wood", bare=(.55, .42, .27)),
    "ZB": dict(name="B", years=(1930, 1950), stuff="moulded", bare=(.62, .58, .5)),
}}
EYE_COLOURS = {{
    "ring": ((.03, .03, .03), (.74, .70, .42), (.015, .015, .015)),
    "bead": ((.30, .26, .20), (.80, .79, .74), (.015, .015, .015)),
    "dot": ((.80, .78, .70), (.015, .015, .015), (.015, .015, .015)),
}}
MODELS = {models}
for model in MODELS.values():
    model["shape"] = Shape(**model["shape"])
KNOWN = [k for k, v in MODELS.items() if v["maker"]]
UNKNOWN = [k for k, v in MODELS.items() if not v["maker"]]
MODEL_NAMES = {{k: "M " + k for k in KNOWN}}
MADE = {{k: (1930, 1950) for k in KNOWN}}
PAINTS = {paints}
COLOURS = colourways(PAINTS)
COLOUR_NAMES = {{k: k for k in PAINTS}}
LISTED = {listed}
'''


def write(path: Path, seed: int) -> None:
    """Write the random world of a seed."""
    rng = np.random.default_rng(seed)
    models = {}
    for i in range(BODIES):
        maker = ("ZA", "ZB")[i % 2] if i < KNOWN else None
        models[f"{'Z' if maker else 'V'}{i}"] = {"maker": maker, **_body(rng)}
    paints = {f"{i:02d}": _paint(rng) for i in range(PAINTS)}
    listed = {
        name: sorted(rng.choice(list(paints), LISTED, replace=False).tolist())
        for name, body in models.items()
        if body["maker"]
    }
    tables = {"models": models, "paints": paints, "listed": listed}
    text = _MODULE.format(**{name: pformat(table, width=120, sort_dicts=False) for name, table in tables.items()})
    path.write_text(text, "utf-8")


def _shape(rng: np.random.Generator) -> dict[str, Any]:
    """Control values of the outline above and below a line from nose to tail, one body in five with a bent line."""
    depth, peak, above = rng.uniform(0.13, 0.5), rng.uniform(0.22, 0.65), rng.uniform(0.3, 0.7)
    height = np.exp(-(((_ALONG - peak) / rng.uniform(0.3, 0.7)) ** 2)) + rng.normal(0, 0.035, len(_ALONG))
    height = np.maximum(height / height.max(), 0.18)
    height[-1] *= rng.uniform(0.4, 1)
    centre = None
    if rng.random() < 0.2:
        centre = np.round(0.1 * rng.uniform(0.3, 1) * np.sin(np.pi * _ALONG), 3).tolist()
        centre[0] = 0
    return {
        "top": (depth * above * height).tolist(),
        "bot": (-depth * (1 - above) * height).tolist(),
        "rn": rng.uniform(0.04, 0.2),
        "rt": rng.uniform(0.03, 0.18),
        "centre": centre,
        "thick": float(np.clip(0.54 - 0.5 * depth + rng.normal(0, 0.05), 0.26, 0.5)),  # deep bodies are flat
        "power": rng.uniform(1.9, 2.7),
    }


def _body(rng: np.random.Generator) -> dict[str, Any]:
    """A body in two sizes with its rings, lip and eye, as the renderer's worlds tell them."""
    length = rng.uniform(36, 110)
    ties: list[tuple[str, float]]
    if rng.random() < 0.35:
        ties = [("nose", rng.uniform(0, 20))]
    else:
        places = rng.choice([0.16, 0.2, 0.25, 0.31, 0.38, 0.44], rng.integers(1, 4), replace=False)
        ties = [("back", v) for v in sorted(places.tolist())]
    if rng.random() < 0.08:
        ties.append(("chin", rng.uniform(0.1, 0.25)))
    return {
        "shape": _shape(rng),
        "sizes": [round(length), round(length * 1.2)],
        "ties": ties,
        "tie_od": rng.uniform(3.2, 4.8),
        "tie_wire": rng.uniform(0.85, 1.1),
        "belly": [0.46] if rng.random() < 0.6 else [0.34, 0.68],
        "tail": bool(rng.random() < 0.85),
        "lip": None if rng.random() < 0.7 else _lip(rng),
        "eye": None if rng.random() < 0.1 else _eye(rng),
    }


def _lip(rng: np.random.Generator) -> tuple[str, float, float, float]:
    """Kind, place, angle and length of a lip."""
    return ("metal", "plastic")[rng.integers(2)], 0.055, rng.uniform(204, 226), rng.uniform(0.09, 0.15)


def _eye(rng: np.random.Generator) -> tuple[float, float, float, str]:
    """Place along and across, radius on a bait of 60 mm, and kind of an eye."""
    kind = ("ring", "bead", "dot")[rng.integers(3)]
    return rng.uniform(0.07, 0.17), rng.uniform(0.5, 0.68), rng.uniform(1.1, 2.6), kind


def _colour(rng: np.random.Generator) -> tuple[float, float, float]:
    """CIELAB D50 of a paint; very light and very dark ones are less chromatic, a quarter is grey."""
    lightness = rng.uniform(8, 93)
    chroma = 0.0 if rng.random() < 0.25 else rng.uniform(0, 55) * (1 - abs(lightness - 52) / 70)
    hue = rng.uniform(0, 2 * np.pi)
    return lightness, float(chroma * np.cos(hue)), float(chroma * np.sin(hue))


def _paint(rng: np.random.Generator) -> dict[str, Any]:
    """A colourway: back and belly, and at most one thing more."""
    paint: dict[str, Any] = {"back": _colour(rng), "belly": _colour(rng), "edge": ("sharp", "smooth")[rng.integers(2)]}
    more = rng.random()
    if more < 0.1:
        paint["belly"] = paint["back"]
    elif more < 0.2:
        paint |= {"dots": _colour(rng), "dot_r": rng.uniform(0.7, 1.1), "dot_n": int(rng.integers(14, 30))}
    elif more < 0.3:
        paint["bars"] = _colour(rng)
    elif more < 0.38:
        paint["foil"] = ("Ag", "Au")[rng.integers(2)]
    elif more < 0.46:
        paint["translucent"] = rng.uniform(0.6, 0.8)
    elif more < 0.7:
        kind = ("head", "stripe", "tail", "throat")[rng.integers(4)]
        paint["zones"] = [{"kind": kind, "colour": _colour(rng)}]
    return paint
