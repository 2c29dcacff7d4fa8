"""What the commands are made of: options, the loop over photos, exit codes, the remembered choice."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
import typer
from hypothesis import given
from hypothesis import strategies as st

from identify.commands import chosen, options, photos
from identify.commands.console import DONE, PARTLY, USAGE, guarded
from identify.commands.jobs import references_of
from identify.errors import BadOption, CannotWrite, PhotoMissing, SetFaulty, SetMissing
from identify.records import PhotoRecord
from identify.settings import ScaleLine, Settings
from tests.unit.test_serialise import record


def test_no_options_are_the_defaults() -> None:
    assert options.settings_of() == Settings()


def test_every_option_lands_in_the_settings() -> None:
    found = options.settings_of("1,2,3,4.5,-6,7,8,90", "86x54", 1.0, 0.2, False, "0,0,100,0,50")
    assert found.card_corners_px == ((1, 2), (3, 4.5), (-6, 7), (8, 90))
    assert found.card_size_mm == (86, 54) and found.card_thickness_mm == 1 and found.card_reflectance == 0.2
    assert found.scale_line == ScaleLine((0, 0), (100, 0), 50)
    assert options.settings_of(no_card=True).no_card


@given(st.lists(st.floats(allow_nan=True, allow_infinity=True, width=32), min_size=0, max_size=9))
def test_corners_are_read_or_refused(values: list[float]) -> None:
    try:
        corners = options.settings_of(card=",".join(map(str, values))).card_corners_px
    except BadOption as fault:
        assert "--card" in fault.message and fault.what_to_do
        return
    assert corners is not None and len(values) == 8
    assert [v for corner in corners for v in corner] == pytest.approx(values)


@pytest.mark.parametrize("text", ["", "x", "85.6", "0x54", "nanx54", "85x54x1", "-1x5"])
def test_sizes_that_are_none(text: str) -> None:
    with pytest.raises(BadOption, match="card-size"):
        options.settings_of(card_size=text)


def test_a_card_told_and_no_card() -> None:
    with pytest.raises(BadOption, match="do not go together"):
        options.settings_of(card="0,0,9,0,9,9,0,9", no_card=True)


# the loop over photos


def photo(path: str) -> PhotoRecord:
    """A job that goes wrong as the path's name says."""
    if path == "bug":
        raise KeyError("surprise")
    if path == "option":
        raise BadOption("The card does not suit.", "Leave it out.")
    if path == "missing":
        from identify.answer import unreadable

        return unreadable(path, PhotoMissing.code, "There is no file.")
    return record(photo=path)


def looped(*paths: str) -> tuple[int, list[PhotoRecord], list[PhotoRecord]]:
    shown: list[PhotoRecord] = []
    failed: list[PhotoRecord] = []
    code = photos.run(paths, photo, shown.append, quiet=True, failed=failed.append)
    return code, shown, failed


@pytest.mark.parametrize(
    ("paths", "code"),
    [
        (("a", "b"), DONE),
        (("a", "missing", "b"), PARTLY),
        (("missing", "missing"), USAGE),
        (("missing", "option"), USAGE),
        (("bug",), PARTLY),
        (("a", "option"), PARTLY),
    ],
)
def test_exit_codes(paths: tuple[str, ...], code: int) -> None:
    found, shown, _ = looped(*paths)
    assert found == code
    assert [r.photo for r in shown] == list(paths)


def test_a_fault_of_ours_costs_one_photo_and_says_how_to_report_it(capsys: pytest.CaptureFixture[str]) -> None:
    code, shown, failed = looped("a", "bug", "b")
    assert code == PARTLY
    assert [r.error.code if r.error else None for r in shown] == [None, "internal-error", None]
    assert failed == [shown[1]]
    said = capsys.readouterr().err
    assert "KeyError" in said and "report it" in said and "baitprint about" in said
    assert "test_commands.py line" in said and "Traceback" not in said


def test_faults_of_ours_show_themselves_when_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("BAITPRINT_DEBUG", "1")
    with pytest.raises(KeyError):
        looped("bug")


@pytest.mark.parametrize(
    ("fault", "code"),
    [
        (BadOption("No.", "Do."), 2),
        (SetFaulty("No.", "Do."), 2),
        (CannotWrite("No.", "Do."), 1),
        (KeyboardInterrupt(), 130),
        (BrokenPipeError(), 0),
        (OSError(28, "No space left on device"), 1),
        (ValueError("odd"), 1),
    ],
)
def test_one_place_turns_faults_into_exit_codes(
    fault: BaseException, code: int, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("identify.commands.console._close_stdout", lambda: None)

    def command() -> int:
        raise fault

    with pytest.raises(typer.Exit) as left:
        guarded(command)()
    assert left.value.exit_code == code
    said = capsys.readouterr().err
    assert (said == "") == isinstance(fault, BrokenPipeError)
    if isinstance(fault, BadOption):
        assert said == "baitprint: No. Do.\n"


# the remembered choice


def test_the_choice_is_kept_and_taken_back(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "new" / "settings.json"
    monkeypatch.setenv(chosen.VARIABLE, str(place))
    monkeypatch.chdir(tmp_path)
    assert chosen.chosen_refs() == ()
    assert chosen.choose_refs(("mein Köder-Set",)) == place
    assert chosen.chosen_refs() == (str(tmp_path / "mein Köder-Set"),)
    chosen.choose_refs(())
    assert chosen.chosen_refs() == ()
    assert [p.name for p in place.parent.iterdir()] == ["settings.json"]


@pytest.mark.parametrize("left", ["nothing", "an empty folder"])
def test_a_chosen_set_that_was_moved_is_said_to_come_from_refs_use(
    left: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(chosen.VARIABLE, str(tmp_path / "settings.json"))
    shelf = tmp_path / "shelf"
    shelf.mkdir()
    (shelf / "set.toml").write_text('schema = 1\ntitle = "Shelf"\n', encoding="utf-8")
    chosen.choose_refs((str(shelf),))
    assert chosen.asked_refs(None) == (str(shelf),)
    shelf.rename(tmp_path / "elsewhere")
    if left == "an empty folder":
        shelf.mkdir()
    with pytest.raises(SetMissing) as fault:
        references_of(None)
    assert f"{shelf}, chosen with `baitprint refs use`, is no longer there" in str(fault.value)
    assert "`baitprint refs use SET`" in fault.value.what_to_do and "--none" in fault.value.what_to_do
    assert chosen.asked_refs(["another"]) == ("another",)


@pytest.mark.parametrize("text", ["{", "[]", '{"refs": "x"}', '{"refs": [1]}', "{}"])
def test_a_settings_file_that_is_broken(text: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    place = tmp_path / "settings.json"
    place.write_text(text, encoding="utf-8")
    monkeypatch.setenv(chosen.VARIABLE, str(place))
    with pytest.raises(BadOption, match="settings file"):
        chosen.chosen_refs()


def test_there_is_a_place_without_the_variable(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.delenv(chosen.VARIABLE, raising=False)
    assert chosen.settings_file().name == "settings.json" and "baitprint" in str(chosen.settings_file())


def test_a_failed_record_is_plain_json() -> None:
    from identify.serialise import dumps, photo_json

    _, shown, _ = looped("option")
    assert json.loads(dumps(photo_json(shown[0])))["error"] == {
        "code": "bad-option",
        "text": "The card does not suit. Leave it out.",
    }
