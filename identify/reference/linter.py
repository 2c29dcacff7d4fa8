"""Everything that is wrong or suspicious in a reference set, at once."""

from __future__ import annotations

import os
from pathlib import Path

from identify.reference import remarks
from identify.reference.faults import Fault, LintReport
from identify.reference.load import load


def lint(folder: Path | str) -> LintReport:
    """Errors (the set is refused until they are mended) and remarks (suspicious, but usable) of a set.

    Raises SetMissing if there is no such folder.  Look-alikes are not among the remarks: they need the ranking.
    """
    loaded = load(Path(folder))

    def order(fault: Fault) -> tuple[bool, str, int]:
        return fault.file != "set.toml", fault.file, fault.line or 0

    errors = tuple(sorted(loaded.errors, key=order))
    return LintReport(os.fspath(folder), errors, tuple(sorted(remarks.of(loaded), key=order)))
