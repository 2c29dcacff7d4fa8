"""Each bait apart from the ground, its shadow and other things: `separate`."""

from __future__ import annotations

from identify.separate.scene import separate

__all__ = ["separate"]
