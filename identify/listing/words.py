"""What an offer says that it shows: `MAKER / MODEL[ / SIZE[ / COLOURWAY]]` looked up in the reference sets."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from rapidfuzz import fuzz

from identify.answer import References
from identify.errors import BadOption
from identify.rank.rings import Indices
from identify.reference import Form
from identify.reference.find import find, plain
from identify.reference.forms import weakest

FORM = "Write MAKER / MODEL, then / SIZE and / COLOURWAY if they are told; a lone - leaves the size open."
OPEN = ("", "-", "?")
NEAREST = 4
"""So many names that come near are listed."""


@dataclass(frozen=True, eq=False)
class Stated:
    """What is stated: forms (indices of a set made ready) of one maker and model, narrowed to a size and a variant
    where these are told; `colourway` is the code of a listed one, None when not told."""

    maker: str
    model: str
    size: str | None
    variant: str | None
    colourway: str | None
    colourway_name: str | None
    forms: Indices

    @property
    def name(self) -> str:
        """MAKER / MODEL, then size, variant and colourway as far as they are told."""
        parts = (self.maker, self.model, self.size, self.variant, self.colourway_name)
        return " / ".join(part for part in parts if part is not None)

    @property
    def short(self) -> str:
        """The model with its size, for sentences."""
        return " ".join(filter(None, (self.model, self.size, self.variant)))


def known_by(stated: Stated, references: References) -> str | None:
    """The weakest link of how all that is stated is known, the colourway too; None where the set does not say."""
    forms = [references.prepared.forms[i] for i in stated.forms]
    paints = (c.known_by for form in forms for c in form.colourways if c.code == stated.colourway)
    return weakest(*(form.known_by for form in forms), *paints)


def look_up(sold_as: str, references: References) -> Stated:
    """The forms that the words mean.  Case, accents and punctuation do not matter; what a model is also called and was
    formerly called names it too.  Raises BadOption, with the names that come near, for words that name nothing."""
    ways = (re.split(r"\s+/\s*|\s*/\s+", sold_as.strip()), sold_as.split("/"))
    splits = [[part.strip() for part in parts] for parts in ways if len(parts) > 1]
    if not splits or not any(plain(maker) and plain(model) for maker, model, *_ in splits):
        raise BadOption(f"--sold-as {sold_as!r} does not say maker and model.", f"{FORM} {_near(sold_as, references)}")
    known = [(parts, names) for parts in splits if (names := _model(parts[0], parts[1], references)) is not None]
    if not known:
        mention = " / ".join(splits[-1][:2])
        raise BadOption(f"No set knows {mention}.", _near(mention, references))
    parts, (maker, model) = known[0]
    if len(parts) > 4:
        raise BadOption(f"--sold-as {sold_as!r} has more than four parts.", FORM)
    p = references.prepared
    own = [i for i, f in enumerate(p.forms) if (f.maker, f.model) == (maker, model)]
    size = variant = colourway = colourway_name = None
    if len(parts) > 2 and parts[2] not in OPEN:
        size = _one_of(parts[2], [p.forms[i].size for i in own], f"{maker} / {model}", "size")
        own = [i for i in own if p.forms[i].size == size]
    if len(parts) > 3 and parts[3] not in OPEN:
        variant = _same(parts[3], [v for i in own if (v := p.forms[i].variant) is not None])
        if variant is not None:
            own = [i for i in own if p.forms[i].variant == variant]
        else:
            colourway, colourway_name = _colourway(parts[3], [p.forms[i] for i in own], f"{maker} / {model}")
    return Stated(maker, model, size, variant, colourway, colourway_name, np.array(own, np.int64))


def _model(maker: str, model: str, references: References) -> tuple[str, str] | None:
    said = plain(maker), plain(model)
    for names in references.prepared.models:
        if (plain(names[0]), plain(names[1])) == said:
            return names
    for one in references.sets:
        for profile in one.profiles:
            data = profile.data
            others = {plain(name) for name in data.also_called}
            former = {plain(name) for name in data.formerly}
            if (plain(data.maker) == said[0] and said[1] in others) or " ".join(said) in former:
                return data.maker, data.model
    return None


def _near(mention: str, references: References) -> str:
    """The models that a mention may mean, in one sentence."""
    if not plain(mention):
        return ""
    found = sorted((row for one in references.sets for row in find(one, mention)), key=lambda row: -row.score)
    names = list(dict.fromkeys(f"{row.maker} / {row.model}" for row in found))
    if not names:
        every = (" / ".join(names) for names in references.prepared.models)
        names = sorted(every, key=lambda name: -fuzz.WRatio(plain(name), plain(mention)))
    return f"Nearest names: {'; '.join(names[:NEAREST])}." if names else "The set has no models."


def _same(said: str, names: Sequence[str]) -> str | None:
    return next((name for name in names if plain(name) == plain(said)), None)


def _one_of(said: str, names: Sequence[str], of: str, what: str) -> str:
    if (found := _same(said, names)) is not None:
        return found
    listed = list(dict.fromkeys(names))
    near = sorted(listed, key=lambda name: -fuzz.ratio(plain(name), plain(said)))
    raise BadOption(f"{of} has no {what} {said!r}.", f"The set lists: {', '.join(near)}.")


def _colourway(said: str, forms: Sequence[Form], of: str) -> tuple[str, str]:
    listed = {c.code: c.name for form in forms for c in form.colourways}
    for code, name in listed.items():
        if plain(said) in (plain(code), plain(name)):
            return code, name
    if not listed:
        raise BadOption(f"The set lists no colourways of {of}.", "Leave the colourway out.")
    near = sorted(listed.values(), key=lambda name: -fuzz.WRatio(plain(name), plain(said)))
    more = f" and {len(near) - NEAREST} more" if len(near) > NEAREST else ""
    raise BadOption(f"{of} has no colourway {said!r}.", f"Nearest: {'; '.join(near[:NEAREST])}{more}.")
