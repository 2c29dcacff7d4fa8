"""Makes README's picture of how to take the photo: a demo photo with notes beside a drawn view from the side.

    python -m demo_photos.readme.how_to

Run it in the top folder of the repository.
"""

from __future__ import annotations

from pathlib import Path

from PIL import Image, ImageDraw, ImageFont

HERE = Path(__file__).parent
PHOTO = HERE.parent / "single-three-ties.jpg"
PART = (330, 20, 2000, 1480)
"""Of the photo, in pixels."""
WIDTH, HEIGHT, PHOTO_WIDTH = 1400, 640, 732
PAPER, INK, MARK, LIGHT = (250, 250, 247), (40, 44, 52), (200, 60, 20), (240, 190, 60)
GREY, GROUND, FOAM, BODY = (117, 117, 117), (205, 200, 188), (250, 226, 160), (80, 130, 190)
Point = tuple[float, float]


def note(draw: ImageDraw.ImageDraw, at: Point, to: Point, text: str, size: int = 21) -> None:
    """A text at a point with a line to what it is about."""
    font = ImageFont.load_default(size)
    box = draw.multiline_textbbox(at, text, font=font, spacing=4)
    start = (min(max(to[0], box[0]), box[2]), box[1] - 5 if to[1] < box[1] else box[3] + 5)
    if box[1] <= to[1] <= box[3]:
        start = (box[0] - 7 if to[0] < box[0] else box[2] + 7, (box[1] + box[3]) / 2)
    draw.line([start, to], fill=MARK, width=3)
    draw.ellipse([to[0] - 5, to[1] - 5, to[0] + 5, to[1] + 5], fill=MARK)
    draw.rectangle([box[0] - 7, box[1] - 5, box[2] + 7, box[3] + 5], fill=PAPER, outline=MARK, width=2)
    draw.multiline_text(at, text, font=font, fill=INK, spacing=4)


def photo_with_notes() -> Image.Image:
    """The photo from above, with what to look for."""
    with Image.open(PHOTO) as picture:
        part = picture.convert("RGB").crop(PART).resize((PHOTO_WIDTH, HEIGHT), Image.Resampling.LANCZOS)
    draw = ImageDraw.Draw(part)
    note(draw, (70, 110), (200, 190), "18 % grey card, 85.60 x 53.98 mm,\nmatt, flat, nothing over its edges")
    note(draw, (60, 420), (250, 375), "a finger's width\nbetween card and bait")
    note(draw, (60, 560), (306, 556), "bait on its side,\nrings against the ground")
    note(draw, (440, 360), (560, 470), "soft shadow,\nno glare")
    note(draw, (450, 25), (600, 150), "plain, matt ground, room\nup to the picture's edge")
    return part


def from_the_side() -> Image.Image:
    """Camera, light, table, card and bait as seen from the side, drawn."""
    wide = WIDTH - PHOTO_WIDTH - 16
    part = Image.new("RGB", (wide, HEIGHT), PAPER)
    draw = ImageDraw.Draw(part)
    table, middle = 520, 330
    for x, turn in ((70, 1), (wide - 70, -1)):
        draw.polygon(
            [(x - 40, 150), (x + 40, 150), (x + 40 + turn * 60, 500), (x - 40 + turn * 60, 500)], fill=(255, 246, 214)
        )
        draw.rounded_rectangle([x - 48, 110, x + 48, 150], 8, fill=LIGHT, outline=INK, width=2)
    draw.line([(middle, 118), (middle - 190, table)], fill=INK, width=1)
    draw.line([(middle, 118), (middle + 190, table)], fill=INK, width=1)
    draw.rounded_rectangle([middle - 60, 40, middle + 60, 92], 10, fill=INK)
    draw.rectangle([middle - 20, 92, middle + 20, 118], fill=INK)
    draw.rectangle([20, table + 20, wide - 20, table + 36], fill=GROUND, outline=INK, width=2)
    draw.rectangle([middle - 215, table, middle + 215, table + 20], fill=FOAM, outline=INK, width=2)
    draw.rectangle([middle - 170, table - 5, middle - 35, table], fill=GREY, outline=INK)
    draw.ellipse([middle + 20, table - 40, middle + 150, table], fill=BODY, outline=INK, width=2)
    draw.line([(middle + 85, table), (middle + 85, table + 10)], fill=INK, width=3)
    draw.arc([middle + 71, table, middle + 85, table + 16], 20, 180, fill=INK, width=3)
    draw.line([(middle, 130), (middle, table - 8)], fill=MARK, width=2)
    note(draw, (middle + 90, 12), (middle + 62, 66), "camera straight\nabove, at rest,\npicture not cut")
    note(draw, (middle - 105, 240), (middle, 330), "at least 40 cm:\nstep back, zoom in")
    note(draw, (25, 175), (70, 152), "soft light from\nboth sides, or\nan overcast\nwindow")
    note(draw, (25, 582), (middle - 110, table - 2), "card as low as the bait lies")
    note(draw, (middle - 15, 572), (middle + 85, table + 12), "hooks in foam or over an edge,\nso that the body lies")
    return part


def main() -> None:
    whole = Image.new("RGB", (WIDTH, HEIGHT), PAPER)
    whole.paste(photo_with_notes(), (0, 0))
    whole.paste(from_the_side(), (PHOTO_WIDTH + 16, 0))
    whole.save(HERE / "how-to.jpg", quality=86, optimize=True)


if __name__ == "__main__":
    main()
