"""Pictures of the benchmark, as SVG files that need nothing else: how sure answers are against how right, and which
models are taken for which."""

from __future__ import annotations

from collections.abc import Sequence
from html import escape
from pathlib import Path

import numpy as np

from tests.benchmarks.stats import wilson

SIDE, MARGIN = 420, 60
BINS = 10
INK, QUIET, BAR = "#1d2328", "#c9cfd4", "#1f6f5c"
HEAD = '<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {w} {h}" font-family="sans-serif" font-size="12">'


def _text(x: float, y: float, text: str, anchor: str = "middle", turn: float = 0.0) -> str:
    turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" fill="{INK}"{turned}>{escape(text)}</text>'


def reliability(top: Sequence[float], right: Sequence[bool], place: Path) -> None:
    """A reliability diagram: of the answers in each tenth of probability, the share that was right, with its 95 %
    Wilson interval and n."""
    parts = [HEAD.format(w=SIDE + 2 * MARGIN, h=SIDE + 2 * MARGIN), '<rect width="100%" height="100%" fill="#fff"/>']
    x0, y0 = MARGIN, MARGIN + SIDE

    def at(p: float, q: float) -> tuple[float, float]:
        return x0 + p * SIDE, y0 - q * SIDE

    parts.append(f'<path d="M{x0} {y0}H{x0 + SIDE}M{x0} {y0}V{MARGIN}" stroke="{INK}" fill="none"/>')
    parts.append(f'<path d="M{x0} {y0}L{x0 + SIDE} {MARGIN}" stroke="{QUIET}" stroke-dasharray="5 4" fill="none"/>')
    for tick in range(0, 11, 2):
        parts += [
            _text(at(tick / 10, 0)[0], y0 + 16, f"{tick / 10:g}"),
            _text(x0 - 8, at(0, tick / 10)[1] + 4, f"{tick / 10:g}", "end"),
        ]
    p, r = np.asarray(top, float), np.asarray(right, bool)
    which = np.minimum((p * BINS).astype(int), BINS - 1)
    for k in range(BINS):
        n = int((which == k).sum())
        if n:
            hits = int(r[which == k].sum())
            x, y = at(float(p[which == k].mean()), hits / n)
            low, high = (at(0, q)[1] for q in wilson(hits, n))
            parts.append(f'<path d="M{x:.1f} {low:.1f}V{high:.1f}" stroke="{BAR}" fill="none"/>')
            parts.append(f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{BAR}"/>')
            parts.append(_text(x, min(low + 14, y0 - 4), str(n)))
    parts += [
        _text(x0 + SIDE / 2, y0 + 40, "probability of the answer"),
        _text(18, MARGIN + SIDE / 2, "share right", turn=-90),
        _text(x0 + SIDE / 2, 30, f"How right answers are, {len(p)} baits"),
        "</svg>",
    ]
    place.write_text("\n".join(parts), "utf-8")


def confusion(truth: Sequence[str], answer: Sequence[str], place: Path) -> None:
    """Which model was answered for which: a row for each true one, a column for each answer, counts in the cells."""
    names = sorted({*truth, *answer})
    cell, left, above = 30, 230, 230
    size = cell * len(names)
    parts = [HEAD.format(w=left + size + 160, h=above + size + 40), '<rect width="100%" height="100%" fill="#fff"/>']
    index = {name: i for i, name in enumerate(names)}
    counts = np.zeros((len(names), len(names)), int)
    for t, a in zip(truth, answer, strict=True):
        counts[index[t], index[a]] += 1
    for i, name in enumerate(names):
        parts.append(_text(left - 8, above + (i + 0.65) * cell, name, "end"))
        parts.append(_text(left + (i + 0.6) * cell, above - 8, name, "start", -60))
        for j in range(len(names)):
            n = int(counts[i, j])
            shade = 0.0 if n == 0 else 0.15 + 0.85 * n / counts[i].sum()
            fill = BAR if i == j else "#9a3b1f"
            parts.append(
                f'<rect x="{left + j * cell}" y="{above + i * cell}" width="{cell}" height="{cell}" fill="{fill}" '
                f'fill-opacity="{shade:.2f}" stroke="{QUIET}"/>'
            )
            if n:
                parts.append(_text(left + (j + 0.5) * cell, above + (i + 0.65) * cell, str(n)))
    parts.append(_text(left + size / 2, above + size + 26, "rows: the truth; columns: the answer"))
    parts.append("</svg>")
    place.write_text("\n".join(parts), "utf-8")
