"""A printed field guide of a reference set: outlines at life size, rings and eyes, colours, years, look-alikes."""

from identify.guide.write import Written, write_guide

__all__ = ["Written", "write_guide"]
