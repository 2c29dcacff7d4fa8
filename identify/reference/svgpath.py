"""SVG path data as polylines: M, L, H, V, C, S, Q, T and Z, absolute or relative (SVG 1.1, section 8.3)."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import shapely

from identify.geometry import Array
from identify.settings import Point

NUMBERS = {"M": 2, "L": 2, "H": 1, "V": 1, "C": 6, "S": 4, "Q": 4, "T": 2, "Z": 0}
TOKEN = re.compile(r"[A-DF-Za-df-z]|[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?", re.ASCII)
FLATNESS = 0.01
"""How far, in units of the path, a polyline may lie from its curve."""
MOST_POINTS = 200
"""Points of one curve at most."""


class PathFault(ValueError):
    """Path data that cannot be used; `code` is one of faults.CODES."""

    def __init__(self, text: str, code: str = "outline-syntax") -> None:
        super().__init__(text)
        self.code = code


@dataclass(frozen=True, eq=False)
class Subpath:
    """One piece of a path: points (n, 2), the last not repeating the first if closed."""

    points: Array
    closed: bool


def _tokens(data: str) -> list[str | float]:
    tokens: list[str] = TOKEN.findall(data)
    if left := TOKEN.sub(" ", data).replace(",", " ").strip():
        raise PathFault(f"the path has '{left[:8]}' in it, which is no command or number")
    return [token if token.isalpha() else float(token) for token in tokens]


@lru_cache(maxsize=MOST_POINTS * 2)
def _weights(degree: int, n: int) -> Array:
    """Bernstein weights (n, degree + 1) of n even steps along a Bézier curve, its first point left out."""
    t = np.arange(1, n + 1) / n
    out = np.stack([math.comb(degree, k) * t**k * (1 - t) ** (degree - k) for k in range(degree + 1)], 1)
    out.flags.writeable = False
    return out


def bezier(control: Sequence[Point]) -> Array:
    """A quadratic (3 points) or cubic (4 points) Bézier curve as a polyline (n, 2) without its first point.

    The number of points keeps the chord error, at most max|B''| / 8n², below FLATNESS.
    """
    degree = len(control) - 1
    bend = max(
        abs(a[0] - 2 * b[0] + c[0]) + abs(a[1] - 2 * b[1] + c[1])
        for a, b, c in zip(control, control[1:], control[2:], strict=False)
    )
    n = min(max(math.ceil(math.sqrt(bend * degree * (degree - 1) / (8 * FLATNESS))), 1), MOST_POINTS)
    curve: Array = _weights(degree, n) @ np.array(control)
    return curve


def parse(data: str) -> tuple[Subpath, ...]:
    """Path data as subpaths, curves drawn as polylines to FLATNESS.  Raises PathFault."""
    tokens = _tokens(data)
    if not tokens or tokens[0] not in ("M", "m"):
        raise PathFault("a path begins with M, a move to its first point")
    done: list[Subpath] = []
    points: list[Array | list[Point]] = []
    here = start = (0.0, 0.0)
    handle: Point | None = None
    before = ""
    command = ""
    i = 0

    def end(closed: bool) -> None:
        if len(points) > 1 or sum(map(len, points)) > 1:
            done.append(_subpath(np.vstack(points), closed))
        points.clear()

    while i < len(tokens):
        token = tokens[i]
        if isinstance(token, str):
            command = token
            i += 1
            if command.upper() == "A":
                raise PathFault("the path has an arc (A); draw it with curves (C) instead", "outline-command")
            if command.upper() not in NUMBERS:
                raise PathFault(f"the path has the command {command}, which SVG does not have", "outline-command")
        elif command.upper() == "Z":
            raise PathFault("numbers follow Z, which takes none")
        kind, relative = command.upper(), command.islower()
        if kind == "Z":
            end(closed=True)
            here, handle, before = start, None, "Z"
            continue
        numbers = [v for v in tokens[i : i + NUMBERS[kind]] if isinstance(v, float)]
        if len(numbers) < NUMBERS[kind]:
            raise PathFault(f"the command {command} needs {NUMBERS[kind]} number(s)")
        i += NUMBERS[kind]
        x, y = here if relative else (0.0, 0.0)
        if kind == "H":
            places = [(x + numbers[0], here[1])]
        elif kind == "V":
            places = [(here[0], y + numbers[0])]
        else:
            places = [(x + a, y + b) for a, b in zip(numbers[::2], numbers[1::2], strict=True)]
        if kind == "M":
            end(closed=False)
            here = start = places[0]
            points.append([here])
            handle, before = None, "M"
            command = "l" if relative else "L"
            continue
        if not points:
            points.append([here])
        if kind in "ST":
            follows = handle is not None and before in ("CS" if kind == "S" else "QT")
            places.insert(0, (2 * here[0] - handle[0], 2 * here[1] - handle[1]) if follows and handle else here)
        if kind in "CSQT":
            points.append(bezier([here, *places]))
            handle = places[-2]
        else:
            points.append(places)
            handle = None
        here, before = places[-1], kind
    end(closed=False)
    return tuple(done)


def _subpath(points: Array, closed: bool) -> Subpath:
    """Repeated points left out; a path that returns to its start counts as closed."""
    keep = np.concatenate([[True], np.abs(np.diff(points, axis=0)).max(1) > 1e-9])
    points = points[keep]
    if len(points) > 2 and np.abs(points[-1] - points[0]).max() <= FLATNESS:
        return Subpath(points[:-1], True)
    return Subpath(points, closed)


def crossing(points: Array) -> Array | None:
    """A point (2,) near which a closed polygon (n, 2) crosses, touches or turns back on itself, None if simple."""
    end = np.roll(points, -1, 0)
    step = end - points
    following = np.roll(step, -1, 0)
    back = (step * following).sum(1) < -(1 - 1e-9) * np.hypot(*step.T) * np.hypot(*following.T)
    if back.any():
        return np.asarray(end[int(np.argmax(back))], float)
    if shapely.is_simple(shapely.linearrings(points)):  # which is much faster, but does not say where
        return None
    x, y = points.T
    # side[i, j]: on which side of segment i the point j lies; 0 on its line
    side = step[:, :1] * (y - y[:, None]) - step[:, 1:] * (x - x[:, None])
    after = np.roll(side, -1, 1)
    hit = (side * after <= 0) & (side.T * after.T <= 0) & ((side != 0) | (after != 0))
    n = len(points)
    for k in (-1, 0, 1):  # neighbours share a point
        hit[np.arange(n), (np.arange(n) + k) % n] = False
    if not hit.any():
        return None
    i, j = np.unravel_index(int(np.argmax(hit)), hit.shape)
    share = side[j, i] / (side[j, i] - after[j, i]) if side[j, i] != after[j, i] else 0.0
    return np.asarray(points[i] + share * step[i], float)
