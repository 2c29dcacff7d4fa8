"""Photos of one piece joined: whether they are taken for one, others are not, and what joining does to lengths."""

from __future__ import annotations

from itertools import combinations

from identify.piece import APART, Shot, against, join
from tests.benchmarks.collect import Result
from tests.benchmarks.figure import Figure, middle, share


def together_figures(results: list[Result]) -> list[Figure]:
    """Over the pieces that were photographed twice."""
    pieces: dict[str, list[tuple[Shot, dict[str, object]]]] = {}
    for r in results:
        if r.photo.truth["subset"] != "twice":
            continue
        for m in r.matches:
            if m.bait is not None:
                name = str(r.photo.truth["file"])
                pieces.setdefault(name.rsplit("_", 1)[0], []).append((Shot(name, m.bait.measurement), m.truth))
    one, errors, apart = [], [], []
    for photos in pieces.values():
        if len(photos) == 2:
            found = join([shot for shot, _ in photos])
            one.append(not found.odd)
            true, length = photos[0][1].get("feret_length_mm"), found.measurement.length_mm
            if isinstance(true, float) and length is not None:
                errors.append(100 * abs(length.value / true - 1))
    every = [photo for photos in pieces.values() for photo in photos]
    for (a, true_a), (b, true_b) in combinations(every, 2):
        if any(true_a.get(key) != true_b.get(key) for key in ("model", "size_index", "colourway")):
            apart.append(sum(against(a, b).values()) <= APART)
    return [
        share("two photos of one piece taken together", one, ""),
        share("two photos of different kinds set apart", apart, ""),
        middle("length from two photos together: median error", errors, "%", ""),
    ]
