"""Whether rings, eye and outline of a model lie where they can lie on one body."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from identify.geometry import Array
from identify.reference.parse import Notes
from identify.reference.profile import Form
from identify.reference.schema import Places
from identify.reference.sets import Profile
from identify.reference.tomllines import Path

FAR_MM, FAR_SHARE = 6.0, 0.12
"""A ring's centre stands off the body's edge by about half its diameter; further than this, in mm or as a share of the
length, it is a slip of the pen, or a ring on a lip or a long wire."""
BETTER_MM = 2.0
"""How much nearer to the edge the rings must come before a turned outline is suspected."""
TURNS = {"as drawn": (1, 1), "upside down": (1, -1), "tail left": (-1, 1), "tail left and upside down": (-1, -1)}
RINGS = ("line_ties", "hangers")


def levels(what: Profile) -> Iterable[tuple[Path, Places]]:
    """Each place of a model file where rings, eye, years and the like may stand, with its path."""
    yield (), what.data
    for i, size in enumerate(what.data.size):
        yield ("size", i), size
    for i, variant in enumerate(what.data.variant):
        yield ("variant", i), variant


def _drawn(what: Profile) -> Iterator[tuple[Form, Array, float, str]]:
    """Each form that has an outline, with it, how far is far, and the form's name for people."""
    for form in what.forms:
        if form.outline_mm is not None:
            which = f"size '{form.size}'" + (f", variant '{form.variant}'" if form.variant else "")
            yield form, np.array(form.outline_mm), max(FAR_MM, FAR_SHARE * form.length_mm), which


def _places(form: Form, key: str) -> Array:
    rings = getattr(form, key)
    return np.array((rings.at_mm if rings is not None else None) or (), float).reshape(-1, 2)


def errors(what: Profile, notes: Notes) -> None:
    """An outline that lies the wrong way round, beyond doubt: the rings lie far off it, and near it if it is turned."""
    for form, outline, limit, which in _drawn(what):
        places = np.vstack([_places(form, key) for key in RINGS])
        if form.lip not in (None, "none") or not len(places) or distance_to(outline, places).max() <= limit:
            continue
        turn = turned(outline, places, form.length_mm)
        if turn is not None and turn[1] < limit / 2:
            key = next(k for k in RINGS if len(_places(form, k)))
            text = f"the outline lies {turn[0]} against the {key.replace('_', ' ')} ({which})"
            path = where(what, form.size, form.variant, key)
            notes.add("outline-reversed", path, text, "Draw it with the nose left and the back up.")
            return


def remarks(what: Profile, notes: Notes) -> None:
    """Rings far from the body, an eye outside it, an outline that would fit better turned round."""
    said: set[Path] = set()  # a value at the top is checked at every size, but named once
    for form, outline, limit, which in _drawn(what):
        for key in RINGS:
            places = _places(form, key)
            far = float(distance_to(outline, places).max()) if len(places) else 0.0
            path = where(what, form.size, form.variant, key) if far > limit else None
            if path is not None and path not in said:
                said.add(path)
                text = f"one of the {key.replace('_', ' ')} lies {far:.0f} mm from the body's edge ({which})"
                fix = "Right for a ring on a lip. Places are in mm from the nose, x to the tail, y up to the back, "
                notes.add("ring-off-outline", path, text, fix + "at the top and in a variant for the first size.")
        at = form.eye.at_mm if form.eye is not None else None
        if at is not None and not inside(outline, at):
            path = where(what, form.size, form.variant, "eye")
            if path not in said:
                said.add(path)
                fix = "Its centre is in mm from the nose: x to the tail, y up to the back."
                notes.add("eye-off-outline", path, f"the eye lies outside the body ({which})", fix)
        places = np.vstack([_places(form, key) for key in RINGS])
        turn = turned(outline, places, form.length_mm) if len(places) else None
        if turn is not None and turn[2] - turn[1] > BETTER_MM and turn[1] < turn[2] / 2 and () not in said:
            said.add(())
            text = f"line ties and hangers fit the outline of {which} better if it is turned {turn[0]}"
            notes.add("outline-reversed", (), text, "Draw it with the nose left and the back up, or mend the places.")


def where(what: Profile, size: str, variant: str | None, key: str) -> Path:
    """Where the value that counts for a size and variant stands in the file."""
    paths = dict(levels(what))
    wanted: list[Path] = [("size", what.sizes.index(size)), ()]
    if variant is not None:
        wanted.insert(0, ("variant", [v.code for v in what.data.variant].index(variant)))
    return next((*path, key) for path in wanted if getattr(paths[path], key) is not None)


def distance_to(outline: Array, places: Array) -> Array:
    """(m,) distances of places (m, 2) to the line of a closed polygon (n, 2)."""
    a, b = outline, np.roll(outline, -1, 0)
    d = b - a
    t = ((places[:, None] - a) * d).sum(-1) / np.maximum((d**2).sum(-1), 1e-12)
    near = a + np.clip(t, 0, 1)[..., None] * d
    away = places[:, None] - near
    nearest: Array = np.hypot(away[..., 0], away[..., 1]).min(1)
    return nearest


def inside(outline: Array, place: Sequence[float]) -> bool:
    """Whether a point lies in a closed polygon (n, 2): crossings of a ray to the right are odd."""
    x, y = outline.T
    x2, y2 = np.roll(x, -1), np.roll(y, -1)
    cut = (y > place[1]) != (y2 > place[1])
    at = x[cut] + (place[1] - y[cut]) / (y2[cut] - y[cut]) * (x2[cut] - x[cut])
    return bool((at > place[0]).sum() % 2)


def turned(outline: Array, places: Array, length_mm: float) -> tuple[str, float, float] | None:
    """The turn of an outline (n, 2) that brings it nearest to the rings at `places` (m, 2), if it is another than as
    drawn: its name, the greatest distance of a ring then, and as drawn."""
    far = {
        name: float(distance_to(outline * (sx, sy) + ((length_mm if sx < 0 else 0.0), 0.0), places).max())
        for name, (sx, sy) in TURNS.items()
    }
    best = min(far, key=far.__getitem__)
    return None if best == "as drawn" else (best, far[best], far["as drawn"])
