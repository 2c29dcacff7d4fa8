"""baitprint: identifies unmarked vintage fishing baits from photographs, and shows the evidence.

In a few lines (everything named here is loaded when it is first used):

    import identify

    sets = identify.read_sets(["reference_sets/ammerfold-lakes"])
    record = identify.identify_photo("photo.jpg", sets)
    for bait in record.baits:
        print(bait.measurement.length_mm, bait.identification.by_model[0])
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

__version__ = "0.1.0"

if TYPE_CHECKING:
    from identify.advice import Advice, advise_photo
    from identify.answer import References, identify_photo, rank_photo, read_sets
    from identify.box.piles import Piles
    from identify.box.sort import sort_folder
    from identify.errors import BaitprintError
    from identify.listing import Check, check_json, check_photos
    from identify.measure import measure as measure_photo
    from identify.photo import Photo
    from identify.photo import read as read_photo
    from identify.records import Bait, Identification, Measurement, PhotoRecord, PieceRecord, Quantity
    from identify.same_piece import identify_piece, join_photos
    from identify.serialise import advice_json, photo_json, piece_json
    from identify.settings import ScaleLine, Settings
    from identify.slips.sheet import sheet as slip_sheet
    from identify.tray.drafts import Draft, add_drafts, drafts

__all__ = [
    "Advice",
    "Bait",
    "BaitprintError",
    "Check",
    "Draft",
    "Identification",
    "Measurement",
    "Photo",
    "PhotoRecord",
    "PieceRecord",
    "Piles",
    "Quantity",
    "References",
    "ScaleLine",
    "Settings",
    "__version__",
    "add_drafts",
    "advice_json",
    "advise_photo",
    "check_json",
    "check_photos",
    "drafts",
    "identify_photo",
    "identify_piece",
    "join_photos",
    "measure_photo",
    "photo_json",
    "piece_json",
    "rank_photo",
    "read_photo",
    "read_sets",
    "slip_sheet",
    "sort_folder",
]

_HOMES = {
    "advice": ("Advice", "advise_photo"),
    "answer": ("References", "identify_photo", "rank_photo", "read_sets"),
    "box.piles": ("Piles",),
    "box.sort": ("sort_folder",),
    "errors": ("BaitprintError",),
    "listing": ("Check", "check_json", "check_photos"),
    "measure": ("measure_photo",),
    "photo": ("Photo", "read_photo"),
    "records": ("Bait", "Identification", "Measurement", "PhotoRecord", "PieceRecord", "Quantity"),
    "same_piece": ("identify_piece", "join_photos"),
    "serialise": ("advice_json", "photo_json", "piece_json"),
    "settings": ("ScaleLine", "Settings"),
    "slips.sheet": ("slip_sheet",),
    "tray.drafts": ("Draft", "add_drafts", "drafts"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}
_CALLED_THERE = {"measure_photo": "measure", "read_photo": "read", "slip_sheet": "sheet"}


def __getattr__(name: str) -> object:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    home = import_module(f"{__name__}.{_HOME_OF[name]}")
    value: object = getattr(home, _CALLED_THERE.get(name, name))
    globals()[name] = value
    return value


def __dir__() -> list[str]:
    return sorted({*globals(), *__all__})
