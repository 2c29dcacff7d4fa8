"""Makes README's picture: one bait's part of a report, as a browser shows it.

    python -m demo_photos.readme.make [--browser chromium]

Needs a Chromium or Chrome.  Run it in the top folder of the repository.
"""

from __future__ import annotations

import argparse
import subprocess
import tempfile
from pathlib import Path

from PIL import Image

from identify.answer import rank_photo, read_sets
from identify.report.write import Report
from identify.settings import Settings

HERE = Path(__file__).parent
PHOTO = HERE.parent / "single-blue-cloth.jpg"
REFS = HERE.parents[1] / "reference_sets" / "ammerfold-lakes"
WIDTH, HEIGHT, TOP = 1060, 1600, 812
"""Of the window in CSS pixels, and where the bait's part begins."""
FLAGS = (
    "--headless", "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--disable-sync",
    "--disable-background-networking", "--disable-component-update", "--hide-scrollbars",
)  # fmt: skip


def main() -> None:
    parser = argparse.ArgumentParser(description="Make README's picture of a report.")
    parser.add_argument("--browser", default="chromium", help="the browser's command")
    browser = parser.parse_args().browser
    references = read_sets([REFS])
    with tempfile.TemporaryDirectory() as scratch:
        report = Report(scratch, references)
        report.add(PHOTO, Settings(), lambda record: rank_photo(record, references, 5))
        page, shot = report.write(), Path(scratch) / "shot.png"
        window = (f"--window-size={WIDTH},{HEIGHT}", f"--screenshot={shot}", f"--user-data-dir={scratch}/profile")
        subprocess.run([browser, *FLAGS, *window, page.as_uri()], check=True, capture_output=True, timeout=120)
        with Image.open(shot) as picture:
            part = picture.crop((0, TOP, WIDTH, HEIGHT)).convert("RGB")
            part.save(HERE / "report.jpg", quality=88, optimize=True)


if __name__ == "__main__":
    main()
