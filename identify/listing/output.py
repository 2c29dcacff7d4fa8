"""A check as JSON."""

from __future__ import annotations

from identify.listing.check import Check
from identify.serialise import Json, photo_json, to_json

CHECK_SCHEMA = "baitprint/check/1"


def check_json(check: Check) -> Json:
    """The contract's object for an offer."""
    return {
        "schema": CHECK_SCHEMA,
        "photos": list(check.photos),
        "version": check.version,
        "sold_as": check.sold_as,
        "known_by": check.known_by,
        "verdict": check.verdict,
        "text": check.text,
        "points": to_json(check.points),
        "better": to_json(check.better),
        "ask": to_json(check.ask),
        "seen_before": list(check.seen_before),
        "baits": [
            {
                "photos": [{"photo": p, "bait": n} for p, n in zip(one.photos, one.numbers, strict=True)],
                "probability": one.probability,
                "verdict": one.verdict,
                "points": to_json(one.points),
                "better": to_json(one.better),
                "ask": to_json(one.ask),
            }
            for one in check.baits
        ],
        "left_out": to_json(check.left_out),
        "warnings": to_json(check.warnings),
        "photo_reports": [photo_json(record) for record in check.photo_reports],
    }
