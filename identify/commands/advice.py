"""`baitprint advice`: is a photo good enough, for what, and what to do better."""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.text import Text

from identify.advice import EVER, Advice, GoodFor, Tip, advise_photo, unusable
from identify.advice.rules import USES, Use
from identify.commands import photos as runner
from identify.commands.console import console, put_line
from identify.report.words import Units, in_units
from identify.serialise import advice_json, dumps
from identify.settings import Settings

NAMES: dict[Use, str] = {"length": "length", "ties": "line ties", "colour": "colour"}
INDENT = (0, 0, 0, 2)


def advise_photos(photos: Sequence[str], settings: Settings, units: Units, as_json: bool) -> int:
    """The command `advice`; returns its exit code."""
    out = console()
    show: Callable[[Advice], None]
    if as_json:
        show = _put
    else:

        def show(advice: Advice) -> None:
            show_advice(out, advice, units)

    names = runner.expand(photos)
    code = runner.run(names, lambda path: advise_photo(path, settings), show, as_json, stand_in=unusable)
    if not as_json:
        for text in EVER:
            out.print(Text(text), style="dim")
    return code


def _put(advice: Advice) -> None:
    put_line(dumps(advice_json(advice)))


def show_advice(out: Console, advice: Advice, units: Units) -> None:
    """One photo's advice: what it is good for first, then what to do, the most important first."""
    out.print(Text(advice.photo, style="bold"), soft_wrap=True)
    if advice.error is not None:
        out.print(Padding(Text(f"could not be used ({advice.error.code}): {advice.error.text}"), INDENT))
        out.print()
        return
    out.print(Padding(Text(verdict(advice.good_for), style="green" if all_good(advice.good_for) else "yellow"), INDENT))
    differ = len({bait.good_for for bait in advice.baits}) > 1
    for bait in advice.baits if differ else ():
        out.print(Padding(Text(f"bait {bait.number}: {verdict(bait.good_for)}"), INDENT))
    for tip in advice.advice:
        out.print(Padding(Text.assemble(("- ", "yellow" if tip.spoils else ""), said(tip, advice, units)), INDENT))
    out.print()


def all_good(good_for: GoodFor) -> bool:
    return all(getattr(good_for, use) for use in USES)


def verdict(good_for: GoodFor) -> str:
    """What a photo is good enough for, in a few words."""
    good = [NAMES[use] for use in USES if getattr(good_for, use)]
    bad = [NAMES[use] for use in USES if not getattr(good_for, use)]
    if not bad:
        return "Good enough for length, line ties and colour."
    if not good:
        return "Not good enough for length, line ties or colour."
    return f"Good enough for {' and '.join(good)}, not for {' or '.join(bad)}."


def said(tip: Tip, advice: Advice, units: Units) -> str:
    """A tip with the baits that it is about, where there are several."""
    text = in_units(tip.text, units)
    if len(advice.baits) < 2 or not tip.baits:
        return text
    if len(tip.baits) == len(advice.baits):
        return f"All baits: {text}"
    return f"Bait{'s' if len(tip.baits) > 1 else ''} {', '.join(map(str, tip.baits))}: {text}"
