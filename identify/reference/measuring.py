"""What a process does that measures photos for `learning`.  Loads little itself: each process would load the rooms that
learn, and the program that starts them would load those that measure, without ever using them."""

from __future__ import annotations

import signal

from identify.records import PhotoRecord
from identify.settings import Settings


def start() -> None:
    """The first thing that such a process does."""
    import cv2

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # the program that started us decides when to stop
    cv2.setNumThreads(1)


def measure_file(path: str, settings: Settings) -> PhotoRecord:
    """Read and measure one photo, as `identify.measure.measure_file` does."""
    from identify.measure import measure_file

    return measure_file(path, settings)
