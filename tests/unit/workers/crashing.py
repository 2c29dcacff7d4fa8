"""A way of measuring for tests: a photo's name says whether the process that measures it dies."""

from __future__ import annotations

import hashlib
import os
from dataclasses import replace
from pathlib import Path

from identify.records import PhotoRecord
from identify.settings import Settings
from tests.unit.known_baits import photo


def measure_file(path: str, settings: Settings) -> PhotoRecord:
    if Path(path).name.startswith("crash"):
        os._exit(9)
    return replace(photo(path), sha256=hashlib.sha256(Path(path).read_bytes()).hexdigest())
