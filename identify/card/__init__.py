"""The grey card: finding it, and what it makes known about scale, camera and light.

`find` is the stage's one function.  What is told by a person goes first: corners, a line of known length, or that there
is no card.  Otherwise the card is looked for, and "no card" is said rather than a doubtful one taken.
"""

from __future__ import annotations

from identify.card.search import find

__all__ = ["find"]
