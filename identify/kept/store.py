"""Large reference sets kept ready for the next run, in the user's cache folder.

A set of thousands of models takes long to read and check.  What came of it is kept under the hash of its files and our
version, so that nothing stale is ever used; the files themselves are hashed each time.  Anything wrong with what was
kept counts as nothing kept: the set is read again, and kept anew.
"""

from __future__ import annotations

import hashlib
import json
import os
import shutil
import tempfile
import zipfile
from collections.abc import Sequence
from contextlib import suppress
from pathlib import Path
from typing import Any

import numpy as np

from identify import __version__
from identify.kept import forms as stored
from identify.kept.arrays import from_arrays, to_arrays
from identify.rank import Noise, Prepared
from identify.rank.palette import Palette

VARIABLE = "BAITPRINT_CACHE"
"""Environment variable that names another cache folder."""
FORMAT = 3
LARGE = 300
"""Sets with fewer forms are read as fast as they could be taken from here."""
MOST = 8
"""So many sets are kept, the ones used last."""
NAMES, ARRAYS, OUTLINES, COLOURWAYS = "names.json", "arrays.npz", "outlines.npy", "colourways.jsonl"


def cache_dir() -> Path:
    """Where sets are kept ready."""
    told = os.environ.get(VARIABLE)
    if told:
        return Path(told)
    from platformdirs import user_cache_path

    return user_cache_path("baitprint", appauthor=False)


def key(hashes: Sequence[str]) -> str:
    """What sets of these hashes, asked in this order, are kept under."""
    told = json.dumps([FORMAT, __version__, repr(Noise()), list(hashes)])
    return hashlib.sha256(told.encode()).hexdigest()[:32]


def load(hashes: Sequence[str]) -> tuple[Prepared, Any] | None:
    """The prepared sets of these hashes, and what was kept beside them; None when there is nothing that can be used."""
    folder = cache_dir() / key(hashes)
    try:
        told = json.loads((folder / NAMES).read_bytes())
        text = (folder / COLOURWAYS).read_bytes()
        if hashlib.sha256(text).hexdigest() != told["colourways_sha256"]:
            return None
        with (folder / ARRAYS).open("rb") as opened, np.load(opened, allow_pickle=False) as file:
            arrays = {name: file[name] for name in file.files}
        points = np.load(folder / OUTLINES, mmap_mode="r", allow_pickle=False)
        if len(points) != int(arrays["outline_starts"][-1]):
            return None
        colourways = stored.kept_colourways(text, arrays["colourway_starts"])
        palette: list[Palette] = []  # filled below: a form looks its colourways up in the set that it belongs to
        forms = stored.kept_forms(
            told["forms"], points, arrays["outline_starts"], lambda i: [colourways[j] for j in palette[0].of(i)]
        )
        models = [(maker, model) for maker, model in told["models"]]
        prepared = from_arrays(arrays, told["makers"], models, forms, colourways, Noise())
        palette.append(prepared.palette)
        with suppress(OSError):
            os.utime(folder)
        return prepared, told["beside"]
    except (OSError, ValueError, KeyError, TypeError, IndexError, EOFError, zipfile.BadZipFile):
        return None


def save(hashes: Sequence[str], prepared: Prepared, beside: Any) -> None:
    """Keep prepared sets; `beside` is any JSON value.  A folder that cannot be written to is no fault."""
    if len(prepared.forms) < LARGE or prepared.noise != Noise():
        return
    place = cache_dir() / key(hashes)
    try:
        place.parent.mkdir(parents=True, exist_ok=True)
        aside = Path(tempfile.mkdtemp(prefix="new-", dir=place.parent))
    except OSError:
        return
    try:
        lines = stored.lines(prepared.palette.colourways)
        text = b"".join(lines)
        points, starts = stored.outlines(prepared.forms)
        (aside / COLOURWAYS).write_bytes(text)
        np.save(aside / OUTLINES, points, allow_pickle=False)
        ends = np.concatenate([[0], np.cumsum([len(line) for line in lines])]).astype(np.int64)
        np.savez(aside / ARRAYS, outline_starts=starts, colourway_starts=ends, **to_arrays(prepared))
        told = {
            "colourways_sha256": hashlib.sha256(text).hexdigest(),
            "makers": prepared.makers,
            "models": prepared.models,
            "forms": stored.columns(prepared.forms),
            "beside": beside,
        }
        (aside / NAMES).write_text(json.dumps(told, ensure_ascii=False, allow_nan=False), encoding="utf-8")
        shutil.rmtree(place, ignore_errors=True)
        aside.rename(place)
        _forget(place.parent)
    except OSError:
        shutil.rmtree(aside, ignore_errors=True)


def _forget(folder: Path) -> None:
    """Remove all but the sets used last."""
    with suppress(OSError):
        kept = sorted((p for p in folder.iterdir() if (p / NAMES).is_file()), key=lambda p: p.stat().st_mtime)
        for old in kept[:-MOST]:
            shutil.rmtree(old, ignore_errors=True)
