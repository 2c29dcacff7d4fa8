"""The scene renderer: modules in a folder of their own, loaded from there, so that nothing here depends on them."""

from __future__ import annotations

import functools
import importlib
import os
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.benchmarks.fit_pixelnets import rings


@dataclass(frozen=True)
class Renderer:
    """Its modules; what each holds is told in the renderer's README."""

    frame: Any
    geom: Any
    layout: Any
    make_set: Any
    paint: Any
    plan: Any
    scene: Any
    things: Any
    world: Any


@functools.cache
def load(folder: Path, world: Path | None) -> Renderer:
    """The renderer in `folder` with the world in a file, or with its own; one world in one process.  It builds turned
    rings too (`rings`).

    Raises FileNotFoundError if it is not there, RuntimeError if another world is loaded already.
    """
    if not (folder / "make_set.py").is_file():
        raise FileNotFoundError(f"There is no scene renderer in {folder}: it holds no make_set.py.")
    if "frame" in sys.modules:
        raise RuntimeError("A renderer is loaded already: start another process for another world.")
    os.environ.pop("BAIT_WORLD", None)
    if world is not None:
        os.environ["BAIT_WORLD"] = str(world.resolve())  # read by `frame`, also in processes that the renderer starts
    sys.path.insert(0, str(folder.resolve()))
    # `frame` first: it chooses the world
    names = ("frame", "geom", "layout", "make_set", "paint", "plan", "scene", "things", "world")
    renderer = Renderer(**{name: importlib.import_module(name) for name in names})
    rings.provide(renderer)
    return renderer
