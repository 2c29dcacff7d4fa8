"""Several photos of one piece as one body of evidence."""

from identify.piece.agree import APART, against
from identify.piece.join import Together, join
from identify.piece.settle import settle
from identify.piece.unit import Shot

__all__ = ["APART", "Shot", "Together", "against", "join", "settle"]
