"""One bait seen close up: what each pixel of it shows (`look`), and all of a photo's (`look_at_all`)."""

from __future__ import annotations

from identify.closeup.look import Closeup, look
from identify.closeup.several import Looks, look_at_all

__all__ = ["Closeup", "Looks", "look", "look_at_all"]
