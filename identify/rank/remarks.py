"""What the ranking remarks on a reference set: forms that even good photos would take for one another."""

from __future__ import annotations

from identify.rank.lookalikes import CAMERAS, lookalikes
from identify.rank.prepared import prepare
from identify.reference import Fault, Form, ReferenceSet, compare

WORTH_A_WORD = 0.02
"""Share of baits, of good photos, from which on a pair is remarked on."""
DRAWS = 12
SIDE_BY_SIDE = (
    "See them side by side: `baitprint refs lookalikes`. Line ties, kinds of hardware or weight may tell them."
)


def lookalike_remarks(found: ReferenceSet) -> tuple[Fault, ...]:
    """A remark for each pair of models or sizes that good photos confuse, at the file of the first."""
    forms = found.forms()
    if not forms:
        return ()
    p = prepare(forms)
    file_of = {profile.name: profile.file for profile in found.profiles}
    remarks = []
    for pair in lookalikes(p, {"good": CAMERAS["good"]}, DRAWS, least=WORTH_A_WORD):
        share = pair.confused["good"]
        if share >= WORTH_A_WORD:
            one, other = p.forms[pair.one], p.forms[pair.other]
            remarks.append(_remark(file_of[f"{one.maker} / {one.model}"], one, other, share))
    return tuple(remarks)


def _remark(file: str, one: Form, other: Form, share: float) -> Fault:
    text = (
        f"{compare.name(one)} and {compare.name(other)} look alike: good photos take one for the other in "
        f"{100 * share:.0f} of 100 baits"
    )
    by = compare.told_apart(one, other)
    fix = f"What tells them: {'; '.join(by)}." if by else SIDE_BY_SIDE
    return Fault(file, None, None, "look-alike", text, fix)
