"""Files are written whole or not at all."""

from __future__ import annotations

from pathlib import Path

import pytest

from identify.errors import CannotWrite
from identify.files import made, put_bytes, put_text


def test_a_file_is_replaced_and_nothing_is_left_beside_it(tmp_path: Path) -> None:
    place = tmp_path / "new" / "ü.txt"
    put_text(place, "one\ntwo\n")
    put_text(place, "ö\n")
    put_bytes(tmp_path / "new" / "b", b"\x00", lasting=False)
    assert place.read_bytes() == "ö\n".encode()
    assert sorted(p.name for p in place.parent.iterdir()) == ["b", "ü.txt"]


def test_what_cannot_be_written_says_so_and_leaves_the_old(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x", "utf-8")
    with pytest.raises(CannotWrite, match="cannot be written") as fault:
        put_bytes(tmp_path / "file" / "below", b"")
    assert fault.value.what_to_do
    (tmp_path / "folder").mkdir()
    with pytest.raises(CannotWrite):
        put_bytes(tmp_path / "folder", b"")
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "folder"]
    with pytest.raises(CannotWrite, match="it is a file"):
        made(tmp_path / "file")
    assert made(tmp_path / "a" / "b").is_dir()
