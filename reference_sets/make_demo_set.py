"""Makes the demo set from a photo set's truth.

    python -m reference_sets.make_demo_set PHOTO_SET [--out FOLDER]

PHOTO_SET is a folder with a truth.json.  Run it in the top folder of the repository.  The same truth gives the same
files.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from identify.reference import lint
from tests.benchmarks.refs_from_truth import world_of, write_refs

HERE = Path(__file__).parent
ABOUT = {
    "description": "Plugs of five small workshops on a made-up chain of upland lakes, 1922 to 1961: the demo's own "
    "world, invented for this project.",
    "editor": "The Ammerfold Angling Museum Society (invented)",
    "licence": "CC0-1.0",
    "source": [{"id": "rolls", "citation": "The demo world's own rolls: outlines and colours as they were drawn."}],
}


def main() -> None:
    parser = argparse.ArgumentParser(description="Make the demo reference set from a photo set's truth.")
    parser.add_argument("photo_set", type=Path, help="folder with a truth.json")
    parser.add_argument("--out", type=Path, default=HERE / "ammerfold-lakes", help="folder of the set to write")
    options = parser.parse_args()
    folder = write_refs(world_of(options.photo_set), options.out, ABOUT)
    report = lint(folder)
    for fault in (*report.errors, *report.remarks):
        print(f"{fault.where}: {fault.text} {fault.fix}")
    print(f"{folder}: {len(report.errors)} errors, {len(report.remarks)} remarks")


if __name__ == "__main__":
    main()
