"""What a bug report needs: versions and settings, and no more of the machine than that."""

from __future__ import annotations

import platform
import sys
from importlib import metadata
from pathlib import Path
from typing import Any

from identify import __version__
from identify.commands.chosen import chosen_refs, settings_file
from identify.kept.store import cache_dir
from identify.settings import Settings

LIBRARIES = (
    "filelock", "jinja2", "numpy", "onnxruntime", "opencv-python-headless", "pillow", "pillow-heif", "pydantic",
    "rapidfuzz", "reportlab", "rich", "scikit-image", "scikit-learn", "scipy", "segno", "shapely", "tomlkit", "typer",
    "zxing-cpp",
)  # fmt: skip


def about_rows() -> dict[str, Any]:
    """Versions and settings by name; a mapping where there are several."""
    from dataclasses import asdict

    return {
        "version": __version__,
        "package": str(Path(__file__).resolve().parents[1]),
        "python": f"{platform.python_implementation()} {platform.python_version()}",
        "system": f"{platform.system()} {platform.release()} {platform.machine()}",
        "encoding": str(sys.stdout.encoding),
        "settings_file": str(settings_file()),
        "cache_folder": str(cache_dir()),
        "refs": chosen_refs(),
        "libraries": {name: _version(name) for name in LIBRARIES},
        "defaults": {name: value for name, value in asdict(Settings()).items() if value is not None},
    }


def _version(name: str) -> str | None:
    try:
        return metadata.version(name)
    except metadata.PackageNotFoundError:
        return None
