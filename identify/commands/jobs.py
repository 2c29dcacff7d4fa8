"""Measuring and identifying photos from the command line."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from pathlib import PurePath

from identify.answer import References, identify_photo, rank_photo
from identify.commands import photos as runner
from identify.commands import show
from identify.commands.app import LISTED
from identify.commands.chosen import asked_refs
from identify.commands.console import complain, console, put_line
from identify.commands.reading import read_with_bar
from identify.errors import BadOption
from identify.measure import measure_file
from identify.rank.priors import parse as parse_prior
from identify.records import PhotoRecord
from identify.report import sheet
from identify.report.words import Units
from identify.same_piece import join_photos
from identify.serialise import dumps, photo_json, piece_json
from identify.settings import Settings

NO_REFS = (
    "No reference set was chosen, so nothing is ranked. Name one with --refs SET, or choose one for good with "
    "`baitprint refs use SET`."
)


def measure_photos(photos: Sequence[str], settings: Settings, units: Units, as_json: bool) -> int:
    """The command `measure`; returns its exit code."""
    show_one = _shower(units, as_json, ranked=False)
    return runner.run(runner.expand(photos), lambda path: measure_file(path, settings), show_one, as_json)


def references_of(refs: Sequence[str] | None, prior: Sequence[str] | None = None) -> References | None:
    """The sets named, or else those chosen with `refs use`, with makers weighed as `--prior` says; None without either.
    Raises SetMissing, SetFaulty, and BadOption for a prior that the sets have no use for."""
    folders = asked_refs(refs)
    if not folders:
        if prior:
            raise BadOption(
                "--prior weighs makers of a reference set, and none was chosen.", "Name one with --refs SET."
            )
        return None
    references = read_with_bar(folders)
    return references.weighing(parse_prior(prior, references.prepared.makers)) if prior else references


def identify_photos(
    photos: Sequence[str],
    refs: Sequence[str] | None,
    settings: Settings,
    top: int | None,
    report_dir: str | None,
    units: Units,
    as_json: bool,
    prior: Sequence[str] | None = None,
    same_piece: bool = False,
) -> int:
    """The command `identify`; returns its exit code.  `same_piece`: one more answer from all photos together."""
    references = references_of(refs, prior)
    if references is None:
        complain(NO_REFS)
    listed = top if as_json or top is not None else LISTED
    show_one = _shower(units, as_json, ranked=True, references=references)
    answers: list[tuple[str, int, str]] = []
    records: list[PhotoRecord] = []

    def show_and_note(record: PhotoRecord) -> None:
        show_one(record)
        records.append(record)
        for bait in record.baits:
            if bait.identification is not None:
                name = PurePath(record.photo).name
                answers.append((name, bait.measurement.number, sheet.headline(bait.identification, bait.measurement)))

    names = runner.expand(photos)
    report = None
    if report_dir is None:
        code = runner.run(
            names, lambda path: identify_photo(path, references, settings, listed), show_and_note, as_json
        )
    else:
        from identify.report.write import Report

        report = Report(report_dir, references, units)
        code = runner.run(
            names,
            lambda path: report.add(path, settings, lambda record: rank_photo(record, references, listed)),
            show_and_note,
            as_json,
            failed=report.add_failed,
        )
    if len(answers) > 1 and not as_json:
        show.summary(console(), answers)
    if same_piece and records:
        piece = join_photos(records, references, settings, listed)
        if as_json:
            put_line(dumps(piece_json(piece)))
        else:
            show.piece(console(), piece, units, references)
        if report is not None:
            report.add_piece(piece, records)
    if report is not None:
        place = report.write()
        if not as_json:
            put_line(f"Report: {place}")
    return code


def _shower(
    units: Units, as_json: bool, ranked: bool, references: References | None = None
) -> Callable[[PhotoRecord], None]:
    if as_json:
        return lambda record: put_line(dumps(photo_json(record, ranked)))
    out = console()
    return lambda record: show.photo(out, record, units, ranked, references)
