"""The documentation tells of what is there: commands, options, codes, keys; and README's example runs."""

from __future__ import annotations

import re
from collections.abc import Iterator
from contextlib import chdir, redirect_stdout
from io import StringIO
from pathlib import Path
from typing import Any

import pytest
import typer

import identify
from identify.advice import ADVICE
from identify.commands.app import app
from identify.records import WARNINGS
from identify.reference.faults import CODES
from tests.docs.write_codes import PLACE, codes_page, errors
from tests.unit.test_serialise import KEYS_OF_ANSWER, KEYS_OF_PHOTO, schema

TOP = Path(identify.__file__).parents[1]
FORMATS = (PLACE.parent / "formats.md").read_text("utf-8")
README = (TOP / "README.md").read_text("utf-8")


def commands(group: Any = None, path: str = "baitprint") -> Iterator[tuple[str, Any]]:
    """Every command with its full name."""
    group = group or typer.main.get_command(app)
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, f"{path} {name}")
        else:
            yield f"{path} {name}", command


def test_every_command_and_option_is_documented() -> None:
    found = dict(commands())
    assert "baitprint refs lint" in found and len(found) >= 8
    for name, command in found.items():
        assert f"`{name}" in FORMATS, name
        for option in (p for p in command.params if p.param_type_name == "option"):
            assert option.help or option.name == "help"
            assert any(f"`{o}" in FORMATS or f"[{o}" in FORMATS for o in option.opts), (name, option.opts)


def test_every_documented_command_is_there() -> None:
    told = set(re.findall(r"^\| `(baitprint(?: refs)? [a-z]+)", FORMATS, re.MULTILINE))
    assert told == set(dict(commands()))


def test_codes_are_documented_as_declared() -> None:
    assert PLACE.read_text("utf-8") == codes_page(), "run: python -m tests.docs.write_codes"
    page = PLACE.read_text("utf-8")
    for code in (*WARNINGS, *CODES, *ADVICE, *errors()):
        assert f"`{code}`" in page
    assert {"photo-missing", "photo-unreadable", "set-faulty", "cannot-write", "internal-error"} <= set(errors())


def test_every_key_is_documented() -> None:
    keys = [*KEYS_OF_PHOTO, *KEYS_OF_ANSWER, *schema("photo")["$defs"]["bait"]["properties"]]
    for key in keys:
        assert f'"{key}"' in FORMATS, key
    for path in (PLACE.parent / "schemas").iterdir():
        name = path.stem.removesuffix("-1")
        assert f"baitprint/{name}/1" in FORMATS


def test_readme_and_ci_agree_on_the_two_commands() -> None:
    block = re.search(r"^## Start$.*?^```sh\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert block is not None
    first, second = block[1].strip().splitlines()
    assert "pip install ." in first and first.endswith("baitprint demo")
    assert "[test]" in second and second.endswith("pytest")
    ci = (TOP / ".ci" / "run").read_text("utf-8")
    assert "readme_line 1" in ci and "readme_line 2" in ci


def test_readme_links_lead_somewhere() -> None:
    for name in ("README.md", "DEVELOPERS.md"):
        for target in re.findall(r"\]\(([^)#]+)\)", (TOP / name).read_text("utf-8")):
            assert (TOP / target).exists(), target


def test_readme_example_runs() -> None:
    found = re.search(r"^```python\n(.*?)^```", README, re.MULTILINE | re.DOTALL)
    assert found is not None
    said = StringIO()
    with chdir(TOP), redirect_stdout(said):
        exec(compile(found[1], "README.md", "exec"), {})
    assert re.match(r"\d+\.\d ± \d+\.\d mm: Pellow Lake Supply / Kettle Lid \(\d+%\)\n", said.getvalue())


@pytest.mark.parametrize("name", ["README.md", "DEVELOPERS.md", "identify/help/formats.md", "demo_photos/README.md"])
def test_no_path_of_any_one_machine(name: str) -> None:
    text = (TOP / name).read_text("utf-8")
    assert "/work" not in text and "../shared" not in text and "/home" not in text
