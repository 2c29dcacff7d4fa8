"""Large reference sets kept ready between runs."""

from identify.kept.sets import about, kept_set
from identify.kept.store import cache_dir, load, save

__all__ = ["about", "cache_dir", "kept_set", "load", "save"]
