"""Look-alikes of a set as rows, as pictures and as a page: what would be taken for what, and how to tell."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape
from pathlib import Path

import numpy as np

from identify import __version__
from identify.rank.lookalikes import COLOURS, Lookalikes
from identify.rank.prepared import Prepared
from identify.reference import Form, ReferenceSet, compare
from identify.reference.slugs import slug
from identify.reference.write import put
from identify.report.drawing import Drawing, Shape, fine_path, ring_path
from identify.report.templating import template
from identify.report.words import factor, percent

CELL, LETTERS = 14, 10
LETTER = 0.58
"""Width of a letter for its height, on average and to be on the safe side."""
MATRIX_AT_MOST = 80
"""Larger sets show only the forms that have look-alikes."""
FULL = 0.3
"""A cell is darkest from this share of confusion on; half would be a coin tossed."""


@dataclass(frozen=True)
class AlikeRow:
    """Two forms that are taken for one another; shares of baits by how good the photo is.  `size_difference_mm`: how
    much longer the first is, ± how far single pieces scatter about that.  `colours_weight`: what colours and pattern
    tell on average, as far as the lists of colourways go, whether or not they count as the feature that tells best."""

    one: str
    other: str
    good: float
    fair: float
    poor: float
    feature: str | None
    weight: float
    colours_weight: float
    look_at: tuple[str, ...]
    linked: str | None
    size_difference_mm: float
    size_difference_u: float


def alike_rows(pairs: Sequence[Lookalikes], p: Prepared, sets: Sequence[ReferenceSet]) -> tuple[AlikeRow, ...]:
    """Rows of the pairs, the worst first."""
    rows = []
    for pair in pairs:
        one, other = p.forms[pair.one], p.forms[pair.other]
        gap, scatter = compare.size_difference(one, other)
        rows.append(
            AlikeRow(
                one=full_name(one),
                other=full_name(other),
                good=pair.confused["good"],
                fair=pair.confused["fair"],
                poor=pair.confused["poor"],
                feature=pair.feature,
                weight=pair.weight,
                colours_weight=sum(weight for feature, weight in pair.weights if feature in COLOURS),
                look_at=compare.told_apart(one, other),
                linked=compare.link(sets, one, other),
                size_difference_mm=gap,
                size_difference_u=scatter,
            )
        )
    return tuple(rows)


def full_name(form: Form) -> str:
    """MAKER / MODEL / SIZE, and the variant."""
    return " / ".join(filter(None, (form.maker, form.model, form.size, form.variant)))


def tells(row: AlikeRow) -> str:
    """What tells a pair best, in a few words."""
    if row.feature is None:
        return "nothing but the few colours listed so far" if row.colours_weight > 0 else "nothing that is measured"
    return f"{row.feature}, as far as they are listed" if row.feature in COLOURS else row.feature


def best(row: AlikeRow) -> str:
    """The same, with how well it tells; of colours, why they may not."""
    if row.feature is None:
        return tells(row)
    caveat = "; a piece may wear a colour that is on no list" if row.feature in COLOURS else ""
    return f"{tells(row)} ({factor(row.weight)} times likelier for the right one{caveat})"


def laid_over(one: Form, other: Form) -> Drawing | None:
    """Two outlines over each other in millimetres with their rings and eyes, noses together; None without outlines."""
    if one.outline_mm is None or other.outline_mm is None:
        return None
    flip = np.array([1.0, -1.0])
    first, second = np.asarray(one.outline_mm) * flip, np.asarray(other.outline_mm) * flip
    rings = [
        (kind, x, -y)
        for kind, form in (("measured-tie", one), ("expected-tie", other))
        for places in (form.line_ties, form.hangers)
        for x, y in (places.at_mm if places is not None else None) or ()
    ]
    every = np.vstack([first, second, *[[x, y] for _, x, y in rings]])
    low, high = every.min(0), every.max(0)
    unit = float((high - low).max()) / 100
    margin = 4 * unit
    shapes = [Shape("expected", fine_path(second), (0, 0)), Shape("measured", fine_path(first), (0, 0))]
    shapes += [Shape(kind, ring_path(x, y, 1.4 * unit), (0, 0)) for kind, x, y in rings]
    wide, tall = high - low + 2 * margin
    view = (float(low[0] - margin), float(low[1] - margin), float(wide), float(tall))
    return Drawing(view, tuple(shapes), unit)


STYLE = (
    ".expected{fill:#cfe3dc;stroke:#1f6f5c;stroke-dasharray:6 3}.measured{stroke:#101316}.expected-tie{fill:#1f6f5c}"
    ".measured-tie{stroke:#101316}path{fill:none;stroke-width:1.5;vector-effect:non-scaling-stroke}"
    "text{font-family:Helvetica,Arial,sans-serif;fill:#101316}"
)


def pair_svg(one: Form, other: Form, drawn: Drawing) -> str:
    """A picture of two outlines for itself."""
    x, y, w, h = drawn.view
    paths = "\n".join(f'<path class="{s.kind}" d="{s.path}"/>' for s in drawn.shapes)
    names = f"line: {full_name(one)}", f"filled: {full_name(other)}"
    size = min(3.2 * drawn.unit, (w - 4 * drawn.unit) / (LETTER * max(map(len, names))))
    tall = h + 3.5 * size
    left = x + 2 * drawn.unit
    said = "".join(
        f'<text x="{left:.2f}" y="{y + h + (1 + 1.4 * k) * size:.2f}" font-size="{size:.2f}">{escape(name)}</text>\n'
        for k, name in enumerate(names)
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:.1f}mm" height="{tall:.1f}mm" '
        f'viewBox="{x:.2f} {y:.2f} {w:.2f} {tall:.2f}">\n<title>{escape("; ".join(names))}</title>\n'
        f"<style>{STYLE}</style>\n{paths}\n{said}</svg>\n"
    )


def matrix_svg(pairs: Sequence[Lookalikes], p: Prepared) -> str:
    """All forms against each other, a cell the darker the more often a fair photo confuses them."""
    alike = sorted({i for pair in pairs for i in (pair.one, pair.other)})
    shown = list(range(len(p.forms))) if len(p.forms) <= MATRIX_AT_MOST else alike
    place = {form: k for k, form in enumerate(shown)}
    side = CELL * len(shown)
    labels = 12 + round(LETTER * LETTERS * max((len(full_name(p.forms[form])) for form in shown), default=0))
    out = []
    for form, k in place.items():
        name = escape(full_name(p.forms[form]))
        y = labels + k * CELL
        out.append(
            f'<text x="{labels - 6}" y="{y + 0.75 * CELL:.1f}" text-anchor="end" font-size="{LETTERS}">{name}</text>'
        )
        turn = f"translate({labels + k * CELL + 0.75 * CELL:.1f} {labels - 6}) rotate(-90)"
        out.append(f'<text transform="{turn}" font-size="{LETTERS}">{name}</text>')
        out.append(f'<rect x="{labels + k * CELL}" y="{y}" width="{CELL}" height="{CELL}" fill="#e3e6e8"/>')
    for pair in pairs:
        share = pair.confused["fair"]
        names = f"{full_name(p.forms[pair.one])} and {full_name(p.forms[pair.other])}: {percent(share)}"
        dark = min(1.0, share / FULL) ** 0.5
        for i, j in ((pair.one, pair.other), (pair.other, pair.one)):
            x, y = labels + place[j] * CELL, labels + place[i] * CELL
            rect = f'<rect x="{x}" y="{y}" width="{CELL}" height="{CELL}" fill="#9a3b1f" fill-opacity="{dark:.2f}">'
            out.append(f"{rect}<title>{escape(names)}</title></rect>")
    frame = f'<rect x="{labels}" y="{labels}" width="{side}" height="{side}" fill="none" stroke="#1d2328"/>'
    whole = labels + side + 10
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{whole}" height="{whole}" viewBox="0 0 {whole} {whole}">\n'
        f"<title>How often a fair photo takes one for the other</title>\n<style>{STYLE}</style>\n"
        f'<rect width="{whole}" height="{whole}" fill="#fff"/>\n{chr(10).join(out)}\n{frame}\n</svg>\n'
    )


@dataclass(frozen=True)
class PairPage:
    row: AlikeRow
    shares: tuple[tuple[str, str], ...]
    best: str
    drawn: Drawing | None
    file: str
    sentence: str


def write_pages(
    folder: Path,
    pairs: Sequence[Lookalikes],
    p: Prepared,
    sets: Sequence[ReferenceSet],
    today: datetime.date | None = None,
) -> Path:
    """Write `index.html`, `matrix.svg` and a picture of each pair; returns the page.  Raises CannotWrite."""
    pages = []
    for number, (pair, row) in enumerate(zip(pairs, alike_rows(pairs, p, sets), strict=True), 1):
        one, other = p.forms[pair.one], p.forms[pair.other]
        drawn = laid_over(one, other)
        file = f"{number:03d}-{slug(f'{one.model} {one.size}')}-{slug(f'{other.model} {other.size}')}.svg"
        if drawn is not None:
            put(folder / file, pair_svg(one, other, drawn))
        shares = tuple((name, percent(share)) for name, share in pair.confused.items())
        said = compare.linked_words(row.linked, one, other) if row.linked is not None else ""
        pages.append(PairPage(row, shares, best(row), drawn, file if drawn is not None else "", said))
    matrix = matrix_svg(pairs, p)
    put(folder / "matrix.svg", matrix)
    date = (today or datetime.date.today()).isoformat()
    page = template("lookalikes.html.j2").render(
        pages=pages, matrix=matrix, sets=sets, version=__version__, date=date, forms=len(p.forms)
    )
    put(folder / "index.html", page)
    return folder / "index.html"
