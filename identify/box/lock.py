"""One sort at a time writes to a folder; a second one is told which the first is."""

from __future__ import annotations

import datetime
import json
import os
import platform
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from filelock import FileLock, Timeout

from identify.errors import OutputInUse
from identify.files import put_text

LOCK, WHO = ".baitprint.lock", ".baitprint.json"


@contextmanager
def locked(out: Path) -> Iterator[None]:
    """Hold the folder.  The system lets go of it when this process ends, however it ends.  Raises OutputInUse."""
    lock = FileLock(out / LOCK)
    try:
        lock.acquire(timeout=0)
    except Timeout:
        raise OutputInUse(
            f"Another sort is writing to {out}{_who(out)}.", "Wait until it is done, or choose another folder."
        ) from None
    try:
        since = datetime.datetime.now().isoformat(" ", "minutes")
        who = {"process": os.getpid(), "computer": platform.node(), "since": since}
        put_text(out / WHO, json.dumps(who) + "\n")
        yield
    finally:
        (out / WHO).unlink(missing_ok=True)
        lock.release()


def _who(out: Path) -> str:
    try:
        who = json.loads((out / WHO).read_text("utf-8"))
        return f": process {who['process']} on {who['computer']}, since {who['since']}"
    except (OSError, ValueError, KeyError, TypeError):
        return ""  # it has only just begun, or is just ending
