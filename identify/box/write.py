"""What a sort leaves in its folder beside the journal: `piles.json`, `index.html`, and, when asked for, links to the
photos by pile or a plan of what to copy where."""

from __future__ import annotations

import csv
import json
import os
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from io import StringIO
from pathlib import Path
from typing import Any
from urllib.parse import quote

from jinja2 import Environment, PackageLoader, StrictUndefined

from identify import __version__
from identify.box.piles import LookAgain, Pile, Piles
from identify.box.thumbs import thumb
from identify.errors import CannotWrite
from identify.files import put_text
from identify.records import RefsUsed
from identify.reference.slugs import slug
from identify.report import words
from identify.report.words import Units

SCHEMA = "baitprint/piles/1"
LINKS = "piles"
AGAIN = "look again"


def piles_json(piles: Piles, folder: str | None = None) -> dict[str, Any]:
    """The contract's object.  `folder`: where the photos are, as seen from the object's file."""

    def placed(pile: Pile) -> list[dict[str, Any]]:
        return [{"photo": p.photo, "bait": p.bait, "piece": p.piece, "probability": p.probability} for p in pile.photos]

    def again(look: LookAgain) -> dict[str, Any]:
        said = {"photo": look.photo, "bait": look.bait, "piece": look.piece, "reason": look.reason}
        return {**said, "would_settle": list(look.settle)}

    return {
        "schema": SCHEMA,
        "folder": folder,
        "piles": [
            {"name": p.name, "maker": p.maker, "model": p.model, "size": p.size, "photos": placed(p)}
            for p in piles.piles
        ],
        "look_again": [again(look) for look in piles.look_again],
        "unknown_piles": [{"name": p.name, "photos": placed(p)} for p in piles.unknown],
        "unread_slips": [{"photo": name} for name in piles.unread_slips],
        "not_measured": [{"photo": n.photo, "error": {"code": n.code, "text": n.error}} for n in piles.not_measured],
    }


def dumped(piles: Piles, folder: str | None = None) -> str:
    """`piles.json` as text; a name that is not text keeps its bytes as escapes."""
    document = piles_json(piles, folder)
    text = json.dumps(document, ensure_ascii=False, indent=1)
    try:
        text.encode()
    except UnicodeEncodeError:
        text = json.dumps(document, indent=1)
    return text + "\n"


@dataclass(frozen=True)
class Tile:
    """One bait in the index: its small picture, where the photo itself is, and what stands below."""

    src: str
    href: str | None
    name: str
    below: str


@dataclass(frozen=True)
class Heap:
    """A pile in the index."""

    anchor: str
    name: str
    about: str
    tiles: tuple[Tile, ...]


Hashes = Mapping[str, str | None]
"""Photos by name, and the hash of each."""


def write_index(
    out: Path, folder: Path, piles: Piles, hashes: Hashes, refs: tuple[RefsUsed, ...], units: Units
) -> Path:
    """Write `index.html`; returns its path.  Raises CannotWrite."""
    link = _linker(out, folder)
    heaps = [_heap(i, pile, hashes, link, units) for i, pile in enumerate((*piles.piles, *piles.unknown), 1)]
    again = tuple(_again_tile(look, hashes, link) for look in piles.look_again)
    environment = Environment(
        loader=PackageLoader("identify.box"), autoescape=True, undefined=StrictUndefined, trim_blocks=True,
        lstrip_blocks=True,
    )  # fmt: skip
    unknown = len(piles.unknown)
    text = environment.get_template("index.html.j2").render(
        heaps=heaps, known=len(heaps) - unknown, again=again, unread=[(n, link(n)) for n in piles.unread_slips],
        failed=[(n.photo, n.error) for n in piles.not_measured], refs=refs, version=__version__,
        pieces=sum(p.pieces for p in (*piles.piles, *piles.unknown)),
    )  # fmt: skip
    put_text(out / "index.html", text)
    return out / "index.html"


def seen_from(out: Path, folder: Path) -> str | None:
    """The folder of the photos as seen from another, with slashes; None where that cannot be told (another drive)."""
    try:
        return Path(os.path.relpath(folder.resolve(), out.resolve())).as_posix()
    except ValueError:
        return None


def _linker(out: Path, folder: Path) -> Callable[[str], str | None]:
    start = seen_from(out, folder)
    return lambda name: None if start is None else quote(f"{start}/{name}", errors="surrogateescape")


def about(pile: Pile, units: Units) -> str:
    """How many pieces, and what they look like."""
    said = [f"{pile.pieces} piece{'' if pile.pieces == 1 else 's'}"]
    if pile.looks.length_mm is not None:
        size = f"{pile.looks.length_mm:.0f}"
        size += f" × {pile.looks.depth_mm:.0f} mm" if pile.looks.depth_mm is not None else " mm long"
        said.append(size if units == "mm" else _inches(pile))
    if pile.looks.ties is not None:
        said.append(f"{pile.looks.ties} line tie{'' if pile.looks.ties == 1 else 's'}")
    return ", ".join(said)


def _inches(pile: Pile) -> str:
    values = [v / words.MM_PER_INCH for v in (pile.looks.length_mm, pile.looks.depth_mm) if v is not None]
    return " × ".join(f"{v:.2f}" for v in values) + " in"


def _heap(number: int, pile: Pile, hashes: Hashes, link: Callable[[str], str | None], units: Units) -> Heap:
    tiles = []
    for p in pile.photos:
        below = " · ".join(filter(None, (p.piece, None if p.probability is None else words.percent(p.probability))))
        tiles.append(Tile(thumb(hashes[p.photo] or "", p.bait), link(p.photo), _shown(p.photo, p.bait), below))
    return Heap(f"pile-{number}", pile.name, about(pile, units), tuple(tiles))


def _again_tile(look: LookAgain, hashes: Hashes, link: Callable[[str], str | None]) -> Tile:
    name = _shown(look.photo, look.bait)
    below = " · ".join(filter(None, (look.piece, look.reason, *look.settle)))
    return Tile(thumb(hashes[look.photo] or "", look.bait), link(look.photo), name, below)


def _shown(photo: str, bait: int | None) -> str:
    name = photo.encode("utf-8", "surrogateescape").decode("utf-8", "replace")
    return name if bait in (None, 1) else f"{name}, bait {bait}"


def places(piles: Piles) -> list[tuple[str, str, str]]:
    """Each photo of a pile or to look at again: its name, the pile's, and where a copy would go below a folder.

    A photo of several piles stands in each.  Names are made so that every system takes them, and differ in more than
    upper and lower case.
    """
    found: list[tuple[str, str, str]] = []
    taken: set[str] = set()

    def put(name: str, folder: str, photo: str) -> None:
        stem, end = os.path.splitext(photo.replace("/", "_"))  # noqa: PTH122
        place, i = f"{folder}/{stem}{end}", 1
        while place.lower() in taken:
            i += 1
            place = f"{folder}/{stem}-{i}{end}"
        taken.add(place.lower())
        found.append((photo, name, place))

    folders: set[str] = set()
    for pile in (*piles.piles, *piles.unknown):
        parts = (pile.maker, pile.model, pile.size) if pile.maker is not None else (pile.name,)
        folder = base = "-".join(slug(part) for part in parts if part)
        i = 1
        while folder in folders:
            i += 1
            folder = f"{base}-{i}"
        folders.add(folder)
        for photo in dict.fromkeys(p.photo for p in pile.photos):
            put(pile.name, folder, photo)
    for photo in dict.fromkeys(look.photo for look in piles.look_again):
        put(AGAIN, slug(AGAIN), photo)
    return found


def write_plan(path: Path, piles: Piles) -> None:
    """Write a table (RFC 4180) of what to copy where: photo, pile, copy_to.  Raises CannotWrite."""
    table = StringIO()
    rows = csv.writer(table, lineterminator="\r\n")
    rows.writerow(["photo", "pile", "copy_to"])
    for row in places(piles):
        rows.writerow([_harmless(cell) for cell in row])
    put_text(path, table.getvalue())


def _harmless(cell: str) -> str:
    """A cell that spreadsheets do not take for a formula (OWASP, CSV injection)."""
    return f"'{cell}" if cell.startswith(("=", "+", "-", "@", "\t", "\r")) else cell


def write_links(out: Path, folder: Path, piles: Piles) -> None:
    """Lay links to the photos by pile below `out/piles`, in place of those of the sort before.

    Raises CannotWrite where the system makes no links, and when something else than links lies there.
    """
    top = out / LINKS
    try:
        _clear(top)
        for photo, _, place in places(piles):
            link = top / place
            link.parent.mkdir(parents=True, exist_ok=True)
            link.symlink_to(os.path.relpath((folder / photo).resolve(), link.parent.resolve()))
    except (OSError, ValueError, NotImplementedError) as why:
        said = getattr(why, "strerror", None) or why
        raise CannotWrite(
            f"Links cannot be made below {top}: {said}.",
            "Ask for a copy plan instead, with --copy-plan FILE.csv.",
        ) from why


def _clear(top: Path) -> None:
    """Remove links and the folders left empty; nothing else."""
    if not top.is_dir():
        return
    for place, folders, files in os.walk(top, topdown=False):
        for name in (*files, *folders):
            path = Path(place) / name
            if path.is_symlink():
                path.unlink()
            elif path.is_dir():
                path.rmdir()
            else:
                raise CannotWrite(f"{path} is no link of ours.", "Move it away, then sort again.")
