"""From a written mention (a code, a nickname, half a name, misspelt, on a box or a price list) to models, sizes and
colourways.  Words are compared fuzzily (rapidfuzz), so that order, endings and slips of the pen matter little."""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz

from identify.errors import BadOption
from identify.geometry import Array
from identify.reference.schema import ColourwayTable
from identify.reference.sets import Profile, ReferenceSet

LEAST = 45.0
"""Of 100: a model that explains less of a mention than this is not listed."""
LISTED_AT_MOST = 20
SHORT, ALIKE, BEGINS = 4, 75.0, 90.0
"""Shorter words must match exactly, since codes differ in one letter; how alike longer ones must be; and what a word is
worth that a longer one begins with."""
MAKER, COLOURWAY, SIZE = 0.9, 0.8, 0.7
"""What a word of the mention is worth where it names these rather than the model."""
UNHEARD = 0.25
"""What a word that nothing in the set is called weighs against the rarest that something is: a price list says more
than names."""
HALF = 0.5
"""At least so much of a colourway's name must be said."""
FILLERS = frozenset(
    {
        *("a", "an", "and", "at", "by", "cm", "for", "in", "inch", "inches", "it", "mm", "model", "no", "nr", "number"),
        *("of", "on", "or", "over", "size", "the", "with"),
    }
)
FRACTIONS = {"½": ".5", "¼": ".25", "¾": ".75", "⅛": ".125", "⅜": ".375", "⅝": ".625", "⅞": ".875"}
SIGN = re.compile(rf"(?:(\d+)\s?)?([{''.join(FRACTIONS)}])")
FRACTION = re.compile(r"(?<![\d/])(?:(\d+)[ -])?(\d)/([2-9]|16|32)(?![\d/])")
INCHES = re.compile(r"(\d+(?:[.,]\d+)?)(?:[ -](\d+)/(\d+))?\s*(?:in\b|inch(?:es)?\b|[\"″])")
MILLIMETRES = re.compile(r"(\d+(?:[.,]\d+)?)\s*(mm|cm)\b")
LENGTH_OFF = 0.06


@dataclass(frozen=True)
class Match:
    """What of the mention matched what: `where` is the key in the file, `text` what stands there."""

    where: str
    text: str
    score: float


@dataclass(frozen=True)
class Found:
    """One model, with size and colourway as far as the mention names them.  `score` out of 100."""

    maker: str
    model: str
    size: str | None
    colourway: str | None
    colourway_name: str | None
    score: float
    matched: tuple[Match, ...]
    file: str


def plain(text: str) -> str:
    """Lower case without accents and punctuation, single spaces; fractions as decimals: 1½ and 1 1/2 are 1.5."""
    bare = unicodedata.normalize("NFKD", FRACTION.sub(_decimal, _decimals(text.casefold().replace("ß", "ss"))))
    words = re.findall(
        r"\d+\.\d+|[^\W_]+", "".join(c for c in bare if not unicodedata.combining(c)).replace("&", " and ")
    )
    return " ".join(words)


def _decimals(text: str) -> str:
    """Text with fractions that are one sign as decimals."""
    return SIGN.sub(lambda found: f"{found[1] or 0}{FRACTIONS[found[2]]}", text)


def _decimal(found: re.Match[str]) -> str:
    whole, above, below = int(found[1] or 0), int(found[2]), int(found[3])
    return f"{whole + above / below:g}"


def length_of(mention: str) -> float | None:
    """A length written in a mention, in mm."""
    text = _decimals(mention.casefold())
    if match := MILLIMETRES.search(text):
        return float(match[1].replace(",", ".")) * (10 if match[2] == "cm" else 1)
    if (match := INCHES.search(text)) is not None:
        parts = float(match[2]) / float(match[3]) if match[2] and float(match[3]) else 0.0
        return (float(match[1].replace(",", ".")) + parts) * 25.4
    return None


def alike(word: str, heard: str) -> float:
    """How surely a word heard means a word of the set, 0 to 1."""
    if word == heard:
        return 1.0
    if min(len(word), len(heard)) < SHORT:
        return 0.0
    if word.startswith(heard):
        return BEGINS / 100
    score = fuzz.ratio(word, heard)
    return score / 100 if score >= ALIKE else 0.0


def heard_as(name: str, heard: list[str]) -> Array:
    """How surely each word heard means a word of a name, or the whole name run together."""
    words = plain(name).split()
    words = [*words, "".join(words)] if len(words) > 1 else words
    return np.array([max((alike(word, h) for word in words), default=0.0) for h in heard])


def _said_of(name: str, heard: list[str]) -> float:
    """How much of a name is said, 0 to 1."""
    words = [word for word in plain(name).split() if word not in FILLERS]
    return sum(max(alike(word, h) for h in heard) for word in words) / max(1, len(words))


@dataclass(frozen=True, eq=False)
class _Heard:
    """A mention held against one model: how surely each word means its name, maker, size and colourway."""

    profile: Profile
    name: tuple[Match | None, Array]
    maker: tuple[Match | None, Array]
    size: tuple[Match | None, Array]
    colourway: tuple[Match | None, Array]
    size_code: str | None
    colourway_table: ColourwayTable | None

    @property
    def worth(self) -> Array:
        found: Array = np.max(
            [self.name[1], MAKER * self.maker[1], SIZE * self.size[1], COLOURWAY * self.colourway[1]], axis=0
        )
        return found


def find(found: ReferenceSet, mention: str) -> tuple[Found, ...]:
    """Models that a mention may mean, best first: those that explain most of its words, rare words counting more.

    Raises BadOption for a mention without a letter or digit."""
    said = plain(mention).split()
    heard = [word for word in said if word not in FILLERS] or said
    if not heard:
        raise BadOption("There is nothing to look for.", "Give a name, a code, or part of one.")
    length = length_of(mention)
    against = [_held(profile, heard, length) for profile in found.profiles]
    if not against:
        return ()
    worth = np.array([h.worth for h in against])
    meaning = (worth > 0).sum(0)
    rarity = np.log1p(len(against) / np.maximum(meaning, 1)) * np.where(meaning > 0, 1.0, UNHEARD)
    scores = 100 * worth @ rarity / rarity.sum()
    rows = [_row(h, float(score)) for h, score in zip(against, scores, strict=True) if score >= LEAST]
    return tuple(sorted(rows, key=lambda r: (-r.score, r.maker, r.model)))[:LISTED_AT_MOST]


def _held(profile: Profile, heard: list[str], length: float | None) -> _Heard:
    data = profile.data
    names = [("model", data.model), *(("also_called", name) for name in data.also_called)]
    names += [("formerly", name.rpartition(" / ")[2]) for name in data.formerly]
    name = _best(names, heard)
    maker = _best([("maker", data.maker)], heard)
    taken = np.maximum(name[1], maker[1])
    size, code = _size(profile, heard, length, taken)
    colourway, table = _colourway(profile, heard, taken)
    return _Heard(profile, name, maker, size, colourway, code, table)


def _match(where: str, text: str, sure: Array) -> Match:
    return Match(where, text, round(100 * float(sure.max()), 1))


def _best(names: list[tuple[str, str]], heard: list[str]) -> tuple[Match | None, Array]:
    best: tuple[Match | None, Array] = (None, np.zeros(len(heard)))
    for where, name in names:
        sure = heard_as(name, heard)
        if sure.sum() > best[1].sum():
            best = (_match(where, name, sure), sure)
    return best


def _size(
    profile: Profile, heard: list[str], length: float | None, taken: Array
) -> tuple[tuple[Match | None, Array], str | None]:
    for code in profile.sizes:
        sure = np.array([float(plain(code) == h) for h in heard])
        if (sure > taken).any() and length is None:
            return (Match("size.code", code, 100.0), sure), code
    if length is not None:
        codes = zip(profile.sizes, profile.data.size, strict=True)
        code, near = min(codes, key=lambda found: abs(length / found[1].length_mm - 1))
        off = abs(length / near.length_mm - 1)
        if off < LENGTH_OFF:
            digits = np.array([float(h[0].isdigit()) for h in heard])
            return (Match("size.length_mm", f"{near.length_mm:g}", round(100 * (1 - off), 1)), digits), code
    return (None, np.zeros(len(heard))), None


def _colourway(
    profile: Profile, heard: list[str], taken: Array
) -> tuple[tuple[Match | None, Array], ColourwayTable | None]:
    best: tuple[Match | None, Array] = (None, np.zeros(len(heard)))
    table = None
    most = 0.0
    for colourway in profile.data.colourway:
        called = colourway.name or colourway.code
        as_code = np.array([float(plain(colourway.code) == h) for h in heard])
        sure, where, text = (
            (as_code, "colourway.code", colourway.code)
            if as_code.any()
            else (heard_as(called, heard), "colourway.name", called)
        )
        new = np.where(sure > taken, sure, 0.0)
        order = fuzz.ratio(" ".join(w for w in plain(called).split() if w not in FILLERS), " ".join(heard)) / 1000
        said = (1.0 if as_code.any() else _said_of(called, heard)) + order
        if said - order >= HALF and new.sum() * said > most:
            most, best, table = new.sum() * said, (_match(where, text, sure), sure), colourway
    return best, table


def _row(heard: _Heard, score: float) -> Found:
    colourway = heard.colourway_table
    data = heard.profile.data
    return Found(
        maker=data.maker,
        model=data.model,
        size=heard.size_code,
        colourway=None if colourway is None else colourway.code,
        colourway_name=None if colourway is None else colourway.name or colourway.code,
        score=round(score, 1),
        matched=tuple(m for m in (heard.name[0], heard.maker[0], heard.size[0], heard.colourway[0]) if m is not None),
        file=heard.profile.file,
    )
