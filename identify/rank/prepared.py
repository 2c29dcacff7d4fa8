"""A reference set made ready for ranking: its forms as arrays, in an order that does not depend on how they came."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from itertools import chain

import numpy as np

from identify.geometry import Array
from identify.outline import DESCRIPTORS, descriptors, profiles
from identify.rank.background import Background, background
from identify.rank.covariance import Axes, outline_axes
from identify.rank.densities import said
from identify.rank.drawn import shared
from identify.rank.noise import Noise
from identify.rank.palette import Palette, palette
from identify.rank.rings import UNKNOWN, Indices, Rings
from identify.reference.profile import Form, RingPlaces
from identify.told import HARDWARE, WORDS

MOST_RINGS = 6
MOST_PARTS = 3


def _parts(form: Form) -> str | None:
    return None if form.parts is None else str(min(form.parts, MOST_PARTS))


KINDS: dict[str, tuple[tuple[str, ...], Callable[[Form], str | None]]] = {
    "eye": (WORDS["eye"], lambda f: None if f.eye is None else f.eye.kind),
    "lip": (WORDS["lip"], lambda f: f.lip),
    "tie_kind": (HARDWARE, lambda f: f.tie_kind),
    "hanger_kind": (HARDWARE, lambda f: f.hanger_kind),
    "material": (WORDS["material"], lambda f: f.material),
    "parts": (tuple(str(k + 1) for k in range(MOST_PARTS)), _parts),
}
"""What kinds there are under each told key, and which one a form is of."""


BY_FORM = (
    *("maker", "model", "share", "ln_length", "length_tolerance", "ln_aspect", "aspect_tolerance", "outline"),
    *("outline_doubt", "ln_thickness", "ln_weight", "hooks", "eye", "eye_place", "eye_diameter_mm", "eye_doubt", "lip"),
)
"""Plain arrays of `Prepared` that have a row for each form."""


@dataclass(frozen=True, eq=False)
class Prepared:
    """Forms in order of name, n of them; NaN or UNKNOWN is what the set does not say.

    `maker` and `model` (n,) index `makers` and `models`, as `maker_of_model` does.
    `ln_length`, `ln_aspect`, `ln_thickness` (n,) and their relative tolerances; `outline` (n, DESCRIPTORS) in the axes
    of `outline_axes`, and `outline_doubt` (n,): how far it may lie off, in standard deviations of one piece in one
    photo.  `eye`, `lip`: 1 there, 0 none; `eye_doubt` (n,): how far its place may lie off, as a fraction of the length.
    `share` (n,): each form's part when all models weigh the same.  `kinds`: by key of KINDS the kind of each form
    (n,), and `kind_shares`: how much of the set is of each kind.
    """

    forms: Sequence[Form]
    noise: Noise
    axes: Axes
    makers: tuple[str, ...]
    models: tuple[tuple[str, str], ...]
    maker: Indices
    model: Indices
    maker_of_model: Indices
    share: Array
    ln_length: Array
    length_tolerance: Array
    ln_aspect: Array
    aspect_tolerance: Array
    outline: Array
    outline_doubt: Array
    ln_thickness: Array
    ln_weight: Array
    ties: Rings
    hangers: Rings
    hooks: Indices
    eye: Indices
    eye_place: Array
    eye_diameter_mm: Array
    eye_doubt: Array
    lip: Indices
    kinds: Mapping[str, Indices]
    kind_shares: Mapping[str, Array]
    palette: Palette
    background: Background

    @cached_property
    def length_mm(self) -> Array:
        lengths: Array = np.exp(self.ln_length)
        return lengths

    @cached_property
    def outline_squared(self) -> Array:
        squared: Array = np.square(self.outline)
        return squared

    @cached_property
    def eyes(self) -> Rings:
        """The eyes' places, as those of rings."""
        placed = (~np.isnan(self.eye_place[:, 0])).astype(np.int64)
        return Rings(placed, self.eye_place[:, None].astype(np.float32), placed, self.eye_doubt)


def sort_key(form: Form) -> tuple[str, str, float, str, str]:
    """Order of forms: by name, sizes from small to large."""
    return form.maker, form.model, form.length_mm, form.size, form.variant or ""


def _first_set_wins(forms: Sequence[Form]) -> list[Form]:
    first: dict[tuple[str, str], int] = {}
    for form in forms:
        name = form.maker, form.model
        first[name] = min(form.set, first.get(name, form.set))
    return [f for f in forms if f.set == first[f.maker, f.model]]


def _numbers(forms: Sequence[Form], get: Callable[[Form], float | None]) -> Array:
    return np.array([np.nan if (v := get(f)) is None else v for f in forms], float)


def _whole(forms: Sequence[Form], get: Callable[[Form], int | None]) -> Indices:
    return np.array([UNKNOWN if (v := get(f)) is None else v for f in forms], np.int64)


def _rings(forms: Sequence[Form], get: Callable[[Form], RingPlaces | None]) -> Rings:
    count = _whole(forms, lambda f: None if (r := get(f)) is None else r.count)
    places = np.full((len(forms), MOST_RINGS, 2), np.nan, np.float32)
    placed = np.zeros(len(forms), np.int64)
    for i, form in enumerate(forms):
        rings = get(form)
        if rings is not None and rings.at_mm:
            at = np.array(sorted(rings.at_mm)[:MOST_RINGS], float) / form.length_mm
            places[i, : len(at)] = at
            placed[i] = len(at)
    doubt = said(_numbers(forms, lambda f: None if (r := get(f)) is None else r.tolerance_mm))
    return Rings(count, places, placed, doubt / _numbers(forms, lambda f: f.length_mm))


def _kinds(forms: Sequence[Form], key: str) -> Indices:
    names, of = KINDS[key]
    return np.array([names.index(kind) if (kind := of(f)) in names else UNKNOWN for f in forms], np.int64)


def _kind_shares(kinds: Indices, share: Array, key: str) -> Array:
    known = kinds != UNKNOWN
    shares: Array = np.bincount(kinds[known], share[known], len(KINDS[key][0])).astype(float)
    return shares


def _eye(form: Form) -> int | None:
    if form.eye is None:
        return None
    return 0 if form.eye.kind == "none" else 1


def prepare(forms: Sequence[Form], noise: Noise | None = None) -> Prepared:
    """Make a set's forms ready; done once for many baits.  Where two sets have the same maker and model, those of the
    set with the lower number count."""
    noise = noise or Noise()
    kept = tuple(sorted(_first_set_wins(forms), key=sort_key))
    axes = outline_axes(noise)
    makers = tuple(sorted({f.maker for f in kept}))
    models = tuple(sorted({(f.maker, f.model) for f in kept}))
    maker_at, model_at = {m: i for i, m in enumerate(makers)}, {m: i for i, m in enumerate(models)}
    maker = np.array([maker_at[f.maker] for f in kept], np.int64)
    model = np.array([model_at[f.maker, f.model] for f in kept], np.int64)
    share = 1.0 / (np.bincount(model, minlength=len(models))[model] * max(1, len(models)))

    length = _numbers(kept, lambda f: f.length_mm)
    depth = _numbers(kept, lambda f: f.depth_mm)
    length_tolerance = _numbers(kept, lambda f: f.tolerance_mm) / length
    length_tolerance = np.where(np.isnan(length_tolerance), noise.length_tolerance, length_tolerance)
    depth_tolerance = _numbers(kept, lambda f: f.depth_tolerance_mm) / depth
    depth_tolerance = np.where(np.isnan(depth_tolerance), noise.depth_tolerance, depth_tolerance)

    raw = np.full((len(kept), DESCRIPTORS), np.nan)
    drawn = [i for i, form in enumerate(kept) if form.outline_mm is not None]
    if drawn:
        outlines = [kept[i].outline_mm or () for i in drawn]
        flat = chain.from_iterable(chain.from_iterable(outlines))
        raw[drawn] = descriptors(profiles(np.fromiter(flat, float).reshape(-1, 2), [len(one) for one in outlines]))
    scale = np.sqrt(axes.variances)
    doubt = said(_numbers(kept, lambda f: f.outline_tolerance_mm) / depth) / axes.height
    outline, doubt = shared(raw @ axes.vectors / scale, doubt)
    ties, hangers = _rings(kept, lambda f: f.line_ties), _rings(kept, lambda f: f.hangers)
    eye_place = np.full((len(kept), 2), np.nan)
    for i, form in enumerate(kept):
        if form.eye is not None and form.eye.at_mm is not None:
            eye_place[i] = np.array(form.eye.at_mm) / form.length_mm

    ln_length, ln_aspect = np.log(length), np.log(depth / length)
    kinds = {key: _kinds(kept, key) for key in KINDS}
    return Prepared(
        forms=kept,
        noise=noise,
        axes=axes,
        makers=makers,
        models=models,
        maker=maker,
        model=model,
        maker_of_model=np.array([maker_at[m] for m, _ in models], np.int64),
        share=share,
        ln_length=ln_length,
        length_tolerance=length_tolerance,
        ln_aspect=ln_aspect,
        aspect_tolerance=np.hypot(depth_tolerance, length_tolerance),
        outline=outline * scale,
        outline_doubt=doubt,
        ln_thickness=np.log(_numbers(kept, lambda f: f.thickness_mm)),
        ln_weight=np.log(_numbers(kept, lambda f: f.weight_g)),
        ties=ties,
        hangers=hangers,
        hooks=_whole(kept, lambda f: f.hooks),
        eye=_whole(kept, _eye),
        eye_place=eye_place,
        eye_diameter_mm=_numbers(kept, lambda f: None if f.eye is None else f.eye.diameter_mm),
        eye_doubt=said(_numbers(kept, lambda f: None if f.eye is None else f.eye.tolerance_mm)) / length,
        lip=_whole(kept, lambda f: None if f.lip is None else int(f.lip != "none")),
        kinds=kinds,
        kind_shares={key: _kind_shares(own, share, key) for key, own in kinds.items()},
        palette=palette(kept),
        background=background(noise, share, len(models), ln_length, ln_aspect, raw, ties, hangers, eye_place),
    )
