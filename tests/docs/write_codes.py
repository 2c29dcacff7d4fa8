"""Writes `identify/help/codes.md` from the declared lists of codes, so that the two cannot differ.

python -m tests.docs.write_codes
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from pathlib import Path

import identify
from identify.advice import ADVICE
from identify.errors import INTERNAL, BaitprintError
from identify.records import WARNINGS
from identify.reference.faults import CODES

PLACE = Path(identify.__file__).parent / "help" / "codes.md"
HEAD = """# Codes of warnings, errors and faults

Codes stay as they are; their texts may become clearer. A **warning** says that one reading could not be made or is
doubtful: the rest of the photo counts. An **error** says that a photo, a set or a wish could not be handled at all. A
**fault** or remark is what `baitprint refs lint` finds in a reference set.
"""


def error_classes(root: type[BaitprintError] = BaitprintError) -> Iterator[type[BaitprintError]]:
    """Every error that has a code of its own."""
    for found in root.__subclasses__():
        if "code" in vars(found):
            yield found
        yield from error_classes(found)


def errors() -> dict[str, str]:
    """Codes of errors with what they mean."""
    found = {e.code: (e.__doc__ or "").strip() for e in error_classes()}
    return {**found, INTERNAL: "Something went wrong inside baitprint: a fault of the program, please report it."}


def table(codes: Mapping[str, str]) -> str:
    lines = [f"| `{code}` | {' '.join(text.split())} |" for code, text in codes.items()]
    return "\n".join(["| code | means |", "| --- | --- |", *lines])


def codes_page() -> str:
    return f"""{HEAD}
## Warnings
{table(WARNINGS)}

## Errors
{table(errors())}

## Advice
What `baitprint advice` may say, the most important first; a photo that cannot be used has the code of its error.

{table(ADVICE)}

## Faults and remarks of reference sets
{table(CODES)}
"""


if __name__ == "__main__":
    PLACE.write_text(codes_page(), encoding="utf-8", newline="\n")
