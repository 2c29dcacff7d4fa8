"""The main job on the demo photos: what a newcomer runs first."""

from __future__ import annotations

from pathlib import Path

from identify.commands.console import put_line
from identify.commands.jobs import identify_photos
from identify.errors import SetMissing
from identify.settings import Settings

SUFFIXES = (".jpg", ".png", ".heic", ".webp")


def demo_places() -> tuple[Path, Path]:
    """The folders of the demo photos and of the demo set: carried by the installed package, or beside it in a checkout.

    Raises SetMissing when neither is there.
    """
    package = Path(__file__).resolve().parents[1]
    installed = package / "demo" / "photos", package / "demo" / "ammerfold-lakes"
    checkout = package.parent / "demo_photos", package.parent / "reference_sets" / "ammerfold-lakes"
    for photos, refs in (installed, checkout):
        if photos.is_dir() and refs.is_dir():
            return photos, refs
    raise SetMissing("This installation does not carry the demo.", "Install baitprint again, or run it in a checkout.")


def run_demo(out: str) -> int:
    """The command `demo`; returns its exit code."""
    photos, refs = demo_places()
    names = sorted(str(p) for p in photos.iterdir() if p.suffix.lower() in SUFFIXES)
    put_line(f"The demo: {len(names)} photos from {photos}, ranked by the set in {refs}.")
    put_line("")
    return identify_photos(names, [str(refs)], Settings(), None, out, "mm", as_json=False)
