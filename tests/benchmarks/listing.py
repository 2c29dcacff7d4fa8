"""Whether offers' pictures are held against the right and the wrong words as they should be.

    python -m tests.benchmarks.listing PHOTO_SET [--split tune|report] [--source single] [--plain] [--keep FILE]

Every picture without a card (`offers`), as it is and spoilt, against its true words, its look-alike's (the other model
that fits it best), a random wrong model's, and its own colourway with back and belly exchanged where the two differ by
more than 20 CIEDE2000.  Pictures of unknown models are held against the known model that fits best.  Each variant is
measured once.  `--keep` keeps the measurements in a file, or takes them from there.
"""

from __future__ import annotations

import argparse
import pickle
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import shapely

from identify.answer import References, read_sets
from identify.colour import delta_e
from identify.listing import check_records, look_up
from identify.listing.pictures import measure_picture
from identify.rank import rank
from identify.records import Bait, PhotoRecord
from identify.settings import Settings
from tests.benchmarks.offers import VARIANTS, Offer, jpeg, offers, placed
from tests.benchmarks.refs_from_truth import world_of, write_refs
from tests.benchmarks.stats import wilson

FAR = 20.0
"""CIEDE2000 between back and belly from which on exchanging them must be noticed."""
PLAIN = "as it is"
SAME_BAIT = 0.5


@dataclass(frozen=True, eq=False)
class Shown:
    """One bait of one variant of a picture: its truth, and what was read of it (None when it was not found)."""

    offer: str
    source: str
    variant: str
    truth: dict[str, Any]
    record: PhotoRecord
    bait: Bait | None
    seconds: float


def _overlap(truth: Any, bait: Bait) -> float:
    one, other = (shapely.Polygon(points).buffer(0) for points in (truth, bait.measurement.outline_px))
    return float(one.intersection(other).area / max(1e-9, one.union(other).area))


def _shown(offer: Offer, variant: str, folder: Path) -> Iterator[Shown]:
    path = folder / f"{offer.name}.jpg"
    path.write_bytes(jpeg(offer, variant))
    start = time.process_time()
    record, _ = measure_picture(path, Settings())
    seconds = time.process_time() - start
    for truth, outline in zip(offer.baits, offer.outlines_px, strict=True):
        at = placed(outline, offer.image.size, variant)
        best = max(record.baits, key=lambda b, at=at: _overlap(at, b), default=None)  # type: ignore[misc]
        found = best if best is not None and _overlap(at, best) > SAME_BAIT else None
        yield Shown(offer.name, offer.source, variant, truth, record, found, seconds)


def measured(photo_set: Path, split: str | None, sources: Sequence[str], variants: Sequence[str]) -> list[Shown]:
    """All baits of all pictures, each picture and variant measured once."""
    cv2.setNumThreads(1)
    with tempfile.TemporaryDirectory() as folder:
        return [
            shown
            for offer in offers(photo_set, split)
            if not sources or offer.source in sources
            for variant in variants
            for shown in _shown(offer, variant, Path(folder))
        ]


class Asker:
    """Holds one bait against words, without measuring it again."""

    def __init__(self, photo_set: Path, references: References) -> None:
        self.world, self.references = world_of(photo_set), references
        self.back_to_belly = {
            c.code: float(delta_e(c.back_lab, c.belly_lab))
            for c in references.prepared.palette.colourways
            if c.back_lab is not None and c.belly_lab is not None
        }

    def name(self, truth: dict[str, Any]) -> str:
        return f"{self.world['maker_names'][truth['maker']]} / {self.world['model_names'][truth['model']]}"

    def verdict(self, shown: Shown, words: str) -> str:
        return self._check(shown, shown.bait, words)[0]

    def exchanged(self, shown: Shown) -> tuple[str, str]:
        """The verdict on the picture with the colours of back and belly exchanged, which is the same as its own
        colourway exchanged, and what the point of the colourway found."""
        bait = shown.bait
        if bait is not None:
            m = bait.measurement
            bait = Bait(replace(m, back_colour=m.belly_colour, belly_colour=m.back_colour))
        return self._check(shown, bait, f"{self.name(shown.truth)} / - / {shown.truth['colourway']}")

    def _check(self, shown: Shown, bait: Bait | None, words: str) -> tuple[str, str]:
        record = replace(shown.record, baits=() if bait is None else (bait,))
        found = check_records([record], look_up(words, self.references), self.references)
        colourway = next((p.finding for p in found.points if p.feature == "colourway"), "cannot-tell")
        return found.verdict, colourway

    def nearest(self, shown: Shown) -> str | None:
        """The model, other than the true one, that fits best."""
        if shown.bait is None:
            return None
        found = rank(shown.bait.measurement, self.references.prepared)
        names = [f"{m.maker} / {m.model}" for m in found.by_model]
        true = self.name(shown.truth) if shown.truth["known"] else None
        return next((name for name in names if name != true), None)

    def wrong(self, shown: Shown, rng: np.random.Generator) -> str:
        names = [" / ".join(names) for names in self.references.prepared.models]
        return str(rng.choice([name for name in names if name != self.name(shown.truth)]))


def _line(what: str, verdicts: Sequence[str], of: str, aim: str) -> str:
    hits, n = sum(v == of for v in verdicts), len(verdicts)
    low, high = wilson(hits, n)
    share = f"{100 * hits / n:5.1f} % ({100 * low:.0f} to {100 * high:.0f})" if n else "-"
    return f"{what:52} {of:12} n {n:4}  {share:24} aim {aim}"


def report(found: Sequence[Shown], asker: Asker, say: Callable[[str], None]) -> None:
    """All figures, for pictures as they are, spoilt, and each way of spoiling."""
    rng = np.random.default_rng(0)
    known = [s for s in found if s.truth["known"]]
    true = {id(s): asker.verdict(s, asker.name(s.truth)) for s in known}
    wrong = {id(s): asker.verdict(s, asker.wrong(s, rng)) for s in known}
    near = {id(s): asker.verdict(s, name) for s in found if (name := asker.nearest(s)) is not None}
    groups = {"as they are": [PLAIN], "spoilt": [v for v in VARIANTS if v != PLAIN]}
    for label, variants in groups.items():
        some = [s for s in known if s.variant in variants]
        strangers = [s for s in found if not s.truth["known"] and s.variant in variants]
        if not some:
            continue
        spoilt = label == "spoilt"
        mine, others = [true[id(s)] for s in some], [wrong[id(s)] for s in some]
        alike = [near[id(s)] for s in some if id(s) in near]
        say(_line(f"{label}: true words", mine, "disagrees", "<= 5 %" if spoilt else "<= 3 %"))
        say(_line(f"{label}: true words", mine, "agrees", ">= 40 %" if spoilt else ">= 60 %"))
        say(_line(f"{label}: a wrong model's", others, "disagrees", ">= 90 %"))
        say(_line(f"{label}: a wrong model's", others, "agrees", "<= 2 %"))
        say(_line(f"{label}: a look-alike's", alike, "disagrees", ""))
        say(_line(f"{label}: a look-alike's", alike, "agrees", "<= 10 %"))
        sold = [near[id(s)] for s in strangers if id(s) in near]
        say(_line(f"{label}: unknown model as its nearest", sold, "agrees", "<= 5 %"))
        far = [s for s in some if s.truth["listed"] and asker.back_to_belly.get(s.truth["colourway"], 0) > FAR]
        pairs = [asker.exchanged(s) for s in far]
        say(_line(f"{label}: own colourway exchanged, verdict", [v for v, _ in pairs], "disagrees", ">= 90 %"))
        own = [asker._check(s, s.bait, f"{asker.name(s.truth)} / - / {s.truth['colourway']}") for s in far]
        say(_line(f"{label}: own colourway, verdict", [v for v, _ in own], "disagrees", ""))
        say(_line(f"{label}: own colourway, verdict", [v for v, _ in own], "agrees", ""))
    for variant in VARIANTS:
        some = [s for s in known if s.variant == variant]
        if some:
            say(_line(f"{variant}: true words", [true[id(s)] for s in some], "agrees", ""))
            say(_line(f"{variant}: true words", [true[id(s)] for s in some], "disagrees", ""))
    pictures = {(s.offer, s.variant): s for s in found}
    cards = sum(bool(s.record.card and s.record.card.found) for s in pictures.values())
    say(f"false cards: {cards} of {len(pictures)} pictures (0 to {100 * wilson(cards, len(pictures))[1]:.1f} %)")
    say(f"baits found: {sum(s.bait is not None for s in found)} of {len(found)}")
    say(f"processor time to measure a picture, median: {np.median([s.seconds for s in pictures.values()]):.2f} s")
    for s in known:
        if true[id(s)] == "disagrees" or wrong[id(s)] == "agrees" or near.get(id(s)) == "agrees":
            verdicts = f"true {true[id(s)]}, wrong {wrong[id(s)]}, look-alike {near.get(id(s))}"
            say(f"  {s.offer} ({s.variant}) {asker.name(s.truth)}: {verdicts}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("photo_set", type=Path)
    parser.add_argument("--split", choices=("tune", "report"))
    parser.add_argument("--source", action="append", choices=("listing", "clutter", "single"))
    parser.add_argument("--plain", action="store_true", help="pictures as they are only")
    parser.add_argument("--keep", type=Path)
    options = parser.parse_args()
    if options.keep and options.keep.exists():
        found = pickle.loads(options.keep.read_bytes())
    else:
        variants = [PLAIN] if options.plain else list(VARIANTS)
        found = measured(options.photo_set, options.split, options.source or (), variants)
        if options.keep:
            options.keep.write_bytes(pickle.dumps(found))
    with tempfile.TemporaryDirectory() as folder:
        refs = write_refs(world_of(options.photo_set), Path(folder) / "refs")
        report(found, Asker(options.photo_set, read_sets([refs])), print)


if __name__ == "__main__":
    main()
