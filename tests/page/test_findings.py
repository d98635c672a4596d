"""The questions about the examination: every answer reaches the findings, and open is never normal."""

from __future__ import annotations

import html
import json
import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from posture.clinic.findings import RED_FLAGS_SOON, RED_FLAGS_TODAY, Findings
from posture.page.findings import LARGEST_BYTES, NECK_SCREEN
from posture.page.sheet import widget_key

KEY = "clip-1"

SIDES = ["right", "left"]

CHOICES: dict[str, list[Any]] = {
    "onset": ["infancy", "childhood", "new"],
    "trauma": [True, False],
    "hypertropia_method": ["alternate prism cover", "other"],
    "neck_range_deg.passive": [True, False],
    "neck_band_or_mass": [*SIDES, "none"],
    "asleep": ["stays", "goes"],
    "lying_awake": ["stays", "goes"],
    "fixing_eye": [*SIDES, "alternating"],
    "nystagmus": ["none", "old", "new", "latent"],
    "previous_eye_surgery": [True, False],
    "glasses_effect": ["none", "less", "more"],
    "hearing_loss_side": [*SIDES, "none"],
    "feeding_related": [True, False],
    "attacks": [True, False],
}

NUMBERS = {
    "hypertropia_pd.primary": ("r/l 8", 8.0),
    "hypertropia_pd.gaze_right": ("L/R 3", -3.0),
    "hypertropia_pd.gaze_left": ("+12,5", 12.5),
    "hypertropia_pd.tilt_right": ("16", 16.0),
    "hypertropia_pd.tilt_left": ("−2", -2.0),
    "hypertropia_pd.supine": ("8 R/L", 8.0),
    "torsion_deg.right_eye": ("ex 6", 6.0),
    "torsion_deg.left_eye": ("in 2", -2.0),
    "v_pattern_pd": ("-10", -10.0),
    "neck_range_deg.tilt_right": ("40", 40.0),
    "neck_range_deg.tilt_left": ("55", 55.0),
    "neck_range_deg.turn_right": ("80.5", 80.5),
    "neck_range_deg.turn_left": ("70", 70.0),
    "va_logmar.right": ("0,1", 0.1),
    "va_logmar.left": ("-0.1", -0.1),
    "stereo": ("60", 60.0),
    "age_months": ("60", 60),
}


def flat(findings: Findings) -> dict[str, Any]:
    """What was answered, by keys with dots between."""
    found: dict[str, Any] = {}

    def walk(values: dict[str, Any], path: str) -> None:
        for name, value in values.items():
            if isinstance(value, dict):
                walk(value, f"{path}{name}.")
            elif value is not None:
                found[f"{path}{name}"] = value

    walk(findings.model_dump(), "")
    return found


def begin(covered_eye: str | None = None) -> AppTest:
    """The questions alone; the answers are in the session."""

    # Its text is run by itself: it can name nothing of this file, in its types neither.
    def script(covered_eye):  # type: ignore[no-untyped-def]
        import streamlit as st

        from posture.page.findings import ask_findings
        from posture.summary.record import Conditions

        if not st.session_state.get("hidden"):
            key = st.session_state.get("key", "clip-1")
            st.session_state["found"] = ask_findings(key, Conditions(covered_eye=covered_eye))

    page = AppTest.from_function(script, kwargs={"covered_eye": covered_eye}, default_timeout=30).run()
    assert not page.exception
    return page


def found(page: AppTest) -> Findings:
    assert not page.exception
    return page.session_state["found"][1]


def choose(page: AppTest, name: str, value: Any) -> AppTest:
    return page.radio(key=widget_key(name, KEY)).set_value(value).run()


def write(page: AppTest, name: str, text: str) -> AppTest:
    return page.text_input(key=widget_key(name, KEY)).set_value(text).run()


def tick(page: AppTest, name: str, value: bool = True) -> AppTest:
    return page.checkbox(key=widget_key(name, KEY)).set_value(value).run()


def words(page: AppTest) -> str:
    text = "\n".join(str(block.proto.body) for block in page.get("html"))
    return html.unescape(re.sub(r"<style>.*?</style>|<[^>]*>", " ", text, flags=re.DOTALL))


def urgent(page: AppTest) -> list[str]:
    return [str(b.proto.body) for b in page.get("html") if '<div class="p-urgent"' in str(b.proto.body)]


def test_nothing_answered_is_nothing_found():
    page = begin()
    assert page.session_state["found"] == ("unknown", Findings())
    assert found(page).red_flags is None
    assert found(page).neck_safe is None
    assert not urgent(page)
    assert not page.error


@pytest.mark.parametrize("side", ["right", "left", "both", "unknown"])
def test_suspected_side(side: str):
    page = choose(begin(), "suspected", side)
    assert page.session_state["found"] == (side, Findings())


@pytest.mark.parametrize(("name", "value"), [(name, value) for name, values in CHOICES.items() for value in values])
def test_choice_reaches_the_findings_and_can_be_taken_back(name: str, value: Any):
    page = choose(begin(), name, value)
    assert flat(found(page)) == {name: value}
    assert found(choose(page, name, "")) == Findings()


@pytest.mark.parametrize(
    ("name", "text", "value"), [(name, *pair) for name, pair in NUMBERS.items()] + [("stereo", "None", "none")]
)
def test_number_reaches_the_findings(name: str, text: str, value: Any):
    page = write(begin(), name, text)
    assert flat(found(page)) == {name: value}
    assert not page.error


@pytest.mark.parametrize("side", SIDES)
def test_tilt_under_cover_reaches_the_findings_whole(side: str):
    page = begin()
    for part, text in {"value": "L 4", "low": "-9"}.items():
        page = write(page, f"cover.{side}_eye.tilt_deg.{part}", text)
    assert f"Tilt with the {side} eye covered" in page.error[0].value
    assert found(page) == Findings()
    page = write(page, f"cover.{side}_eye.tilt_deg.high", "1")
    page = write(page, f"cover.{side}_eye.minutes", "30")
    assert not page.error
    eye = f"cover.{side}_eye"
    expected = {f"{eye}.tilt_deg.value": -4, f"{eye}.tilt_deg.low": -9, f"{eye}.tilt_deg.high": 1, f"{eye}.minutes": 30}
    assert flat(found(page)) == expected


def test_every_key_of_the_findings_is_asked():
    page = begin()
    page = choose(page, "trauma", True)
    names = {w.key.split("|")[0].removeprefix("find-").split(".")[0] for w in (*page.radio, *page.text_input)}
    assert names - {"suspected"} == set(Findings.model_fields) - {"red_flags", "neck_safe"}
    ticks = {box.key.split("|")[0].removeprefix("find-") for box in page.checkbox}
    flags = {f"flag.{code}" for code in RED_FLAGS_TODAY | RED_FLAGS_SOON}
    assert ticks == flags | {f"screen.{code}" for code in NECK_SCREEN} | {"flags none", "screen none"}


def test_consciousness_is_asked_after_an_injury():
    page = begin()
    assert not [r for r in page.radio if "consciousness" in r.key]
    page = choose(choose(page, "trauma", True), "loss_of_consciousness", True)
    assert flat(found(page)) == {"trauma": True, "loss_of_consciousness": True}


@pytest.mark.parametrize("code", [*RED_FLAGS_TODAY, *RED_FLAGS_SOON])
def test_red_flag_is_urgent_at_once(code: str):
    page = tick(begin(), f"flag.{code}")
    assert found(page).red_flags == [code]
    (line,) = urgent(page)
    assert ("Urgent, today" if code in RED_FLAGS_TODAY else "Urgent, within two weeks") in line
    assert html.escape((RED_FLAGS_TODAY | RED_FLAGS_SOON)[code]) in line
    page = tick(page, f"flag.{code}", False)
    assert found(page).red_flags is None
    assert not urgent(page)


def test_red_flags_asked_and_none_is_not_the_same_as_not_asked():
    page = tick(begin(), "flags none")
    assert found(page) == Findings(red_flags=[])
    page = tick(page, "flag.drowsy")
    assert found(page).red_flags == ["drowsy"]
    assert "what is ticked counts" in words(page)


@pytest.mark.parametrize("line", NECK_SCREEN)
def test_neck_screen_with_a_yes_forbids_moving_the_neck(line: str):
    page = tick(begin(), f"screen.{line}")
    assert found(page).neck_safe is False
    assert any("Do not move the neck" in box for box in urgent(page))
    page = tick(page, "screen none")
    assert found(page).neck_safe is False


def test_neck_screen_answered_no_lets_the_neck_be_examined():
    page = begin()
    assert "No tilt test and no neck range before" in words(page)
    page = tick(page, "screen none")
    assert found(page) == Findings(neck_safe=True)
    assert "No tilt test and no neck range before" not in words(page)


@pytest.mark.parametrize(
    ("line", "name", "value", "denied"), [("injury", "trauma", True, False), ("new", "onset", "new", "infancy")]
)
def test_neck_screen_makes_urgent_what_is_and_is_never_outvoted(line: str, name: str, value: Any, denied: Any):
    page = tick(begin(), f"screen.{line}")
    assert flat(found(page)) == {"neck_safe": False, name: value}
    assert any("Urgent, within two weeks" in box for box in urgent(page))
    page = choose(page, name, denied)
    assert flat(found(page))[name] == value
    assert "Correct one of the two" in words(page)


@pytest.mark.parametrize(
    ("name", "text", "said"),
    [
        ("hypertropia_pd.primary", "900", "expected a number from -100 to 100"),
        ("hypertropia_pd.primary", "eight", "expected a number such as 8 or R/L 8 or L/R 8"),
        ("hypertropia_pd.primary", "R/L -8", "expected a number such as 8"),
        ("hypertropia_pd.primary", "R/L 8 L/R", "expected a number such as 8"),
        ("hypertropia_pd.gaze_left", "1e9", "expected a number such as 8"),
        ("hypertropia_pd.gaze_left", "nan", "expected a number such as 8"),
        ("torsion_deg.left_eye", "r/l 5", "expected a number such as 8 or ex 8 or in 8"),
        ("neck_range_deg.tilt_left", "-5", "expected a number from 0 to 180"),
        ("age_months", "4.5", "expected a whole number from 0 to 1500"),
        ("cover.right_eye.tilt_deg.value", "120", "expected degrees of tilt up to 90"),
        ("stereo", "0", "expected a number"),
        ("stereo", "![a](b)", "expected a number"),
    ],
)
def test_bad_number_is_said_stays_as_typed_and_costs_nothing_else(name: str, text: str, said: str):
    page = write(write(begin(), "hypertropia_pd.tilt_right", "16"), name, text)
    (line,) = [e.value for e in page.error]
    assert said in re.sub(r"\\(.)", r"\1", line)
    assert text in re.sub(r"\\(.)", r"\1", line)
    assert "![" not in line
    assert page.text_input(key=widget_key(name, KEY)).value == text
    assert flat(found(page)) == {"hypertropia_pd.tilt_right": 16}


def test_answers_are_kept_while_the_questions_are_not_shown():
    page = tick(write(choose(begin(), "onset", "infancy"), "stereo", "60"), "flags none")
    before = page.session_state["found"]
    page.session_state["hidden"] = True
    page.run().run()
    assert not page.radio
    page.session_state["hidden"] = False
    page.run()
    assert page.session_state["found"] == before
    assert found(page) == Findings(onset="infancy", stereo=60, red_flags=[])


def test_answers_go_with_the_clip():
    page = tick(write(choose(begin(), "suspected", "left"), "stereo", "60"), "flag.drowsy")
    page.session_state["key"] = "clip-2"
    page.run()
    assert page.session_state["found"] == ("unknown", Findings())
    assert not urgent(page)


def everything() -> Findings:
    """Findings with every key."""
    interval = {"value": -4, "low": -9.5, "high": 1}
    return Findings.model_validate(
        {
            "age_months": 60, "onset": "infancy", "neck_safe": False, "red_flags": ["neck_pain", "drowsy"], "trauma": False,
            "loss_of_consciousness": True, "hypertropia_method": "other", "v_pattern_pd": -3, "neck_band_or_mass": "left",
            "hypertropia_pd": dict(primary=0, gaze_right=1.5, gaze_left=-2, tilt_right=33.25, tilt_left=4, supine=-100),
            "torsion_deg": dict(right_eye=5, left_eye=-5), "stereo": "none", "nystagmus": "latent", "attacks": False,
            "cover": {"right_eye": {"tilt_deg": interval, "minutes": 30}, "left_eye": {"minutes": 5}},
            "neck_range_deg": dict(tilt_right=1, tilt_left=2, turn_right=3, turn_left=4, passive=False),
            "asleep": "goes", "lying_awake": "stays", "fixing_eye": "alternating", "va_logmar": dict(right=0, left=1.3),
            "previous_eye_surgery": True, "glasses_effect": "less", "hearing_loss_side": "none", "feeding_related": True,
        }
    )  # fmt: skip


def give(page: AppTest, text: str | bytes) -> AppTest:
    """Upload a file of findings."""
    data = text if isinstance(text, bytes) else text.encode()
    return page.file_uploader(key=f"find-file|{KEY}").set_value(("anna.json", data, "application/json")).run()


def test_file_of_findings_takes_the_place_of_the_answers(private):
    page = choose(choose(tick(begin(), "flag.fever"), "onset", "new"), "suspected", "left")
    page = give(page, everything().model_dump_json(exclude_none=True))
    assert set(everything().model_fields_set) == set(Findings.model_fields)
    suspected, findings = page.session_state["found"]
    assert suspected == "left"
    assert sorted(findings.red_flags) == ["drowsy", "neck_pain"]
    assert findings.model_copy(update={"red_flags": None}) == everything().model_copy(update={"red_flags": None})
    page = write(page, "stereo", "40")
    assert found(page).stereo == 40
    assert found(page).neck_safe is False
    assert not page.error
    assert not list(private.glob("work-*/upload-*"))


def test_file_of_few_findings_leaves_the_rest_open(private):
    page = give(tick(choose(begin(), "onset", "new"), "screen.pain"), '{"red_flags": [], "neck_safe": true}')
    assert found(page) == Findings(red_flags=[], neck_safe=True)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("{", "cannot be read"),
        ("[]", "Expected a JSON object"),
        ('{"onset": "old"}', "'onset' came as \"old\""),
        ('{"![a](http://e.org/a)": 1}', "there is no key"),
        ('{"cover": {"left_eye": {"summary": "//host/share/x.json"}}}', "names the summary of another clip"),
        (b"\xff\xfe\x00", "cannot be read"),
        (b" " * (LARGEST_BYTES + 1), "a larger one came"),
        ("[" * 100_000, "cannot be read"),
    ],
    ids=["cut", "list", "value", "key", "summary", "bytes", "large", "deep"],
)
def test_bad_file_is_a_line_and_the_answers_stay(private, text: str | bytes, said: str):
    page = give(write(choose(begin(), "suspected", "left"), "stereo", "60"), text)
    (line,) = [e.value for e in page.error]
    assert said in re.sub(r"\\(.)", r"\1", line)
    assert "The answers are as they were" in line
    assert "![" not in line
    assert page.session_state["found"] == ("left", Findings(stereo=60))
    assert not list(private.glob("work-*/upload-*"))


def test_findings_can_be_taken_away(monkeypatch: pytest.MonkeyPatch):
    import streamlit as st

    taken: list[str] = []
    monkeypatch.setattr(st, "download_button", lambda label, text, *_, **__: taken.append(text))
    page = write(tick(begin(), "flags none"), "hypertropia_pd.primary", "R/L 8")
    assert json.loads(taken[-1]) == {"red_flags": [], "hypertropia_pd": {"primary": 8}}
    assert found(page) == Findings.model_validate_json(taken[-1])


def test_covered_eye_of_the_clip_is_said():
    assert "filmed with the left eye covered" in words(begin("left"))
    assert "filmed with" not in words(begin("none"))
