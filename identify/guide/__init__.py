"""A printed field guide of a reference set: outlines at life size, rings and eyes, colours, years, look-alikes."""

from identify.guide.write import write_guide

__all__ = ["write_guide"]
