"""Settling on the page whether a clip is mirrored."""

from __future__ import annotations

import base64
import html
import io
import re

import numpy as np
import pytest
from PIL import Image
from streamlit.testing.v1 import AppTest

from posture.page import side
from posture.page.side import ANSWERS, SideView, enlarged, side_picture

CENTRED = (280.0, 120.0, 360.0, 220.0)


def a_view(width: int = 640, height: int = 360, box: tuple = CENTRED, writing: tuple = ()) -> SideView:
    """A picture in which every column and row differs, so that a swap shows."""
    rgb = np.zeros((height, width, 3), np.uint8)
    rgb[..., 0] = np.linspace(20, 200, width)
    rgb[..., 1] = np.linspace(60, 160, height)[:, None]
    return SideView(rgb, box, writing)


def mirrored(view: SideView) -> SideView:
    width = view.rgb.shape[1]

    def swap(box: tuple) -> tuple:
        return width - box[2], box[1], width - box[0], box[3]

    return SideView(np.ascontiguousarray(view.rgb[:, ::-1]), swap(view.box_px), tuple(swap(box) for box in view.writing_px))


def arrow(view: SideView) -> np.ndarray:
    """Which pixels of the picture, without the band, the arrow covers."""
    marked = side_picture(view)
    rgb = side._fitted(view)[0]
    return (marked[:, marked.shape[1] - rgb.shape[1] :] != rgb).any(-1)


def run(views: list[SideView], answer: str | None = None) -> AppTest:
    """The part of the page alone; the answers pressed are in the session."""

    # Its text is run by itself: it can name nothing of this file, in its types neither.
    def script(views, answer):  # type: ignore[no-untyped-def]
        import streamlit as st

        from posture.page.side import draw_side_check

        said = st.session_state.setdefault("said", [])
        draw_side_check(views, said[-1] if said else answer, said.append)

    page = AppTest.from_function(script, kwargs={"views": views, "answer": answer}, default_timeout=30).run()
    assert not page.exception
    return page


def words(page: AppTest) -> str:
    """All that can be read, pictures apart."""
    parts = [re.sub(r"<style>.*?</style>", "", str(block.proto.body), flags=re.DOTALL) for block in page.get("html")]
    text = " ".join(re.sub(r"<[^>]*>", " ", re.sub(r'alt="([^"]*)"', r">\1<", part)) for part in parts)
    return html.unescape(text) + " ".join(button.label for button in page.button)


def pictures(page: AppTest) -> list[np.ndarray]:
    """All pictures in the order of the page."""
    text = "".join(str(block.proto.body) for block in page.get("html"))
    found = re.findall(r'src="data:image/jpeg;base64,([^"]+)"', text)
    return [np.asarray(Image.open(io.BytesIO(base64.b64decode(data)))) for data in found]


def test_mark_is_on_the_left_of_the_face_and_the_rest_is_as_filmed():
    covered = arrow(a_view(640, 480))
    scale = side.LONGER_PX / 640
    assert covered.any()
    columns = np.flatnonzero(covered.any(0))
    assert columns[0] == 0
    assert 0.8 * CENTRED[0] * scale < columns[-1] < CENTRED[0] * scale
    rows = np.flatnonzero(covered.any(1))
    assert rows[0] > CENTRED[3] * scale - 1
    assert covered.mean() < 0.05


def test_mark_stays_on_the_left_of_a_mirrored_picture_so_that_it_points_to_the_other_hand():
    view = a_view(box=(380.0, 120.0, 460.0, 220.0))
    turned = mirrored(view)
    assert turned.box_px == (180.0, 120.0, 260.0, 220.0)
    scale = side.LONGER_PX / 640
    tips = [np.flatnonzero(arrow(v).any(0))[-1] for v in (view, turned)]
    assert tips == pytest.approx([(380 - 0.3 * 80) * scale, (180 - 0.3 * 80) * scale], abs=3)
    plain, swapped = side._fitted(view)[0], side._fitted(turned)[0]
    assert np.abs(plain[:, ::-1].astype(int) - swapped).max() <= 1


@pytest.mark.parametrize(
    ("width", "height", "box"),
    [
        pytest.param(640, 360, (0.0, 100.0, 90.0, 220.0), id="face at the left edge"),
        pytest.param(640, 360, (560.0, 100.0, 640.0, 220.0), id="face at the right edge"),
        pytest.param(640, 360, (-60.0, -50.0, 40.0, 60.0), id="face partly out of sight"),
        pytest.param(640, 360, (300.0, 300.0, 380.0, 360.0), id="face at the lower edge"),
        pytest.param(640, 360, (0.0, 0.0, 640.0, 360.0), id="face over all"),
        pytest.param(24, 18, (8.0, 4.0, 14.0, 12.0), id="tiny"),
        pytest.param(1, 1, (0.0, 0.0, 1.0, 1.0), id="one pixel"),
        pytest.param(1280, 90, (600.0, 5.0, 660.0, 80.0), id="flat"),
        pytest.param(90, 1280, (10.0, 500.0, 80.0, 590.0), id="narrow"),
        pytest.param(1280, 720, (600.0, 200.0, 600.0, 200.0), id="face of no size"),
    ],
)
def test_picture_is_lettered_whatever_its_shape(width: int, height: int, box: tuple):
    view = a_view(width, height, box)
    marked = side_picture(view)
    rgb = side._fitted(view)[0]
    band = marked.shape[1] - rgb.shape[1]
    assert marked.dtype == np.uint8
    assert band == round(side.BAND_SHARE * rgb.shape[1])
    # White letters and the arrow, with a margin of plain band above and below them.
    white = (marked[:, :band] > 200).all(-1)
    assert 0.02 < white.mean() < 0.5
    assert not white[0].any()
    assert not white[-1].any()
    assert not arrow(view)[:, max(0, round(side._fitted(view)[1])) + 1 :].any()
    assert 0.45 < rgb.shape[0] / rgb.shape[1] < 2.2


@pytest.mark.parametrize(("value", "begins"), [("no", "Yes"), ("yes", "No"), ("unknown", "I can't tell")])
def test_each_answer_stands_for_its_value(value: str, begins: str):
    page = run([a_view()])
    (button,) = [button for button in page.button if button.label.startswith(begins)]
    button.click().run()
    assert page.session_state["said"] == [value]
    assert [b.label.startswith("✓") for b in page.button] == [b.label.endswith(ANSWERS[value]) for b in page.button]
    assert side.SETTLED[value] in words(page)


def test_nothing_is_answered_by_itself():
    page = run([a_view()])
    assert page.session_state["said"] == []
    assert side.SETTLED[None] in words(page)
    assert not any("✓" in button.label for button in page.button)


@pytest.mark.parametrize("answer", [None, "no", "yes", "unknown"])
def test_words_name_no_side_of_a_finding(answer: str | None):
    text = words(run([a_view(writing=((10.0, 10.0, 90.0, 40.0),))], answer)).lower()
    assert not re.search(r"tilt|turn(?!ed round)|lean|shoulder|posture|degree|\bear\b", text)
    # Every right and left is one of a hand, of the picture as filmed, or the right way round.
    rest = re.sub(r"right hand|left hand|the right way round|on the left of the picture", "", text)
    assert not re.search(r"\b(right|left)\b", rest)


def test_mark_is_a_condition():
    assert " ".join(side.BAND_SMALL) == "if the picture is not mirrored"
    assert side.BAND_WORDS[-1].endswith("?")
    assert "if the picture is not mirrored" in words(run([a_view()]))


def test_writing_is_shown_as_filmed_and_turned_round():
    view = a_view(writing=((40.0, 30.0, 110.0, 60.0),))
    page = run([view])
    _, filmed, turned = pictures(page)
    assert filmed.shape == turned.shape == (180, 420, 3)
    assert filmed[:, -20:, 0].mean() > filmed[:, :20, 0].mean() + 5
    assert np.abs(filmed[:, ::-1].astype(int) - turned).mean() < 3
    text = words(page)
    assert text.index(side.AS_FILMED) < text.index(ANSWERS["no"]) < text.index(side.TURNED_ROUND) < text.index(ANSWERS["yes"])


@pytest.mark.parametrize(
    ("writing", "shown"),
    [
        pytest.param((), 0, id="none"),
        pytest.param(((700.0, 10.0, 800.0, 40.0),), 0, id="outside"),
        pytest.param(((600.0, 10.0, 800.0, 40.0),), 1, id="over the edge"),
        pytest.param(tuple((10.0 * k, 10.0, 10.0 * k + 80, 40.0) for k in range(6)), 6, id="six"),
    ],
)
def test_as_much_writing_is_shown_as_there_is(writing: tuple, shown: int):
    page = run([a_view(writing=writing)])
    assert len(pictures(page)) == 1 + 2 * shown
    assert (side.NO_WRITING in words(page)) == (shown == 0)
    assert [e.label for e in page.expander] == ([f"{shown - side.AT_ONCE} more"] if shown > side.AT_ONCE else [])


@pytest.mark.parametrize(
    ("box", "size"),
    [((0.0, 0.0, 210.0, 30.0), (420, 60)), ((5.0, 5.0, 15.0, 10.0), (60, 30)), ((0.0, 0.0, 640.0, 360.0), (320, 180))],
)
def test_enlarged_keeps_its_shape_and_its_bounds(box: tuple, size: tuple[int, int]):
    piece = enlarged(a_view(), box)
    assert piece is not None
    assert piece.shape == (size[1], size[0], 3)


def test_another_picture_comes_after_the_last_the_first():
    views = [a_view(), a_view(writing=((10.0, 10.0, 90.0, 40.0),)), a_view(320, 320, (100.0, 100.0, 200.0, 200.0))]
    page = run(views)
    seen = []
    for _ in range(4):
        seen.append((pictures(page)[0].shape, len(pictures(page))))
        page.button(key="side-another").click().run()
    assert len(set(seen[:3])) == 3
    assert seen[3] == seen[0]
    assert page.session_state["said"] == []


def test_one_picture_offers_no_other():
    assert len(run([a_view()]).button) == len(ANSWERS)


def test_text_with_markup_is_text():
    assert side._image(a_view().rgb, '"><script>alert(1)</script>').count("<") == 1


def test_check_needs_a_picture():
    with pytest.raises(ValueError, match="at least one picture of the child"):
        side.draw_side_check([], None, print)
