"""Hardware of a bait: wire rings at the body's edge, hooks, the eye, a lip, and traces of lost ties."""

from __future__ import annotations

from identify.hardware.detect import detect

__all__ = ["detect"]
