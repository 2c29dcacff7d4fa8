"""Lines of keys in TOML files."""

from __future__ import annotations

import pytest

from identify.reference.tomllines import line_of, spelled

TEXT = '''\
# size = 1
title = "a # b [x]" # [size]
"odd key" = 1
long = """
[[size]]
code = 3
"""
[[size]]
code = '1'
eye = { at_mm = [1, 2], kind = "painted" }

  [[size]]   # second
code = "2"
zones = [
  { kind = "head", lab = [1,
      2, 3] },
  # { kind = "no" }
  { kind = "tail", lab = [4, 5, 6] },
]
[prior]
"A & B" = 2
x.y = 3'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("title",), 2),
        (("odd key",), 3),
        (("long",), 4),
        (("size", 0, "code"), 9),
        (("size", 0, "eye", "kind"), 10),
        (("size", 1), 12),
        (("size", 1, "code"), 13),
        (("size", 1, "missing"), 12),
        (("size", 1, "zones", 0, "lab"), 15),
        (("size", 1, "zones", 1, "kind"), 18),
        (("prior", "A & B"), 21),
        (("prior", "x", "y"), 22),
        (("nothing",), None),
    ],
)
def test_line_of(path: tuple[str | int, ...], line: int | None) -> None:
    assert line_of(TEXT, path) == line


def test_spelled() -> None:
    assert spelled(("size", 1, "line_ties", "at_mm", 0)) == "size[2].line_ties.at_mm[1]"
