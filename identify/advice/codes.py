"""Everything that `advice` may say, as one declared list."""

from __future__ import annotations

ADVICE: dict[str, str] = {
    # the bait
    "no-bait": "Nothing in the photo looks like a bait: lay it beside the card, not on it, on a plain, matt ground in "
    "a colour that it has not.",
    "touches-edge": "The bait reaches the edge of the photo: leave a finger's width all around it.",
    "baits-close": "Baits lie so close that one may be taken for part of another: leave a finger's width between.",
    "card-close": "The bait touches the card: leave a finger's width between them.",
    "outline-unclear": "Part of the outline hardly stands out: take a plain ground in a colour that the bait does not "
    "have, and no shadow beside it.",
    "bait-small": "Few pixels on the bait: fill more of the picture with it, or use the camera's full resolution.",
    "not-side-view": "The bait does not seem to lie on its side: lay it so that its whole flank shows.",
    "ties-unsure": "The line ties can't be counted for sure: lay the bait so that back and nose show against the "
    "ground, and take it larger.",
    "size-unsure": "Length and depth are less sure than they could be.",
    # light
    "blurred": "The picture is blurred: rest the camera on something, tap to focus on the bait, and give more light.",
    "dark": "The picture is dark: give more light, or a longer exposure with the camera at rest.",
    "noisy": "The picture is grainy: give more light.",
    "clipped": "Part of the bait is so bright that its colour is lost: expose less.",
    "glare": "Light glares on the bait: move the lamp to the side, or put thin white paper in front of it.",
    "shadow-hard": "A hard shadow lies beside the bait: use soft light from several sides, such as an overcast "
    "window, or put thin white paper before the lamp.",
    "light-uneven": "The light differs between card and bait, or over the card: light the whole table evenly, from one "
    "kind of lamp or from daylight alone.",
    "colour-doubtful": "The colour can't be read well: no glare, no shadow, no clipped light on the bait.",
    "hard-to-read": "Leaf and clear finishes take their colour from the light: no photo reads them well.",
    # card
    "no-card": "No grey card was found, so nothing is given in millimetres.",
    "card-doubtful": "More than one thing could be the card, or its sides are unclear: leave one card in the photo.",
    "card-small": "The card is small in the picture: go nearer, or cut less off.",
    "card-covered": "Something lies over a corner of the card: keep hooks, fingers and other things off it.",
    "card-far": "The card lies far from the bait: lay it beside it, some two fingers' widths away.",
    "card-clipped": "The card is too bright or too dark to set colours by: expose so that it looks mid-grey.",
    # camera
    "camera-slanted": "The camera looks at the card from the side: hold it straight above, and see that the card lies "
    "flat on the same table as the bait.",
    "camera-close": "The camera is so near that what stands higher looks clearly larger: step back and zoom in.",
    "no-focal-length": "The photo does not say its focal length: send the camera's own file, not one passed on by a "
    "messenger or an editor.",
    "cropped": "The photo was cut after it was taken: send the whole picture, as the camera made it.",
    "profile-unreadable": "The photo's colour profile can't be read: send the camera's own file.",
    # how to lay it
    "lay-hooks": "Hooks may hold the body off the table: let them hang over an edge, or press them into foam that the "
    "card lies on too. Mind the points; never take hardware off, and neither clean nor wet the bait.",
}
"""Codes with what to do, the most important first."""

EVER = (
    "How to lay it: on its side on a matt ground, the card flat beside it and as low, hooks over an edge or in foam. "
    "Never take hardware off, never clean or wet a bait.",
    "Hooks are sharp, and rusty ones too; paint and weights may hold lead: wash your hands, keep them from children.",
)
"""What is said once, whatever the photos."""
