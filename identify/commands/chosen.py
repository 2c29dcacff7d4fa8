"""The reference set that a person has chosen with `refs use`: the only thing that is remembered between runs."""

from __future__ import annotations

import json
import os
from collections.abc import Sequence
from pathlib import Path

from identify.errors import BadOption, SetMissing

VARIABLE = "BAITPRINT_CONFIG"
"""Environment variable that names another settings file."""


def settings_file() -> Path:
    """Where the choice is kept."""
    told = os.environ.get(VARIABLE)
    if told:
        return Path(told)
    from platformdirs import user_config_path

    return user_config_path("baitprint", appauthor=False) / "settings.json"


def chosen_refs() -> tuple[str, ...]:
    """Folders of the chosen sets, none when nothing was chosen.  Raises BadOption for a settings file that cannot be
    read."""
    path = settings_file()
    try:
        values = json.loads(path.read_text("utf-8"))
        refs = values["refs"]
        if not isinstance(refs, list) or not all(isinstance(r, str) for r in refs):
            raise ValueError("refs is no list of folders")
    except (FileNotFoundError, NotADirectoryError):
        return ()
    except (OSError, ValueError, KeyError, TypeError) as why:
        raise BadOption(
            f"The settings file {path} cannot be read.", "Choose a set again with `baitprint refs use`, or delete it."
        ) from why
    return tuple(refs)


def asked_refs(named: Sequence[str] | None) -> tuple[str, ...]:
    """Folders of the sets that a command asks: those named, or else those chosen.  Raises SetMissing for a chosen one
    that is gone, since nobody who only named photos would know where its name comes from; and BadOption."""
    if named:
        return tuple(named)
    folders = chosen_refs()
    for folder in folders:
        if not (Path(folder) / "set.toml").is_file():
            raise gone(folder)
    return folders


def gone(folder: str) -> SetMissing:
    """What to say of a chosen set that was deleted or moved."""
    return SetMissing(
        f"The reference set {folder}, chosen with `baitprint refs use`, is no longer there.",
        "Choose another, or the same where it lies now, with `baitprint refs use SET`; `baitprint refs use --none` "
        "chooses none, and --refs SET names one for this time only.",
    )


def choose_refs(folders: tuple[str, ...]) -> Path:
    """Remember these sets; returns the settings file.  Raises CannotWrite."""
    from identify.reference.write import put

    path = settings_file()
    put(path, json.dumps({"refs": [os.path.abspath(f) for f in folders]}, ensure_ascii=False, indent=1) + "\n")  # noqa: PTH100
    return path
