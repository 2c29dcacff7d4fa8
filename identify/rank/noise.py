"""Every figure that ranking assumes, in one frozen value: how far readings and pieces scatter, and how sure we are.

Each reading brings its own standard uncertainty u; what stands here is what u cannot know: between-piece tolerances of
a set that states none, detectors that miss, owners that change hooks, and the tails.  Sources: "render" are scenes with
known truth, measured by the whole chain (`tests/benchmarks/rank.py` fits them again); "bench" are rulers and common
sense at the bench, no published source.
"""

from __future__ import annotations

from dataclasses import dataclass

from identify.outline import DESCRIPTORS


@dataclass(frozen=True)
class Misread:
    """One way in which a body is traced wrongly: how often, how often where the measurement warns that its outline is
    unclear, scatter of ln(length) and ln(depth to length), and how many times more its descriptors scatter."""

    chance: float
    chance_warned: float
    length: float
    aspect: float
    outline: float


@dataclass(frozen=True)
class Noise:
    """Fractions are of the value itself unless said otherwise; all scales are k = 1."""

    # tails and shares of the ranking as a whole
    tail: float = 8.0
    """Degrees of freedom of Student's t in every continuous reading: one in some hundred lies far out; bodies that are
    traced wrongly are a case of their own (below)."""
    none: float = 0.15
    """Prior probability that a bait is of no listed model (bench: one in seven of a mixed box)."""
    cousin: float = 0.3
    """Share of unlisted baits that follow a listed one in part: copies, other sizes, other hardware (bench)."""
    copied: float = 0.5
    """Probability that such a cousin took over one feature."""
    sized: float = 0.2
    """Share of the cousins that are a listed bait in another size: one that the set's editor has not met, or a copy
    cast or carved larger or smaller (bench)."""
    sized_copied: float = 0.9
    """Probability that such a one has each feature, its size apart, as the listed ones have it."""
    temperature: float = 1.1
    """Divides the evidence (log likelihood ratio) of the photo.  On measured baits, models left out in turn, 1 fits
    as well as less (render: 94 baits of the tune split and of photos to learn from, unknown models never among them); a
    tenth more for other photos."""
    offset: float = 0.0
    """Added to every listed model's evidence (natural log); fitted on models left out in turn."""
    orientation_doubt: float = 0.003
    """Least probability that nose and tail, or back and belly, were read the wrong way round (render)."""

    # size and proportion
    length_tolerance: float = 0.006
    """Between true pieces where the set states none: moulding and sanding 0.4 %, shrinkage of old plastic and moved
    wood the rest (bench)."""
    depth_tolerance: float = 0.010
    """As above, for the depth: sanding and paint weigh more on the smaller extent (bench)."""
    length_floor: float = 0.002
    """Least u of a length: no photo reads better (render)."""
    aspect_floor: float = 0.005
    """Least u of depth to length (render)."""
    length_broad: tuple[float, float] = (4.1, 0.5)
    """Mean and sd of ln(length in mm) over unlisted baits: most lie between 25 and 150 mm (bench)."""
    aspect_broad: tuple[float, float] = (-1.3, 0.4)
    """Mean and sd of ln(depth to length): slender 0.15 to deep 0.5 (bench)."""
    thickness_tolerance: float = 0.03
    thickness_broad: tuple[float, float] = (-0.35, 0.25)
    """Mean and sd of ln(thickness to depth), round bodies 1, flat ones 0.5 (bench)."""

    # outline: descriptors of identify.outline, in units of the depth
    outline_sd: tuple[float, ...] = (
        *(0.0055, 0.005, 0.0045, 0.0035, 0.0035, 0.0032, 0.0032, 0.0028, 0.0026, 0.0023),
        *(0.011, 0.0065, 0.0045, 0.0032, 0.0028, 0.0024),
    )  # fmt: skip
    """Scatter of one piece's descriptors in one photo, pieces' own differences included (render: 64 bodies of the tune
    split, robust; shift and tilt below come on top)."""
    outline_shift: float = 0.008
    """The nose's and tail's tips are chosen on blunt ends: both heights shift together by so much of the depth."""
    outline_tilt: float = 0.008
    """As above: the axis turns, and both heights slope from minus to plus so much of the depth."""
    outline_edge_px: float = 0.5
    """Edge noise that grows in descriptors as the picture gets smaller."""
    # a body that was traced wrongly: length, proportion and outline fail together
    misread_bodies: tuple[Misread, ...] = (
        Misread(0.005, 0.06, length=0.03, aspect=0.05, outline=3.0),
        Misread(0.0015, 0.03, length=0.12, aspect=0.25, outline=8.0),
    )
    """A ring, a shadow or a hook's shank taken for body; and a body that was lost in its surroundings (render: none
    of 94 in the tune split and the photos to learn from, whose strangers are told better the rarer these are; photos
    that are not rendered have more)."""

    # line ties and hangers
    tie_lost: float = 0.03
    """Probability that one tie of a piece was lost since it was made (bench)."""
    tie_added: float = 0.004
    tie_misread: float = 0.04
    """Probability that the distribution over counts is wrong altogether (render)."""
    trace_seen: float = 0.5
    """A lost tie's hole or stump is seen; a hole seen where none was lost: `trace_false`."""
    trace_false: float = 0.03
    tie_sd_mm: float = 0.5
    """Place of a tie: drilled by hand 0.3 mm, read to 0.4 mm (render)."""
    tie_stray: float = 0.06
    """Probability that a counted ring is not the tie it seems."""
    tie_broad: tuple[float, ...] = (0.03, 0.47, 0.33, 0.10, 0.04, 0.03)
    """How many ties unlisted baits have (bench)."""
    hanger_missed: float = 0.08
    hanger_misread: float = 0.02
    hanger_extra: float = 0.03
    hanger_sd_mm: float = 0.7
    hanger_stray: float = 0.12
    hanger_broad: tuple[float, ...] = (0.03, 0.17, 0.45, 0.27, 0.05, 0.03)

    # other hardware
    hook_same: float = 0.62
    hook_fewer: float = 0.33
    """Hooks are lost and replaced: weak evidence (bench); the rest are more hooks than when new."""
    hook_broad: tuple[float, ...] = (0.10, 0.20, 0.42, 0.22, 0.04, 0.02)
    eye_sd_mm: float = 0.6
    eye_diameter_sd_mm: float = 0.3
    eye_stray: float = 0.08
    """Probability that what was read as an eye is none."""
    eye_diameter_stray: float = 0.1
    """Probability that another edge than the eye's outermost ring was measured (render: one in twelve is a quarter
    off)."""
    eye_broad: float = 0.85
    """Share of unlisted baits with an eye."""
    eye_diameter_broad: tuple[float, float] = (0.06, 0.02)
    """Mean and sd of an unlisted bait's eye diameter to length (bench)."""
    lip_lost: float = 0.08
    lip_misread: float = 0.1
    lip_broad: float = 0.3

    # what a person tells
    told_mistaken: float = 0.01
    """Probability that a count told is wrong altogether (bench)."""
    told_overlooked: float = 0.5
    """Of rings that a piece has lost, those whose holes a person who counts overlooks (bench)."""
    weight_tolerance: float = 0.08
    """Between pieces: wood drinks, hooks are changed (bench)."""
    weight_broad: tuple[float, float] = (-7.4, 0.4)
    """Mean and sd of ln(weight in g over length times squared depth in mm) of unlisted baits (bench)."""
    joint_seen: float = 0.6
    """The gap of a jointed bait is seen (five of six photos that were cut and drawn apart); one is seen in a one-piece
    body: `joint_false` (render: none in 154 baits of the tune split)."""
    joint_false: float = 0.003
    not_comparable: float = 0.015
    """Prior probability that a bait is jointed, of metal, soft, or no one-piece body otherwise (bench)."""

    # colours
    colour_tail: float = 4.0
    colour_tolerance: float = 3.0
    """What batch, age and dirt do to one paint, CIEDE2000 (bench)."""
    colour_unlisted: float = 0.2
    """Probability that a piece of a listed model wears a colour that is not on the list."""
    colour_met: float = 1.5
    """A list of the m colourways that have been photographed so far leaves out colour_met / (colour_met + m) of the
    pieces, if that is more (bench)."""
    colour_pool: float = 0.5
    """Share of unlisted colours that are some other listed model's."""
    colour_broad_mean: tuple[float, float, float] = (55.0, 3.0, 12.0)
    colour_broad_sd: tuple[float, float, float] = (24.0, 20.0, 22.0)
    """Paints of fishing baits over CIELAB (bench)."""
    hard_finish: float = 2.5
    """Leaf and clear finishes scatter so many times more."""
    finish_flagged: float = 0.6
    """A leaf or clear finish is flagged as such; another one is: `finish_flagged_false`."""
    finish_flagged_false: float = 0.06
    finish_broad: float = 0.12
    """Share of unlisted paint jobs on leaf or clear finishes (bench)."""
    zone_missed: float = 0.25
    zone_false: float = 0.12
    zone_broad: float = 0.15
    """Share of unlisted paint jobs that have a given zone (head, side, tail, throat)."""
    pattern_same: float = 0.75
    """A pattern is read as what it is; plain and blend are taken for one another with `pattern_near`."""
    pattern_near: float = 0.17
    pattern_broad: tuple[float, float, float, float] = (0.35, 0.45, 0.10, 0.10)
    """Share of unlisted paint jobs that are plain, blend, dots, bars."""

    def __post_init__(self) -> None:
        if len(self.outline_sd) != DESCRIPTORS:
            raise ValueError(f"outline_sd needs {DESCRIPTORS} values")
