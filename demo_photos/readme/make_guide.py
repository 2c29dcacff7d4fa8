"""Makes README's picture of the printed guide: the first model's part of a page.

python -m demo_photos.readme.make_guide
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import pypdfium2

from identify.guide import write_guide
from identify.reference import read

HERE = Path(__file__).parent
REFS = HERE.parents[1] / "reference_sets" / "ammerfold-lakes"
PAGE, SCALE, BOX = 1, 1.6, (0.05, 0.04, 0.95, 0.65)
"""The page, pixels for each 1/72 inch, and what of it is shown: left, top, right, bottom as shares."""


def main() -> None:
    with tempfile.TemporaryDirectory() as scratch:
        target = Path(scratch) / "guide.pdf"
        write_guide(read(REFS), target)
        document = pypdfium2.PdfDocument(target)
        page = document[PAGE].render(scale=SCALE).to_pil().convert("RGB")
        document.close()
    width, height = page.size
    shown = page.crop(tuple(round(v * side) for v, side in zip(BOX, (width, height) * 2, strict=True)))
    shown.save(HERE / "guide.jpg", quality=72, optimize=True)


if __name__ == "__main__":
    main()
