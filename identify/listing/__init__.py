"""An offer's pictures held against the words that it is sold by."""

from __future__ import annotations

from identify.listing.check import Check, Judged, check_photos, check_records
from identify.listing.output import check_json
from identify.listing.words import Stated, look_up

__all__ = ["Check", "Judged", "Stated", "check_json", "check_photos", "check_records", "look_up"]
