"""What a person measured on a bait or saw of it: `KEY=VALUE` as told on the command line, read into frozen values.

`VALUE` is a number with its unit and its standard uncertainty where they are given (`63.5`, `63.5+-0.3`, `2-1/2in`,
`0.5oz`), a whole number, or one of a few words; `N:KEY=VALUE` tells of the bait with that number in its photo.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from fractions import Fraction

from identify.errors import BadOption

HARDWARE = ("screw-eye", "wire", "plate", "cup", "other")
WORDS: dict[str, tuple[str, ...]] = {
    "eye": ("painted", "glass", "tack", "none"),
    "lip": ("none", "metal", "plastic"),
    "tie_kind": HARDWARE,
    "hanger_kind": HARDWARE,
    "material": ("wood", "plastic", "metal", "rubber", "other"),
}
"""Keys whose value is a word, as in a reference set's model files."""
COUNTS = {"ties": (0, 20), "hangers": (0, 20), "hooks": (0, 20), "parts": (1, 20)}
"""Keys whose value is a whole number, and between what."""
USUAL_U = {"length_mm": 0.2, "depth_mm": 0.2, "thickness_mm": 0.2, "weight_g": 0.5}
"""Keys whose value is a quantity, and its standard uncertainty when none is told: of a caliper and of scales."""
KEYS = (*USUAL_U, "ties", "hangers", "hooks", "eye", "lip", "tie_kind", "hanger_kind", "material", "parts")
RANGE = {"_mm": (1.0, 2000.0), "_g": (0.05, 10_000.0)}
"""Between what a bait's sizes and weights can lie."""
UNITS = {
    "_mm": {"": 1.0, "mm": 1.0, "cm": 10.0, "in": 25.4, "inch": 25.4, "inches": 25.4, '"': 25.4, "″": 25.4},
    "_g": {"": 1.0, "g": 1.0, "gram": 1.0, "grams": 1.0} | dict.fromkeys(("oz", "ounce", "ounces"), 28.349523125),
}
"""Units and their size; the international inch and the avoirdupois ounce (NIST SP 811, appendix B)."""

_AMOUNT = re.compile(
    r"\s*(?:(?:(?P<whole>\d+)[- ]+)?(?P<top>\d+)\s*[/⁄]\s*(?P<below>\d+)|(?P<decimal>\d+(?:[.,]\d+)?|[.,]\d+))"
    r"\s*(?P<unit>[^\d\s.,+-]*)\s*"
)


@dataclass(frozen=True)
class Told:
    """One thing told.  `value` is in the key's own unit, `u` its standard uncertainty (None for counts and words);
    `bait` is the number of the bait in its photo, None when the photo has only one."""

    key: str
    value: float | int | str
    u: float | None = None
    bait: int | None = None

    @property
    def words(self) -> str:
        """The value as people write it."""
        if self.u is None:
            return str(self.value)
        return f"{self.value:.4g} ± {self.u:.2g} {self.key.rpartition('_')[2]}"


def parse(texts: Sequence[str]) -> tuple[Told, ...]:
    """All `KEY=VALUE` of one run, in the order of KEYS.  Raises BadOption."""
    found: dict[tuple[int | None, str], Told] = {}
    for text in texts:
        told = _parse(text)
        if (told.bait, told.key) in found:
            whose = "" if told.bait is None else f" of bait {told.bait}"
            raise BadOption(f"--told says {told.key}{whose} twice.", "Keep one of them.")
        found[told.bait, told.key] = told
    return tuple(sorted(found.values(), key=lambda t: (t.bait or 0, KEYS.index(t.key))))


def of_bait(told: Sequence[Told], number: int, baits: int) -> tuple[Told, ...]:
    """What was told of one bait of a photo.  What names no bait holds for the only one of its photo; of several it is
    said of none, since nobody knows which."""
    own = {t.key: t for t in told if t.bait is None and baits == 1} | {t.key: t for t in told if t.bait == number}
    return tuple(own[key] for key in KEYS if key in own)


def unused(told: Sequence[Told], baits: int) -> tuple[Told, ...]:
    """What was told of no bait that the photo has."""
    return tuple(t for t in told if (t.bait is None and baits != 1) or (t.bait is not None and t.bait > baits))


def _parse(text: str) -> Told:
    name, given, value = text.partition("=")
    number, colon, key = name.rpartition(":")
    bait = None
    if colon:
        if not re.fullmatch(r"\s*[1-9]\d{0,3}\s*", number):
            raise BadOption(f"--told {text} cannot be read.", "Before the colon stands a bait's number: 2:ties=1.")
        bait = int(number)
    key, value = key.strip().lower().replace("-", "_"), value.strip()
    if not given or not value:
        raise BadOption(f"--told {text} says no value.", "Write KEY=VALUE, such as length_mm=63.5 or ties=2.")
    if key not in KEYS:
        near = get_close_matches(key, KEYS, 3, 0.5)
        said = f"Did you mean {' or '.join(near)}? " if near else ""
        raise BadOption(f"--told does not know {key!r}.", f"{said}It knows: {', '.join(KEYS)}.")
    if key in WORDS:
        return Told(key, _word(key, value), None, bait)
    if key in COUNTS:
        return Told(key, _count(key, value), None, bait)
    return Told(key, *_quantity(key, value), bait)


def _word(key: str, value: str) -> str:
    word = value.lower().replace(" ", "-").replace("_", "-")
    if word not in WORDS[key]:
        raise BadOption(f"--told {key}={value} is not known.", f"Say one of: {', '.join(WORDS[key])}.")
    return word


def _count(key: str, value: str) -> int:
    least, most = COUNTS[key]
    if not re.fullmatch(r"\d{1,3}", value) or not least <= int(value) <= most:
        raise BadOption(f"--told {key}={value} is no count.", f"Give a whole number from {least} to {most}.")
    return int(value)


def _quantity(key: str, value: str) -> tuple[float, float]:
    kind = f"_{key.rpartition('_')[2]}"
    first, sign, second = re.sub(r"\+\s*/?\s*[-−]", "±", value).partition("±")
    at, unit = _amount(key, value, first)
    u, u_unit = _amount(key, value, second) if sign else (USUAL_U[key], None)
    known = UNITS[kind]
    for given in (unit, u_unit):
        if given and given not in known:
            fix = f"Units here: {', '.join(name for name in known if name.isalpha())}."
            raise BadOption(f"--told {key}={value} has a unit that is not known: {given}.", fix)
    if sign:  # one unit may stand behind both: 2.5+-0.1in
        u *= known[u_unit or unit]
        unit = unit or (u_unit or "")
    at *= known[unit]
    low, high = RANGE[kind]
    if not low <= at <= high:
        fix = f"Give {low:g} to {high:g} {kind[1:]}, or name the unit."
        raise BadOption(f"--told {key}={value} comes to {at:.4g} {kind[1:]}, which no bait has.", fix)
    if not 0 < u < at:
        raise BadOption(
            f"--told {key}={value}: ± {u:.3g} {kind[1:]} cannot be.",
            "Say how far off the reading may well be, above 0.",
        )
    return at, u


def _amount(key: str, whole: str, text: str) -> tuple[float, str]:
    """Number and unit of one side of ±."""
    found = _AMOUNT.fullmatch(text)
    if found is None or (found["below"] and int(found["below"]) == 0):
        example = "63.5, 63.5+-0.3 or 2-1/2in" if key.endswith("_mm") else "14, 14+-0.5 or 1/2oz"
        raise BadOption(f"--told {key}={whole} cannot be read.", f"Write a number, such as {example}.")
    if found["decimal"]:
        return float(found["decimal"].replace(",", ".")), found["unit"].lower()
    value = int(found["whole"] or 0) + float(Fraction(int(found["top"]), int(found["below"])))
    return value, found["unit"].lower()
