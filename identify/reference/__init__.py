"""Reference sets: what is known of makers, models, sizes and colourways, in files that people read and edit.

`read` gives a set without faults as frozen values, `lint` says what is wrong with one, `write` makes its files.
"""

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
