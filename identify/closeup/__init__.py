"""One bait seen close up: what each pixel of it shows (`look`)."""

from __future__ import annotations

from identify.closeup.look import Closeup, look

__all__ = ["Closeup", "look"]
