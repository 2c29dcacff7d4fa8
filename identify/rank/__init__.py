"""Ranking: what a reference set says of one measurement, and how sure that is."""

from identify.rank.noise import Noise
from identify.rank.prepared import Prepared, prepare
from identify.rank.priors import form_priors
from identify.rank.ranking import rank, rank_readings
from identify.rank.readings import Readings, read

__all__ = ["Noise", "Prepared", "Readings", "form_priors", "prepare", "rank", "rank_readings", "read"]
