"""The hint on the page: its order, what it may not say, and how it goes with the clip."""

from __future__ import annotations

import base64
import html
import re
from typing import Any

import pytest
from streamlit.testing.v1 import AppTest

from posture.clinic.findings import Findings
from posture.clinic.hint import Hint, hint_of
from posture.clinic.sentences import CAUTIONS, OUTCOMES, SIDES
from posture.errors import FindingsError
from posture.measure import Settings, read_clip
from posture.page import hint as hint_page
from posture.page.others import Others
from posture.page.sheet import widget_key
from posture.report.strip import AS_FACED
from posture.summary.record import Conditions, Mirrored, Summary
from tests.clinic.made import clip
from tests.page.conftest import made_clip, made_person
from tests.page.test_others import asked

SIDE = re.compile(r"\b(right|left)\b", re.IGNORECASE)

ON_TARGET = Conditions(target="camera", camera_height="eye level", position="sitting", age_months=60)

OF_RIGHT_OBLIQUE: dict[str, Any] = {
    "red_flags": [], "neck_safe": True, "onset": "infancy", "hypertropia_method": "alternate prism cover",
    "hypertropia_pd": dict(primary=8, gaze_right=4, gaze_left=12, tilt_right=16, tilt_left=2, supine=8),
    "torsion_deg": dict(right_eye=6, left_eye=0),
}  # fmt: skip

EVERYTHING = OF_RIGHT_OBLIQUE | {
    "neck_band_or_mass": "left", "fixing_eye": "right", "hearing_loss_side": "left", "trauma": False, "nystagmus": "old",
    "neck_range_deg": dict(tilt_right=20, tilt_left=50, turn_right=80, turn_left=50, passive=True), "asleep": "stays",
    "va_logmar": dict(right=0.0, left=0.6), "v_pattern_pd": 30, "glasses_effect": "less", "lying_awake": "stays",
    "cover": {"right_eye": {"tilt_deg": dict(value=-3, low=-5, high=-1), "minutes": 40}},
}  # fmt: skip


def made_summary(tilt_deg: float = -14.0, mirrored: Mirrored = "no", conditions: Conditions = ON_TARGET) -> Summary:
    return read_clip(
        made_clip([made_person(1, tilt_deg)]), Settings(mirrored=mirrored, roll_deg=0.0, pitch_deg=0.0), conditions, None
    ).summary


def show(summary: Summary, suspected: str = "unknown", others: Others | None = None, **findings: Any) -> AppTest:
    """The hint alone."""

    # Its text is run by itself: it can name nothing of this file, in its types neither.
    def script(summary, suspected, findings, others):  # type: ignore[no-untyped-def]
        from posture.page.hint import draw_hint

        draw_hint(summary, suspected, findings, others)

    found = Findings.model_validate(findings)
    kwargs = {"summary": summary, "suspected": suspected, "findings": found, "others": others}
    page = AppTest.from_function(script, kwargs=kwargs, default_timeout=30).run()
    assert not page.exception
    return page


def source(page: AppTest) -> str:
    """All that is drawn as HTML, in order, without its styles."""
    return re.sub(r"<style>.*?</style>", "", "\n".join(str(block.proto.body) for block in page.get("html")), flags=re.DOTALL)


def pictures(page: AppTest) -> list[str]:
    """The figures as SVG texts."""
    found = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', source(page))
    return [base64.b64decode(data).decode() for data in found]


def words(page: AppTest) -> str:
    """All that can be read, in order, pictures apart."""
    text = html.unescape(re.sub(r"<[^>]*>", " ", source(page)))
    return re.sub(r"\s+", " ", " ".join([text, *(e.label for e in page.expander)]))


def test_hint_stands_in_the_order_in_which_it_is_read():
    shown = words(show(made_summary(), "right", **OF_RIGHT_OBLIQUE))
    hint = hint_of([made_summary()], "right", Findings.model_validate(OF_RIGHT_OBLIQUE))
    assert (hint.outcome, hint.side, hint.suspected, hint.urgency) == ("eye-driven", "right", "agrees", None)
    order = [
        OUTCOMES["eye-driven"].text,
        "Side of the weak muscle: right.",
        f"✓ {SIDES['agrees'].text}",
        "For: ◉ eye",
        "Against: ▲ neck",
        "Next",
        "Evidence",
        hint.evidence[0].text,
        "Cautions",
        CAUTIONS["screening"].text,
    ]
    places = [shown.index(text) for text in order]
    assert places == sorted(places)
    assert "alert" not in source(show(made_summary(), "right", **OF_RIGHT_OBLIQUE))


@pytest.mark.parametrize(
    ("findings", "first"),
    [
        ({"red_flags": ["drowsy"]}, ["Urgent, today", CAUTIONS["not stated"].text]),
        ({"red_flags": ["mass"]}, ["Urgent, within two weeks", CAUTIONS["not stated"].text, CAUTIONS["do not move"].text]),
        ({"onset": "new"}, ["Urgent, ", CAUTIONS["red flags"].text]),
        ({"red_flags": [], "neck_safe": False}, [CAUTIONS["do not move"].text]),
        ({}, [CAUTIONS["red flags"].text]),
    ],
    ids=["today", "soon", "new and not asked", "neck", "not asked"],
)
def test_urgent_line_comes_before_everything_in_a_box_of_its_own(findings: dict[str, Any], first: list[str]):
    page = show(made_summary(), "right", **findings)
    shown = words(page)
    outcome = min(shown.index(line.text) for line in OUTCOMES.values() if line.text in shown)
    for text in first:
        assert shown.index(text) < outcome
        assert shown.count(text) == 1
    boxes = [str(b.proto.body) for b in page.get("html") if 'role="alert"' in str(b.proto.body)]
    assert len(boxes) == 1
    assert "p-said" not in boxes[0]


def test_not_asked_is_not_the_same_as_none():
    assert CAUTIONS["red flags"].text in words(show(made_summary()))
    assert CAUTIONS["red flags"].text not in words(show(made_summary(), red_flags=[]))


def test_while_urgent_no_neck_cause_is_shown():
    findings = EVERYTHING | {"red_flags": ["new_tilt"]}
    page = show(made_summary(), "right", **findings)
    shown = words(page)
    assert hint_page.NOT_STATED in shown
    assert "▲ neck (" not in shown
    assert "Tight" not in shown
    assert "Published sizes" not in shown
    assert not any('id="wide-tight' in svg or 'id="narrow-tight' in svg for svg in pictures(page))
    # With the same findings and nothing urgent both are there, so that the look above can fail.
    page = show(made_summary(), "right", **EVERYTHING)
    assert "Published sizes" in words(page)
    assert any('id="wide-tight left neck muscle"' in svg for svg in pictures(page))


def test_a_referral_of_today_is_not_beside_a_picture_of_the_eye_alone():
    assert pictures(show(made_summary(), red_flags=["drowsy"])) == []
    assert "Published sizes" not in words(show(made_summary()))
    assert len(pictures(show(made_summary(), red_flags=[]))) == 2


@pytest.mark.parametrize("suspected", ["right", "left", "both", "unknown"])
@pytest.mark.parametrize("findings", [{}, OF_RIGHT_OBLIQUE, EVERYTHING, EVERYTHING | {"red_flags": ["fever"]}])
def test_while_mirroring_is_unknown_nothing_names_a_side(suspected: str, findings: dict[str, Any]):
    summary = made_summary(mirrored="unknown")
    page = show(summary, suspected, **findings)
    shown = words(page)
    assert not SIDE.search(shown), shown[max(0, SIDE.search(shown).start() - 80) :][:160]  # type: ignore[union-attr]
    assert not any(SIDE.search(svg) for svg in pictures(page))
    assert SIDES["open"].text in shown
    assert CAUTIONS["mirroring"].text in shown
    # The same with the mirroring settled names one, so that the look above can fail.
    assert SIDE.search(words(show(made_summary(), suspected, **EVERYTHING)))


def test_evidence_has_sign_word_strength_reason_and_source():
    page = show(made_summary(), "right", **EVERYTHING)
    hint = hint_of([made_summary()], "right", Findings.model_validate(EVERYTHING))
    table = next(str(b.proto.body) for b in page.get("html") if "Why, and source" in str(b.proto.body))
    rows = re.findall(r"<tr>(<td>.*?)</tr>", table, re.DOTALL)
    assert len(rows) == len(hint.evidence) > 3
    for row, line in zip(rows, hint.evidence, strict=True):
        text = html.unescape(row)
        for part in (
            line.finding[1:],
            hint_page.POINTS[line.points_to],
            hint_page.STRENGTHS[line.strength],
            line.text,
            line.source,
        ):
            assert part in text
    assert {line.points_to for line in hint.evidence} >= {"eye", "neck"}
    # All differ by sign as well as by word, without any colour.
    for signs in (hint_page.POINTS, hint_page.STRENGTHS, hint_page.AGREES):
        assert len({text.split()[0] for text in signs.values()}) == 3


def test_for_and_against_stand_side_by_side_the_strongest_first():
    page = show(made_summary(), "right", **EVERYTHING)
    block = next(
        str(b.proto.body) for b in page.get("html") if "p-sides" in str(b.proto.body) and "<style" not in str(b.proto.body)
    )
    hint = hint_of([made_summary()], "right", Findings.model_validate(EVERYTHING))
    for side, part in zip(("eye", "neck"), block.split("</div><div>"), strict=True):
        said = re.findall(r"\((weak|moderate|strong)\)", part)
        assert len(said) == sum(line.points_to == side for line in hint.evidence)
        assert said == sorted(said, key=["strong", "moderate", "weak"].index)


def test_also_fits_and_cautions_are_shown_whole():
    page = show(made_summary(), "left", **OF_RIGHT_OBLIQUE)
    hint = hint_of([made_summary()], "left", Findings.model_validate(OF_RIGHT_OBLIQUE))
    shown = words(page)
    assert hint.suspected == "against"
    assert f"✕ {SIDES['against'].text}" in shown
    assert hint.also_fits
    assert hint.next
    for row in hint.also_fits:
        assert all(re.sub(r"\s+", " ", part) in shown for part in (row.cause, row.separates, row.speed))
    assert all(text in shown for text in (*hint.next, *hint.cautions))


LIKE: dict[str, Any] = {"position": "sitting", "age_months": 60, "camera_height": "eye level"}
OPEN_CLIP = clip(-14, **LIKE)
COVERED = tuple(clip(-3, covered_eye=eye, covered_minutes=30.0, **LIKE) for eye in ("right", "left"))


def strips(page: AppTest) -> list[str]:
    """Alternative texts of the pictures that lay clips beside each other."""
    return re.findall(rf'alt="{hint_page.STRIP_WORDS}"', source(page))


def test_other_clips_reach_the_hint_and_are_drawn():
    page = show(OPEN_CLIP, "right", Others(COVERED), red_flags=[])
    hint = hint_of([OPEN_CLIP, *COVERED], "right", Findings(red_flags=[]))
    assert "relieved by either eye" in [line.finding for line in hint.evidence]
    assert "Relieved by either eye (moderate)" in words(page)
    assert "What changes the tilt" in words(page)
    assert len(strips(page)) == 2
    alone = show(OPEN_CLIP, "right", red_flags=[])
    assert strips(alone) == []
    assert "What changes the tilt" not in words(alone)


def test_comparison_under_other_demand_is_drawn_and_said():
    clips = [clip(tilt, correction=worn, **LIKE) for tilt, worn in ((-14, "none"), (-4, "glasses"))]
    page = show(clips[0], "right", Others((clips[1],)), red_flags=[])
    assert len(strips(page)) == 2
    assert "smaller by 10" in words(page)


def test_expected_heads_are_beside_the_clip_that_counts():
    def outlines(shown: Summary, *others: Summary) -> list[str]:
        found = pictures(show(shown, "right", Others(others), red_flags=[]))
        return re.findall(r' d="([^"]+)"', next(svg for svg in found if 'id="wide-measured"' in svg))

    # The clip that is shown was filmed under cover; the open one was ticked.
    assert outlines(COVERED[0], OPEN_CLIP) == outlines(OPEN_CLIP, COVERED[0])
    assert outlines(COVERED[0], OPEN_CLIP) != outlines(COVERED[0])


def test_a_referral_of_today_is_not_beside_a_comparison_either():
    assert strips(show(OPEN_CLIP, "right", Others(COVERED), red_flags=["drowsy"])) == []
    assert len(strips(show(OPEN_CLIP, "right", Others(COVERED), red_flags=["mass"]))) == 2


def test_no_comparison_is_drawn_under_the_age_for_a_hint():
    clips = [clip(tilt, correction=worn, **(LIKE | {"age_months": 2})) for tilt, worn in ((-14, "none"), (-4, "glasses"))]
    assert strips(show(clips[0], "right", Others((clips[1],)), red_flags=[])) == []


@pytest.mark.parametrize("which", [0, 1])
def test_no_side_beside_a_clip_without_one(which: int):
    clips = [
        clip(tilt, correction=worn, sided=k != which, **LIKE) for k, (tilt, worn) in enumerate(((-14, "none"), (-4, "glasses")))
    ]
    page = show(clips[0], "right", Others((clips[1],)), red_flags=[])
    assert len(strips(page)) == 2
    found = [svg for svg in pictures(page) if AS_FACED.strip() in svg or "size of the tilt" in svg or "tilts" in svg]
    assert found
    assert not any(re.search(r"ear\b|child's (right|left)", svg) for svg in found)
    # The shown clip has no side: nothing on the page names one.
    if which == 0:
        assert not SIDE.search(words(page))


def test_covered_clips_of_known_side_beside_one_without_name_no_eye():
    page = show(clip(-14, sided=False, **LIKE), "right", Others(COVERED), red_flags=[])
    assert not SIDE.search(words(page))
    assert strips(page) == []


@pytest.mark.parametrize(
    ("findings", "sided", "drawn"),
    [
        ({"red_flags": [], "neck_safe": True}, (True, True), True),
        ({"red_flags": [], "neck_safe": True}, (False, False), True),
        ({"red_flags": [], "neck_safe": True}, (False, True), False),
        ({"red_flags": []}, (True, True), False),
        ({"red_flags": [], "neck_safe": False}, (True, True), False),
        ({"red_flags": ["drowsy"], "neck_safe": True}, (True, True), False),
    ],
    ids=["screened", "no side", "side of one only", "not screened", "must not move", "today"],
)
def test_what_was_asked_is_drawn_once_the_neck_is_screened(findings: dict[str, Any], sided: tuple[bool, bool], drawn: bool):
    page = show(clip(-14, sided=sided[0], **LIKE), "right", Others((), (asked(sided=sided[1]),)), **findings)
    assert (f'alt="{hint_page.ASKED_WORDS}"' in source(page)) is drawn
    if not sided[0]:
        assert not SIDE.search(words(page))
    assert ("shown when the neck screen is answered" in words(page)) is (findings.get("neck_safe") is not True)


def test_every_text_is_escaped(monkeypatch: pytest.MonkeyPatch):
    bad = "<img src=x onerror=alert(1)>"
    real = hint_of([made_summary()], "right", Findings.model_validate(OF_RIGHT_OBLIQUE))
    line = real.evidence[0].model_copy(update={"finding": bad, "text": bad, "source": bad})
    row = real.also_fits[0].model_copy(update={"cause": bad, "separates": bad, "speed": bad})
    cautions = [f"Urgent{bad}", bad, CAUTIONS["screening"].text]
    made = real.model_copy(update={"evidence": [line], "also_fits": [row], "next": [bad], "cautions": cautions})
    monkeypatch.setattr(hint_page, "hint_of", lambda *_: made)
    page = show(made_summary(), "right")
    assert "<img src=x" not in source(page)
    assert source(page).count("&lt;img src=x") >= 9


def test_error_is_a_line(monkeypatch: pytest.MonkeyPatch):
    def refuse(*_: object) -> Hint:
        raise FindingsError("Expected other findings; ![x](http://example.org) came.")

    monkeypatch.setattr(hint_page, "hint_of", refuse)
    page = show(made_summary())
    assert "Expected other findings" in page.error[0].value
    assert "![" not in page.error[0].value
    assert OUTCOMES["insufficient"].text not in words(page)


@pytest.mark.parametrize(
    "conditions", [ON_TARGET.model_copy(update={"age_months": 2}), Conditions(position="lying"), Conditions()]
)
def test_hint_is_shown_for_any_clip(conditions: Conditions):
    for mirrored in ("no", "unknown"):
        assert CAUTIONS["screening"].text in words(show(made_summary(0.0, mirrored, conditions)))  # type: ignore[arg-type]


def on_page(page: AppTest) -> str:
    """Text of the whole page."""
    return html.unescape(
        re.sub(r"<style>.*?</style>|<[^>]*>", " ", "\n".join(str(h.proto.body) for h in page.get("html")), flags=re.DOTALL)
    )


def upload(page: AppTest, data: bytes) -> AppTest:
    page.file_uploader(key="clip_file").set_value(("a.mp4", data, "video/mp4")).run()
    page.button(key="measure").click().run()
    assert not page.exception
    return page


def the_key(page: AppTest, name: str) -> str:
    """The key of a widget about the clip that is shown."""
    (found,) = [w.key for w in (*page.radio, *page.checkbox, *page.text_input) if str(w.key).startswith(f"find-{name}|")]
    return found


def test_section_is_folded_then_follows_every_answer(open_page, measurer):
    page = open_page()
    page.radio(key="mirrored").set_value("no").run()
    page = upload(page, b"\x0eclip")
    assert "Beside the examination" in on_page(page)
    assert "The hint" not in on_page(page)
    assert not [w for w in page.checkbox if str(w.key).startswith("find-")]
    page.toggle[0].set_value(True).run()
    assert CAUTIONS["red flags"].text in on_page(page)
    page.checkbox(key=the_key(page, "flag.drowsy")).set_value(True).run()
    assert on_page(page).count("Urgent, today: drowsy.") == 2
    # Mirroring taken back on the page above: the hint follows.
    page.radio(key="mirrored").set_value("unknown").run()
    assert CAUTIONS["mirroring"].text in on_page(page)
    assert on_page(page).count("Urgent, today: drowsy.") == 2
    assert len(measurer.calls) == 1


def test_answers_do_not_pass_to_another_clip(open_page, measurer):
    page = upload(open_page(), b"\x0eclip")
    page.toggle[0].set_value(True).run()
    page.checkbox(key=the_key(page, "flag.drowsy")).set_value(True).run()
    page.file_uploader(key="clip_file").set_value(("b.mp4", b"\x08other", "video/mp4")).run()
    page.button(key="measure").click().run()
    assert not page.toggle[0].value
    page.toggle[0].set_value(True).run()
    assert not page.checkbox(key=the_key(page, "flag.drowsy")).value
    assert "Urgent" not in on_page(page)


def test_answers_outlive_a_second_measurement_of_the_clip(open_page, measurer):
    page = upload(open_page(), b"\x0eclip")
    page.toggle[0].set_value(True).run()
    page.checkbox(key=the_key(page, "flag.drowsy")).set_value(True).run()
    page.button(key="measure").click().run()
    page.toggle[0].set_value(True).run()
    assert page.checkbox(key=the_key(page, "flag.drowsy")).value
    assert widget_key("flag.drowsy", "x") == "find-flag.drowsy|x"
