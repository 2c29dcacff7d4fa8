"""Copies the demo photos from a larger photo set, with their part of the truth.

    python -m demo_photos.choose PHOTO_SET

PHOTO_SET is a folder with a truth.json and the photos below.  Run it in the top folder of the repository.  Writes the
photos, `truth.json` (the same keys as the set's, for `python -m tests.benchmarks demo_photos`) and `truth.csv` (a line
for each bait, for people).
"""

from __future__ import annotations

import argparse
import csv
import json
import shutil
from pathlib import Path
from typing import Any

HERE = Path(__file__).parent
CHOSEN = {
    "single/s020.jpg": "single-grey-tray.jpg",
    "single/s032.jpg": "single-wood.jpg",
    "single/s054.jpg": "single-blue-cloth.jpg",
    "single/s055.jpg": "single-black-cloth.jpg",
    "single/s056.jpg": "single-felt.jpg",
    "single/s061.jpg": "single-white-paper.jpg",
    "single/s070.jpg": "single-three-ties.jpg",
    "single/s036.jpg": "single-unlisted-colourway.jpg",
    "single/s065.jpg": "stranger.jpg",
    "clutter/c11.jpg": "clutter.jpg",
    "listing/l09.jpg": "listing.jpg",
    "tray/t0.jpg": "tray.jpg",
}
COLUMNS = (
    "photo", "bait", "maker", "model", "size", "colourway", "colourway_listed", "length_mm", "depth_mm", "line_ties",
    "line_ties_lost", "hooks", "nose_x_px", "nose_y_px", "tail_x_px", "tail_y_px",
)  # fmt: skip


def rows(photo: dict[str, Any], world: dict[str, Any]) -> list[dict[str, Any]]:
    """The table's lines of one photo; a stranger has no maker and model."""
    found = []
    for number, bait in enumerate(photo["baits"], 1):
        code = bait["colourway"]
        known = bait["known"]
        found.append(
            {
                "photo": photo["file"],
                "bait": number,
                "maker": world["maker_names"][bait["maker"]] if known else "",
                "model": world["model_names"][bait["model"]] if known else "",
                "size": bait["size_index"] + 1 if known else "",
                "colourway": world.get("colour_names", {}).get(code, code),
                "colourway_listed": "yes" if bait["listed"] else "no",
                "length_mm": f"{bait['feret_length_mm']:.2f}",
                "depth_mm": f"{bait['feret_depth_mm']:.2f}",
                "line_ties": bait["tie_count"],
                "line_ties_lost": bait["ties_lost"],
                "hooks": bait["hook_count"],
                **dict(zip(COLUMNS[-4:], (*bait["nose_px"], *bait["tail_px"]), strict=True)),
            }
        )
    return found


def main() -> None:
    parser = argparse.ArgumentParser(description="Copy the demo photos from a photo set, with their truth.")
    parser.add_argument("photo_set", type=Path, help="folder with a truth.json")
    photo_set = parser.parse_args().photo_set
    truth = json.loads((photo_set / "truth.json").read_text("utf-8"))
    by_file = {photo["file"]: photo for photo in truth["photos"]}
    photos = [{**by_file[source], "file": name} for source, name in CHOSEN.items()]
    for source, name in CHOSEN.items():
        shutil.copyfile(photo_set / source, HERE / name)
    text = json.dumps({**truth, "photos": photos}, ensure_ascii=False, separators=(",", ":"))
    (HERE / "truth.json").write_text(text + "\n", encoding="utf-8")
    with (HERE / "truth.csv").open("w", encoding="utf-8", newline="") as file:
        table = csv.DictWriter(file, COLUMNS)
        table.writeheader()
        table.writerows(row for photo in photos for row in rows(photo, truth["world"]))


if __name__ == "__main__":
    main()
