"""What was learned, in words."""

from __future__ import annotations

from pathlib import Path

import pytest

from identify.reference import write
from identify.reference.enrol import Editor
from identify.reference.words import learned_rows
from tests.unit.known_baits import learn, photo


@pytest.mark.parametrize(
    ("ties", "said"),
    [
        ((0.2,), "line ties: 1, 12.0 mm from the nose"),
        ((0.1, 0.2, 0.35), "line ties: 3, 6.0, 12.0 and 21.0 mm from the nose"),
        ((-0.025,), "line ties: 1, 1.5 mm before the nose"),
        ((-0.025, 0.2), "line ties: 2, 1.5 mm before and 12.0 mm from the nose"),
    ],
)
def test_places_of_rings(tmp_path: Path, ties: tuple[float, ...], said: str) -> None:
    write.put(tmp_path / "set.toml", write.set_toml({"title": "Shelf"}))
    done = learn(Editor(tmp_path), photo("a.jpg", ties=ties))
    assert done.learned is not None
    assert said in list(learned_rows(done.learned, "1", None))
