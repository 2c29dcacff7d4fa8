"""Where what a person told of pieces and what their photos show do not agree: said, never averaged."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from identify.reference import votes
from identify.reference.lengths import piece_length
from identify.reference.pieces import Piece

SURE = 0.8
"""Of the photos, to speak against a count that was told."""
LENGTH_OFF = 0.03
LOOK = "what was told counts: is it the right photo?"


def clashes(pieces: Sequence[Piece]) -> Iterator[tuple[str, str]]:
    """The size and a text for each clash: the wrong photo, or the wrong figure?"""
    for piece in pieces:
        seen = piece.model_copy(update={"ties": None, "length_mm": None})
        where = f"size {piece.size}, {', '.join(shot.photo for shot in piece.photos)}"
        count, sure = votes.tie_count([seen])
        if piece.ties is not None and count is not None and count != piece.ties and sure > SURE:
            yield (
                piece.size,
                f"{where}: told are {piece.ties} line ties, seen {count} ({100 * sure:.0f} % sure); {LOOK}",
            )
        length = piece_length(seen)
        if piece.length_mm is not None and length is not None:
            off = length[0] - math.log(piece.length_mm)
            if abs(off) > max(LENGTH_OFF, 3 * math.hypot(length[1], length[2])):
                yield (
                    piece.size,
                    f"{where}: told are {piece.length_mm:.1f} mm, seen {math.exp(length[0]):.1f} mm; {LOOK}",
                )
