"""What was asked on film: its record, its sentences, what the findings make of it, and the command lines on both ends."""

from __future__ import annotations

import hashlib
import json
import re
from dataclasses import replace
from pathlib import Path
from typing import Any

import jsonschema
import numpy as np
import pytest
from click.testing import CliRunner
from pydantic import ValidationError

from posture.batch.child import Job
from posture.batch.earlier import EarlierResults
from posture.cli import main
from posture.clinic.examination import Examination, examination_of, examination_sentences, is_examination, read_examination
from posture.clinic.filmed import filmed_of, with_filmed
from posture.clinic.findings import Findings
from posture.clinic.hint import hint_of
from posture.clinic.schema import shipped_schema
from posture.clinic.sentences import EXAMINATION
from posture.errors import OutputError, RecordError
from posture.measure import Measurement, Settings, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.asked import asked_from
from posture.signal.habitual import HabitualPosture, find_habitual_posture
from posture.signal.reading import ReadSettings, read_track, upright_from
from posture.summary.files import read_summary
from tests.clinic.examinations import TIGHT_RIGHT_FILM, asked_record, examination, mirror_examination
from tests.clinic.made import NIL, SAFE, TIGHT_RIGHT, clip
from tests.clinic.mirror import mirror_findings, mirror_summary, swap
from tests.conftest import track_of

SHA = "c" * 64
EVEN_FILM = {"tilt right": 41.0, "tilt left": 40.0}


def found_of(mirrored: str = "no", sign: float = 1.0) -> HabitualPosture:
    """A child that turns 30 to the right, then tilts 25 to the left, ten seconds each."""
    time_s = np.arange(300) / 15
    bump = np.clip(np.minimum(time_s % 10 - 2, 8 - time_s % 10), 0, 1)
    turn, tilt = np.where(time_s < 10, 30 * bump, 0), np.where(time_s >= 10, -25 * bump, 0)
    settings = ReadSettings(mirrored, upright_from(0.0, 0.0))  # type: ignore[arg-type]
    return find_habitual_posture(read_track(track_of(time_s, sign * tilt, sign * turn), settings))


ASKED = asked_from("turn-right=0-9.9, tilt-left=10-19.9")


# --- The record. ---


def test_the_record_holds_what_was_asked_and_reached() -> None:
    made = examination_of(found_of(), ASKED, sha256=SHA, position="sitting")
    assert (made.sided, made.sha256, made.passive, made.trunk_known) == (True, SHA, False, False)
    assert [(one.movement, one.start_s, one.reference, one.beyond_camera) for one in made.asked] == [
        ("turn right", 0.0, "line of sight", False),
        ("tilt left", 10.0, "gravity", False),
    ]
    reached = [one.reached_deg for one in made.asked]
    assert all(one is not None and one.high is not None and one.low < one.value < one.high for one in reached)
    assert [one and one.value for one in reached] == [pytest.approx(30, abs=0.3), pytest.approx(25, abs=0.3)]


def test_it_is_of_the_shipped_schema_and_read_back(tmp_path: Path) -> None:
    made = examination_of(found_of(), ASKED, sha256=SHA)
    path = tmp_path / "clip.examination.json"
    path.write_text(made.to_json(), encoding="utf-8")
    checker = jsonschema.Draft202012Validator(json.loads(shipped_schema("examination-1.schema.json")))
    assert list(checker.iter_errors(json.loads(made.to_json()))) == []
    assert read_examination(path) == made
    assert is_examination(path)
    assert list(json.loads(made.to_json())) == ["schema", "sided", "sha256", "passive", "trunk_known", "asked"]


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"schema": "posture.summary/1"}', "\x00"])
def test_anything_else_is_refused(tmp_path: Path, text: str) -> None:
    path = tmp_path / "other.json"
    path.write_text(text, encoding="utf-8")
    assert not is_examination(path)
    with pytest.raises(RecordError, match=r"'other\.json' does not hold that"):
        read_examination(path)


def test_while_mirroring_is_unknown_no_side_is_named_and_the_mirror_image_gives_the_same() -> None:
    one, other = (examination_of(found_of("unknown", sign), ASKED, sha256=SHA) for sign in (1.0, -1.0))
    assert [record.movement for record in one.asked] == ["turn one side", "tilt other side"]
    assert one == other
    said = " ".join([one.to_json(), *examination_sentences(one)])
    assert not re.search(r"(?<!up)right|left", said)
    assert "Asked to tilt to the other side: 25 degrees" in said


def test_lying_there_is_no_tilt_against_gravity() -> None:
    made = examination_of(found_of(), ASKED, sha256=SHA, position="lying")
    assert made.asked[0].reached_deg is not None
    assert made.asked[1].reached_deg is None
    assert EXAMINATION["no zero"].text.format(movement="tilt to the left") in examination_sentences(made)


@pytest.mark.parametrize(
    "change",
    [
        {"sided": False},
        {"asked": [{"movement": "turn one side"}]},
        {"asked": [{"beyond_camera": True}]},
        {"asked": [{"reached_deg": {"value": 30.0, "low": 20.0, "high": None}}]},
        {"asked": [{"found_share": 1.2}]},
        {"more": 1},
    ],
)
def test_a_record_that_contradicts_itself_is_refused(change: dict[str, Any]) -> None:
    document = examination({"turn right": 30.0}).model_dump(by_alias=True)
    inner = change.get("asked", [{}])[0]
    document["asked"][0] |= inner
    with pytest.raises(ValidationError):
        Examination.model_validate(document | {k: v for k, v in change.items() if k != "asked"})


# --- Its sentences. ---


@pytest.mark.parametrize(
    ("ends", "more", "said"),
    [
        (
            {"turn right": 30.0},
            {},
            "Asked to turn to the right: 30 degrees (between 26 and 34) against the line to the camera, held",
        ),
        ({"turn left": "at least 45"}, {}, "Asked to turn to the left: at least 45 degrees (beyond the camera)"),
        (
            {"tilt left": "at least 28"},
            {},
            "at least 28 degrees (the face was lost there) against the shoulder line, held for 2.0 s",
        ),
        ({"tilt left": 25.0}, {"trunk": None}, "25 degrees (between 21 and 29) against gravity, held for 2.0 s."),
        ({"tilt left": 25.0}, {"trunk": 9.0}, "The trunk leaned along by 9 degrees."),
        ({"tilt left": 3.0}, {}, "Asked to tilt to the left: the head went the other way, or stayed."),
        ({"turn right": 30.0}, {}, EXAMINATION["turn of the trunk"].text),
        ({"tilt right": 30.0}, {"trunk": None}, EXAMINATION["trunk with gravity"].text),
    ],
)
def test_sentences(ends: dict[str, Any], more: dict[str, Any], said: str) -> None:
    assert said in " ".join(examination_sentences(examination(ends, **more)))


def test_a_face_seen_in_part_is_said() -> None:
    one = asked_record("turn right", 30.0).model_copy(update={"found_share": 0.6})
    made = Examination(sided=True, sha256=SHA, passive=False, trunk_known=False, asked=[one])
    assert EXAMINATION["seen in part"].text.format(share=60) in examination_sentences(made)


# --- The neck range. ---


def filmed(ends: dict[str, Any], findings: dict[str, Any] | None = None, **more: Any) -> Any:
    return filmed_of(Findings(**(SAFE | (findings or {}))), [examination(ends, **more)], age_months=100)


@pytest.mark.parametrize(
    ("ends", "half", "tight", "strength"),
    [
        (EVEN_FILM, 4.0, None, None),
        (TIGHT_RIGHT_FILM, 4.0, "right", "moderate"),
        ({"tilt right": 15.0, "tilt left": 45.0}, 4.0, "left", "moderate"),
        # 20 degrees, give or take 11: over 10 is not sure.
        ({"tilt right": 40.0, "tilt left": 20.0}, 5.5, "right", "weak"),
        ({"tilt right": 40.0, "tilt left": 20.0}, 4.0, "right", "moderate"),
        ({"tilt right": 40.0, "tilt left": 20.0}, 10.5, None, None),
        ({"tilt right": 40.0, "tilt left": 31.0}, 1.0, None, None),
        (TIGHT_RIGHT_FILM | {"turn right": 10.0, "turn left": 43.0}, 2.0, "right", "strong"),
        # The trunk of a turn is not known that well.
        (TIGHT_RIGHT_FILM | {"turn right": 25.0, "turn left": 43.0}, 2.0, "right", "moderate"),
        ({"turn right": 25.0, "turn left": "at least 45"}, 2.0, None, None),
        (TIGHT_RIGHT_FILM | {"turn right": 43.0, "turn left": 10.0}, 2.0, None, None),
    ],
)
def test_a_filmed_range_weighs_as_its_interval_allows(
    ends: dict[str, Any], half: float, tight: str | None, strength: str | None
) -> None:
    found = filmed(ends, half=half).range_
    assert (found.tight, found.strength) == (tight, strength)
    assert found.filmed
    assert found.may_strength == filmed(ends, half=0.0).range_.may_strength


def test_an_end_beyond_the_camera_is_not_compared_and_said() -> None:
    found = filmed({"turn right": 20.0, "turn left": "at least 45"}).range_
    assert found.turn_difference_deg is None
    assert "beyond the camera" in {note.key for note in found.notes}
    assert "face lost" in {note.key for note in filmed({"turn right": "at least 20", "turn left": 40.0}).range_.notes}


def test_a_tilt_against_gravity_is_no_neck_range() -> None:
    found = filmed({"tilt right": 45.0, "tilt left": 15.0}, trunk=None)
    assert found.range_ is None
    assert EXAMINATION["trunk with gravity"].text in found.notes


def test_a_head_that_stayed_was_not_shown_to_be_unable() -> None:
    assert filmed({"tilt right": 40.0, "tilt left": 2.0}).range_.tilt_difference_deg is None


@pytest.mark.parametrize(("passive", "ages"), [(False, "8 to 10 years"), (None, "8 to 10 years"), (True, None)])
def test_a_film_is_active_unless_said_passive(passive: bool | None, ages: str | None) -> None:
    norm = filmed(EVEN_FILM, passive=passive).range_.norm
    assert (norm and norm.ages) == ages


def test_passive_films_are_not_put_with_active_ones() -> None:
    films = [examination(EVEN_FILM), examination(TIGHT_RIGHT_FILM, passive=True)]
    found = filmed_of(Findings(**SAFE), films)
    assert found.range_ is not None
    assert found.range_.tight is None
    assert EXAMINATION["films differ"].text in found.notes


@pytest.mark.parametrize(
    ("findings", "key"),
    [
        ({}, "screen not answered"),
        ({"neck_safe": False}, "must not move"),
        ({"neck_safe": True, "red_flags": ["neck_pain"]}, "must not move"),
        ({"neck_safe": True, "onset": "new"}, "must not move"),
        ({"red_flags": ["fever"]}, "must not move"),
    ],
)
def test_no_film_is_interpreted_before_the_screen(findings: dict[str, Any], key: str) -> None:
    given = Findings(**findings)
    film = [examination(TIGHT_RIGHT_FILM | {"turn right": 20.0})]
    found = filmed_of(given, film)
    assert (found.range_, found.pair, found.ends) == (None, None, {})
    assert found.notes == (EXAMINATION[key].text,)
    assert with_filmed(given, film) == (given, found.notes)
    assert EXAMINATION[key].text in hint_of([clip()], "right", given, film).cautions


def test_a_film_without_sides_is_not_interpreted() -> None:
    film = examination({"turn one side": 40.0, "turn other side": 10.0}, sided=False)
    found = filmed_of(Findings(**SAFE), [film])
    assert found.range_ is None
    assert found.notes == (EXAMINATION["sides not known"].text,)


# --- Typed figures stand above. ---


def test_typed_figures_stand_and_the_film_fills_the_rest() -> None:
    typed = {"neck_range_deg": {"tilt_right": 60.0, "tilt_left": 60.0, "passive": False}}
    film = TIGHT_RIGHT_FILM | {"turn right": 8.0, "turn left": 44.0}
    found = filmed(film, typed, half=1.0)
    assert found.range_.directions == ("turn",)
    assert set(found.ends) == {"turn_right", "turn_left"}
    assert EXAMINATION["typed stands"].text in found.notes
    both, _ = with_filmed(Findings(**(SAFE | typed)), [examination(film, half=1.0)])
    assert both.neck_range_deg is not None
    assert both.neck_range_deg.model_dump() == {
        "tilt_right": 60.0, "tilt_left": 60.0, "turn_right": 8.0, "turn_left": 44.0, "passive": False,
    }  # fmt: skip


@pytest.mark.parametrize("passive", [True, None])
def test_typed_figures_of_another_kind_are_not_mixed(passive: bool | None) -> None:
    typed = {"neck_range_deg": {"tilt_right": 60.0, "tilt_left": 60.0, "passive": passive}}
    found = filmed({"turn right": 8.0, "turn left": 44.0}, typed, half=1.0)
    assert found.ends == {}
    assert EXAMINATION["kinds differ"].text in found.notes


def test_a_film_that_goes_against_typed_figures_gives_way() -> None:
    typed = {"neck_range_deg": {"tilt_right": 60.0, "tilt_left": 40.0, "passive": False}}
    found = filmed({"turn right": 44.0, "turn left": 8.0}, typed, half=1.0)
    assert (found.range_.tight, found.range_.strength) == ("right", "moderate")
    assert EXAMINATION["film against typed"].text in found.notes


def test_an_end_that_was_not_seen_is_no_figure() -> None:
    both, _ = with_filmed(Findings(**SAFE), [examination({"turn right": 40.0, "turn left": "at least 45"})])
    assert both.neck_range_deg is not None
    assert (both.neck_range_deg.turn_right, both.neck_range_deg.turn_left, both.neck_range_deg.passive) == (40.0, None, False)


# --- The head-tilt test. ---


@pytest.mark.parametrize(
    ("ends", "more", "accepted", "part"),
    [
        ({"tilt right": 30.0, "tilt left": 28.0}, {}, True, "may be compared"),
        ({"tilt right": 30.0, "tilt left": 20.0}, {}, False, "differ by 10 degrees"),
        ({"tilt right": 15.0, "tilt left": 16.0}, {}, False, "reached 16 degrees; 20 are needed"),
        ({"tilt right": 30.0, "tilt left": 28.0}, {"trunk": 12.0}, False, "the trunk leaned by 12 degrees"),
        ({"tilt right": 30.0, "tilt left": 28.0}, {"trunk": 8.0}, True, "the interval of its lean reaches 5 degrees"),
        ({"tilt right": 30.0, "tilt left": "at least 22"}, {}, True, "the end of one was not seen"),
        ({"tilt right": 22.0, "tilt left": 22.0}, {"half": 6.0}, True, "its interval begins under that"),
        ({"tilt right": 30.0, "tilt left": 28.0}, {"trunk": None}, True, "whether the trunk was upright"),
    ],
)
def test_the_head_tilt_test_of_a_film(ends: dict[str, Any], more: dict[str, Any], accepted: bool, part: str) -> None:
    found = filmed(ends, **({"half": 1.0} | more))
    assert found.pair.accepted is accepted
    assert part in " ".join(found.pair_notes)
    assert "Filmed head-tilt test: " in found.pair_notes[0]


def test_one_side_alone_is_no_head_tilt_test() -> None:
    assert filmed({"tilt right": 30.0}).pair is None


def test_the_pair_is_of_the_film_whose_tilts_may_be_compared() -> None:
    to_the_end = examination({"tilt right": 33.0, "tilt left": 45.0}, trunk=None)
    tested = examination({"tilt right": 27.0, "tilt left": 26.0}, passive=True, sha256=SHA, trunk=None)
    for films in ([to_the_end, tested], [tested, to_the_end]):
        pair = filmed_of(Findings(**SAFE), films).pair
        assert pair is not None
        assert (pair.accepted, pair.right.tilt_deg, pair.left.tilt_deg) == (True, 27.0, -26.0)
    refused = filmed_of(Findings(**SAFE), [to_the_end]).pair
    assert refused is not None
    assert not refused.accepted


def test_a_lean_that_may_be_none_is_not_said() -> None:
    # 9 +- 5 is a lean, 5 +- 5 may be none.
    said = [" ".join(examination_sentences(examination({"tilt left": 25.0}, trunk=lean))) for lean in (9.0, 5.0)]
    assert "leaned along by 9 degrees" in said[0]
    assert "leaned along" not in said[1]


def test_the_position_comes_from_the_clip_of_the_film() -> None:
    film = examination({"tilt right": 30.0, "tilt left": 29.0}, sha256=SHA)
    found = filmed_of(Findings(**SAFE), [film], positions={SHA: "lying"})
    assert found.pair is not None
    assert not found.pair.accepted


# --- In the hint. ---

INFANT = SAFE | NIL | {"onset": "infancy", "age_months": 60}


def test_a_filmed_range_enters_the_evidence_but_names_no_side() -> None:
    film = examination(TIGHT_RIGHT_FILM)
    found = hint_of([clip(14, -12)], "unknown", Findings(**INFANT), [film])
    line = next(line for line in found.evidence if line.finding == "neck range")
    assert (line.points_to, line.strength) == ("neck", "moderate")
    assert found.outcome == "neck-driven"
    assert found.side is None
    typed = hint_of([clip(14, -12)], "unknown", Findings(**(INFANT | TIGHT_RIGHT)), [film])
    assert (typed.outcome, typed.side) == ("neck-driven", "right")


def test_the_pair_enters_the_cautions_only_with_sides() -> None:
    film = examination({"tilt right": 30.0, "tilt left": 29.0})
    for sided in (True, False):
        found = hint_of([clip(14, -12, sided=sided)], "unknown", Findings(**INFANT), [film])
        assert any("Filmed head-tilt test" in caution for caution in found.cautions) is sided


@pytest.mark.parametrize(
    ("pd", "said"),
    [
        ({"tilt_right": 20.0, "tilt_left": 4.0},
         "the right eye higher by 20 prism dioptres on tilt to the right, the right eye higher by 4 prism dioptres on tilt to the left"),
        ({"tilt_left": -12.0}, "entered beside it, the left eye higher by 12 prism dioptres on tilt to the left."),
        ({"tilt_right": 0.0}, "no vertical deviation on tilt to the right"),
    ],
)  # fmt: skip
def test_the_examiners_prism_dioptres_stand_beside_the_pair(pd: dict[str, float], said: str) -> None:
    film = examination({"tilt right": 30.0, "tilt left": 29.0})
    notes = filmed_of(Findings(**SAFE, hypertropia_pd=pd), [film]).pair_notes
    assert said in notes[1]
    assert not any("prism" in note for note in filmed_of(Findings(**SAFE), [film]).pair_notes)


def test_a_mirrored_child_gives_the_mirrored_hint() -> None:
    film = examination(TIGHT_RIGHT_FILM | {"turn right": 20.0, "turn left": "at least 45"})
    findings = Findings(**INFANT)
    here = hint_of([clip(14, -12)], "right", findings, [film]).model_dump()
    there = hint_of([mirror_summary(clip(14, -12))], "left", mirror_findings(findings), [mirror_examination(film)]).model_dump()
    assert sorted(map(str, here["evidence"])) == sorted(map(swap, map(str, there["evidence"])))
    assert {tuple(sorted(re.split(r"[;,:] ?", text.rstrip(".")))) for text in here["cautions"]} == {
        tuple(sorted(re.split(r"[;,:] ?", swap(text).rstrip(".")))) for text in there["cautions"]
    }


# --- On disk. ---


def measured(clip_path: Path, text: str, mirrored: str = "no", passive: bool = False) -> tuple[Measurement, Settings]:
    """A measurement of a child that was never filmed, as if from a file."""
    read = found_of().read
    person = SeenPerson(read.seen, portrait=None, stretches=(1,), seen_share=1.0, is_still=False)
    sha256 = hashlib.sha256(clip_path.read_bytes()).hexdigest()
    seen = SeenClip(
        kind="video", sha256=sha256, width_px=1280, height_px=720, time_s=read.time_s, persons=(person,), damage=None,
        filmed_on=None, filmed_on_source=None, lens=Settings().lens(1280, None), file_focal_px=None, steps=(),
    )  # fmt: skip
    settings = Settings(mirrored=mirrored, asked=asked_from(text), passive=passive)  # type: ignore[arg-type]
    return read_clip(seen, settings), settings


@pytest.fixture
def film(tmp_path: Path) -> Path:
    path = tmp_path / "film.mp4"
    path.write_bytes(b"of nobody")
    return path


TEXT = "turn-right=0-9.9, tilt-left=10-19.9"


def test_the_examination_stands_beside_the_summary_and_goes_with_it(film: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    first, _ = measured(film, TEXT)
    _, summary = first.save(out, "film")
    assert read_examination(out / "film.examination.json") == first.examination
    assert read_summary(summary).made_with.settings["asked"] == f"{TEXT}, active"
    # Read again without movements, an examination of the earlier reading would contradict the new summary.
    again, _ = measured(film, "")
    again.save(out, "film")
    assert again.examination is None
    assert not (out / "film.examination.json").exists()
    assert "asked" not in again.summary.made_with.settings


def test_no_side_stands_in_a_summary_without_sides(film: Path) -> None:
    made, _ = measured(film, TEXT, mirrored="unknown")
    assert made.summary.made_with.settings["asked"] == "turn-one-side=0-9.9, tilt-other-side=10-19.9, active"


def test_an_examination_of_something_else_is_kept(film: Path, tmp_path: Path) -> None:
    path = tmp_path / "out" / "film.examination.json"
    path.parent.mkdir()
    path.write_text("mine", encoding="utf-8")
    made, _ = measured(film, TEXT)
    with pytest.raises(OutputError, match=r"'film\.examination\.json' to be free"):
        made.save(path.parent, "film")
    assert path.read_text(encoding="utf-8") == "mine"


def test_resume_takes_only_what_was_asked_alike(film: Path, tmp_path: Path) -> None:
    made, settings = measured(film, TEXT)
    made.save(tmp_path, "film")

    def is_taken(other: Settings) -> bool:
        job = Job(film, other)
        return EarlierResults(tmp_path, [job]).find(job) is not None

    assert is_taken(settings)
    assert not is_taken(replace(settings, passive=True))
    assert not is_taken(replace(settings, asked=()))
    assert not is_taken(replace(settings, asked=settings.asked[:1]))
    (tmp_path / "film.examination.json").unlink()
    assert not is_taken(settings)


def test_resume_without_movements_takes_what_is_there(film: Path, tmp_path: Path) -> None:
    made, settings = measured(film, "")
    made.save(tmp_path, "film")
    job = Job(film, settings)
    assert EarlierResults(tmp_path, [job]).find(job) is not None


# --- On the command line. ---


def test_hint_tells_examinations_from_summaries(tmp_path: Path) -> None:
    names = ["a.summary.json", "a.examination.json", "findings.json"]
    film = examination(TIGHT_RIGHT_FILM)
    for name, text in zip(names, [clip(14, -12).to_json(), film.to_json(), json.dumps(INFANT)], strict=True):
        (tmp_path / name).write_text(text, encoding="utf-8")
    paths = [str(tmp_path / name) for name in names]
    done = CliRunner().invoke(main, ["hint", *paths[:2], "--findings", paths[2], "--suspected", "right", "--json"])
    assert done.exit_code == 0, done.output
    told = json.loads(done.output)
    assert "neck range" in {line["finding"] for line in told["evidence"]}


def test_a_bad_examination_is_one_clear_line(tmp_path: Path) -> None:
    path = tmp_path / "a.examination.json"
    path.write_text('{"schema": "posture.examination/1"}', encoding="utf-8")
    done = CliRunner().invoke(main, ["hint", str(path), "--suspected", "right"])
    assert done.exit_code == 2
    assert done.output.startswith("posture: Expected what was asked in a clip; 'a.examination.json'")


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (["a.mp4", "b.mp4", "--asked", "turn-right=1-2"], "Expected one clip with --asked; 2 came"),
        (["a.mp4", "--passive"], "Expected --asked with --passive"),
        (["a.mp4", "--asked", "nod=1-2"], "'nod=1-2' came"),
    ],
)
def test_measure_says_what_is_wrong_with_asked(arguments: list[str], said: str, tmp_path: Path) -> None:
    done = CliRunner().invoke(main, ["measure", *arguments, "--out", str(tmp_path)])
    assert done.exit_code == 2
    assert said in done.output
