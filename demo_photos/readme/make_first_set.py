"""Makes README's picture of a first reference set: three photos, and what is learned from each.

python -m demo_photos.readme.make_first_set
"""

from __future__ import annotations

import tempfile
from pathlib import Path

import cv2
import numpy as np
from PIL import Image, ImageDraw, ImageFont

from identify.colour import hex_of
from identify.geometry import Array
from identify.measure import measure
from identify.photo import Photo, read
from identify.records import Measurement
from identify.reference import Form, write
from identify.reference import read as read_set
from identify.reference.enrol import Editor, Wish
from identify.reference.pieces import Facts

HERE = Path(__file__).parent
KNOWN = (
    ("single-blue-cloth.jpg", "Auldaine Sisters", "Garth Plum", "3", "Heather over chalk, teal stripe"),
    ("single-grey-tray.jpg", "Kettlemoor Works", "Cairn Loaf", "1", "Straw over slate"),
    ("single-wood.jpg", "Pellow Lake Supply", "Kettle Lid", "1", "Moss over straw, ivory tail"),
)
PX_PER_MM, WIDE, TALL, MARGIN = 4.2, 320, 190, 14
INK, PAPER, BODY = "#101316", "#ffffff", "#f4f1e8"


def lying(photo: Photo, m: Measurement) -> Image.Image:
    """The bait cut out of its photo, nose left and back up."""
    nose, tail = np.array(m.nose_px), np.array(m.tail_px)
    along = (tail - nose) / np.hypot(*(tail - nose))
    back = np.array([along[1], -along[0]]) * (1 if m.shows == "left" else -1)
    assert m.length_mm is not None
    scale = PX_PER_MM * m.length_mm.value / float(np.hypot(*(tail - nose)))
    turn = scale * np.array([along, -back])
    middle = np.array([WIDE / 2, TALL / 2]) - turn @ (nose + tail) / 2
    cut = cv2.warpAffine(
        photo.pixels, np.column_stack([turn, middle]), (WIDE, TALL), flags=cv2.INTER_AREA, borderMode=cv2.BORDER_REFLECT
    )
    return Image.fromarray(np.asarray(cut, np.uint8))


def profile(form: Form) -> Image.Image:
    """What was learned, drawn at the same scale."""
    picture = Image.new("RGB", (2 * WIDE, 2 * TALL), PAPER)
    draw = ImageDraw.Draw(picture)
    outline = np.asarray(form.outline_mm)

    def at(points: Array) -> list[tuple[float, float]]:
        placed = (points - [form.length_mm / 2, 0]) * (1, -1) * 2 * PX_PER_MM + (WIDE, TALL)
        return [(float(x), float(y)) for x, y in placed.reshape(-1, 2)]

    draw.polygon(at(outline), fill=BODY, outline=INK, width=3)
    for places, filled, radius in ((form.line_ties, False, 1.9), (form.hangers, True, 1.3)):
        for x, y in at(np.array((places.at_mm if places else None) or ()).reshape(-1, 2)):
            r = radius * 2 * PX_PER_MM
            draw.ellipse((x - r, y - r, x + r, y + r), fill=INK if filled else None, outline=INK, width=4)
    if form.eye is not None and form.eye.at_mm is not None:
        ((x, y),), r = at(np.array(form.eye.at_mm)), (form.eye.diameter_mm or 3.0) * PX_PER_MM
        draw.ellipse((x - r, y - r, x + r, y + r), outline=INK, width=4)
    way = form.colourways[0]
    for k, lab in enumerate(lab for lab in (way.back_lab, way.belly_lab) if lab is not None):
        draw.rectangle((40, 2 * TALL - 96 + 40 * k, 120, 2 * TALL - 58 + 40 * k), fill=hex_of(lab), outline=INK)
    return picture.resize((WIDE, TALL), Image.Resampling.LANCZOS)


def words(form: Form) -> str:
    ties = form.line_ties.count if form.line_ties else 0
    first = f"{form.model} {form.size}: {form.length_mm:.1f} ± {form.tolerance_mm:.1f} mm long"
    return f"{first}\n{form.depth_mm:.1f} mm deep, {ties} line tie{'s' if ties != 1 else ''}, 1 piece"


def main() -> None:
    sheet = Image.new("RGB", (3 * WIDE + 4 * MARGIN, 2 * TALL + 3 * MARGIN + 46), PAPER)
    draw, font = ImageDraw.Draw(sheet), ImageFont.load_default(15)
    with tempfile.TemporaryDirectory() as scratch:
        folder = Path(scratch)
        write.put(folder / "set.toml", write.set_toml({"title": "My shelf"}))
        editor = Editor(folder)
        for k, (file, maker, model, size, name) in enumerate(KNOWN):
            photo = read(HERE.parent / file)
            record = measure(photo)
            facts = Facts(size=size, colourway="1", name=name)
            editor.add(Wish(Path(file), maker, model, facts), record, photo.sha256)
            (form,) = (f for f in read_set(folder).forms() if f.model == model)
            x = MARGIN + k * (WIDE + MARGIN)
            sheet.paste(lying(photo, record.baits[0].measurement), (x, MARGIN))
            sheet.paste(profile(form), (x, TALL + 2 * MARGIN))
            draw.text((x, 2 * TALL + 2 * MARGIN + 2), words(form), fill=INK, font=font, spacing=5)
    sheet.save(HERE / "first-set.jpg", quality=82, optimize=True)


if __name__ == "__main__":
    main()
