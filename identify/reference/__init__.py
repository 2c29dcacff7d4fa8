"""Reference sets: what is known of makers, models, sizes and colourways, in files that people read and edit.

`read` gives a set without faults as frozen values, `lint` says what is wrong with one, `write` makes its files.
`enrol` learns them from photos, `find` looks mentions up, `exchange` and `importing` give sets away and take them in.
Everything named here is loaded when it is first used: a set that was kept ready is not checked again.
"""

from __future__ import annotations

from importlib import import_module
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from identify.reference.faults import Fault, LintReport
    from identify.reference.linter import lint
    from identify.reference.profile import Colourway, EyeProfile, Form, RingPlaces, ZoneColour
    from identify.reference.reader import read
    from identify.reference.sets import Profile, ReferenceSet, Source

__all__ = [
    "Colourway",
    "EyeProfile",
    "Fault",
    "Form",
    "LintReport",
    "Profile",
    "ReferenceSet",
    "RingPlaces",
    "Source",
    "ZoneColour",
    "lint",
    "read",
]

_HOMES = {
    "faults": ("Fault", "LintReport"),
    "linter": ("lint",),
    "profile": ("Colourway", "EyeProfile", "Form", "RingPlaces", "ZoneColour"),
    "reader": ("read",),
    "sets": ("Profile", "ReferenceSet", "Source"),
}
_HOME_OF = {name: home for home, names in _HOMES.items() for name in names}


def __getattr__(name: str) -> object:
    if name not in _HOME_OF:
        raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
    value: object = getattr(import_module(f"{__name__}.{_HOME_OF[name]}"), name)
    globals()[name] = value
    return value
