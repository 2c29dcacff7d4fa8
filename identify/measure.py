"""Measuring one photo: the stages put together, and their results brought into records."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

from identify import __version__, body, card, closeup, hardware, joint, orient, paint, separate, slips, view
from identify import photo as photos
from identify.calibration import Calibration
from identify.clash import clashes
from identify.errors import PhotoError
from identify.geometry import Array, extent_across
from identify.outline import to_frame
from identify.photo import Photo
from identify.records import (
    TIE_COUNTS,
    WARNINGS,
    Bait,
    Eye,
    Failure,
    Hangers,
    Hooks,
    LineTies,
    Lip,
    Measurement,
    Notice,
    PhotoRecord,
    Polygon,
    Quantity,
    Thickness,
    Trace,
)
from identify.settings import Settings
from identify.size import measure_size
from identify.stages import Body, EyeSeen, Hardware, Paint, Pose, Region, Sizing, as_polygon
from identify.told import Told, of_bait, unused

Progress = Callable[[int, int], None]
"""Is told how many baits of a photo have been measured, and of how many."""
SURE_COUNT = 0.5
"""A count of ties is given when it is likelier than all others together."""
SURE_HARDWARE = 0.5
SURE_WAY_ROUND = 0.9
FEW_PX_PER_MM = 5.0
"""Below this, rings of 3 to 5 mm cannot be told from marks."""


def measure_file(path: str | Path, settings: Settings | None = None, progress: Progress | None = None) -> PhotoRecord:
    """Read and measure one photo; a photo that cannot be read gives a record that says why."""
    settings = settings or Settings()
    try:
        photo = photos.read(path, settings)
    except PhotoError as fault:
        failure = Failure(fault.code, fault.message)
        return PhotoRecord(str(path), None, None, None, __version__, None, None, None, None, (), failure, (), ())
    return measure(photo, settings, progress)


def measure(photo: Photo, settings: Settings | None = None, progress: Progress | None = None) -> PhotoRecord:
    """Find and measure every bait of one photo; `progress` is told before each."""
    settings = settings or Settings()
    calibration = card.find(photo, settings)
    seen = slips.find(photo)
    seen, separation, about_slips = slips.set_apart(photo, seen, separate.separate(photo, calibration, settings))
    looks = closeup.look_at_all(photo, separation, calibration)
    number_of_baits = len(looks.baits)
    found = []
    for number, (region, close) in enumerate(looks.baits, 1):
        if progress is not None:
            progress(number - 1, number_of_baits)
        told = of_bait(settings.told, number, number_of_baits)
        found.append(_bait(photo, region, close, calibration, number, told, bool(settings.told), seen))
    baits = joint.end_to_end(tuple(found))
    notices = photo.warnings + calibration.warnings + about_slips + looks.warnings
    if not baits and not any(n.code == "no-bait" for n in notices):
        notices += (_notice("no-bait"),)
    if len(baits) > 1:
        notices += (_notice("several-baits"),)
    notices += _told_unused(settings.told, number_of_baits)
    return PhotoRecord(
        photo.name,
        photo.sha256,
        photo.width,
        photo.height,
        __version__,
        None,
        calibration.card,
        calibration.scale,
        seen.slip,
        notices,
        None,
        looks.set_aside,
        baits,
    )


def _bait(
    photo: Photo,
    region: Region,
    close: closeup.Closeup,
    calibration: Calibration,
    number: int,
    told: tuple[Told, ...],
    asked: bool,
    beside: slips.Slips,
) -> Bait:
    """One bait with what was told of it; `asked`: anything was told in this run; `beside`: slips of the photo."""
    measured = slips.doubted(measure_bait(photo, region, close, calibration, number, told), beside)
    return Bait(measured, told=told, clashes=clashes(told, measured)) if asked else Bait(measured)


def _told_unused(told: tuple[Told, ...], baits: int) -> tuple[Notice, ...]:
    """That something told could not be used, and how to say it so that it can."""
    left = unused(told, baits)
    if not left or not baits:
        return ()
    named = ", ".join(t.key if t.bait is None else f"{t.bait}:{t.key}" for t in left)
    numbers = "bait 1 only" if baits == 1 else f"baits 1 to {baits}, numbered as in the output"
    how = f"The photo has {numbers}: write N:KEY=VALUE with the bait's number."
    return (Notice("told-unused", f"{WARNINGS['told-unused']} Not used: {named}. {how}"),)


def measure_bait(
    photo: Photo,
    region: Region,
    seen: closeup.Closeup,
    calibration: Calibration,
    number: int = 1,
    told: tuple[Told, ...] = (),
) -> Measurement:
    """Measure one bait that was looked at closely.  A thickness that was `told` goes into the correction for its
    height."""
    calibration = calibration.below(region.middle_px)
    traced = body.trace(photo, region, seen)
    thick = next((Thickness(float(t.value), t.u, "told") for t in told if t.key == "thickness_mm" and t.u), None)
    sizing = measure_size(traced, calibration, thick)
    found = hardware.detect(photo, traced, seen, calibration)
    pose = orient.resolve(traced, sizing, found)
    colours = paint.read(photo, region, traced, sizing, found, pose, calibration)
    measured = _record(number, traced, sizing, found, pose, colours, calibration)
    if joint.find(photo, traced.outline_px, (pose.nose_px, pose.tail_px)) is None:
        return measured
    return replace(measured, warnings=(*measured.warnings, _notice("joint-seen")))


def _record(
    number: int,
    traced: Body,
    sizing: Sizing,
    found: Hardware,
    pose: Pose,
    colours: Paint,
    calibration: Calibration,
) -> Measurement:
    frame = _Frame(traced, sizing, pose, calibration)
    nose, tail = pose.nose_px, pose.tail_px
    across_px = np.array([tail[1] - nose[1], nose[0] - tail[0]]) * (1 if pose.back_is_left else -1)
    rings = [found.rings[i] for i in pose.ties]
    hangers = [found.rings[i] for i in pose.hangers]
    hooks = [h for h in found.hooks if h.probability > SURE_HARDWARE]
    count = int(np.argmax(pose.tie_probabilities))
    sure = pose.tie_probabilities[count] > SURE_COUNT and count < len(TIE_COUNTS) - 1
    ties = LineTies(
        count if sure else None,
        pose.tie_probabilities,
        tuple(r.at_px for r in rings),
        frame.mm([r.at_px for r in rings]),
        tuple(Trace(_first(frame.mm([at])), kind) for at, kind in found.traces),
    )
    hanger_px = tuple(h.at_px for h in hangers)
    eye = found.eyes[pose.eye] if pose.eye is not None else None
    notices = list(traced.warnings + found.warnings + colours.warnings)
    if not sure:
        notices.append(_notice("ties-unsure"))
    if sizing.px_per_mm is not None and sizing.px_per_mm < FEW_PX_PER_MM:
        notices.append(_notice("resolution-low"))
    if pose.p_nose < SURE_WAY_ROUND:
        notices.append(_notice("nose-unsure"))
    if pose.p_back < SURE_WAY_ROUND:
        notices.append(_notice("back-unsure"))
    shown = view.judge(traced, pose, found, colours.back, colours.belly)
    if shown.kind != "side":
        notices.append(_notice("not-side-view"))
    found_so = Measurement(
        number=number,
        outline_px=as_polygon(traced.outline_px),
        outline_mm=frame.mm(traced.outline_px),
        view=shown,
        nose_px=nose,
        tail_px=tail,
        nose="left" if nose[0] < tail[0] else "right",
        back="up" if across_px[1] < 0 else "down",
        axis_deg=math.degrees(math.atan2(nose[1] - tail[1], tail[0] - nose[0])),
        shows="left" if pose.back_is_left else "right",
        orientation_certainty=(pose.p_nose, pose.p_back),
        length_mm=sizing.length_mm,
        depth_mm=sizing.depth_mm,
        depth_to_length=sizing.depth_to_length,
        thickness_mm=sizing.thickness_mm,
        px_per_mm=sizing.px_per_mm,
        line_ties=ties,
        hangers=Hangers(len(hangers), hanger_px, frame.mm(hanger_px)),
        hooks=Hooks(len(hooks), tuple(h.at_px for h in hooks)),
        eye=_eye(eye, sizing, frame) if eye else None,
        lip=Lip(pose.lip_probability > SURE_HARDWARE, pose.lip_probability),
        back_colour=colours.back,
        belly_colour=colours.belly,
        zones=colours.zones,
        pattern=colours.pattern,
        hard_to_read=colours.hard_to_read,
        warnings=tuple({n.code: n for n in notices}.values()),
    )
    return view.as_shown(found_so)


class _Frame:
    """Brings points of the picture into the bait's own frame, stretched so that the outline's extents are the length
    and depth measured (they are corrected for the angle of view)."""

    def __init__(self, traced: Body, sizing: Sizing, pose: Pose, calibration: Calibration) -> None:
        self.calibration, self.sizing, self.pose = calibration, sizing, pose
        self.stretch = np.ones(2)
        if sizing.length_mm and sizing.depth_mm:
            start, end = calibration.to_mm([pose.nose_px, pose.tail_px], sizing.height_mm)
            depth = extent_across(calibration.to_mm(traced.outline_px, sizing.height_mm), start, end)
            self.stretch = np.array([sizing.length_mm.value / np.hypot(*(end - start)), sizing.depth_mm.value / depth])

    def mm(self, points_px: object, raised_mm: float = 0.0) -> Polygon | None:
        """Points of the picture in the bait's frame, from a surface `raised_mm` above its mid plane."""
        if self.sizing.length_mm is None:
            return None
        points = np.asarray(points_px, float).reshape(-1, 2)
        if not len(points):
            return ()
        nose, tail = self.calibration.to_mm([self.pose.nose_px, self.pose.tail_px], self.sizing.height_mm)
        flat = self.calibration.to_mm(points, self.sizing.height_mm + raised_mm)
        framed: Array = to_frame(flat, nose, tail, self.pose.back_is_left) * self.stretch
        return as_polygon(framed)


def _eye(seen: EyeSeen, sizing: Sizing, frame: _Frame) -> Eye:
    """The eye sits on the upper flank, nearer to the camera than the outline: there the body is about half as thick
    as at its thickest."""
    if sizing.px_per_mm is None or sizing.thickness_mm is None:
        return Eye(seen.at_px, None, None)
    raised = 0.3 * sizing.thickness_mm.value
    ppm = frame.calibration.px_per_mm_at(seen.at_px, sizing.height_mm + raised)
    diameter = seen.diameter_px / ppm
    quantity = Quantity.of(diameter, edge=0.7 / ppm, foreshortening=0.03 * diameter)
    return Eye(seen.at_px, _first(frame.mm([seen.at_px], raised)), quantity)


def _first(points: Polygon | None) -> tuple[float, float] | None:
    return points[0] if points else None


def _notice(code: str) -> Notice:
    return Notice(code, WARNINGS[code])
