"""Finding what looks like writing."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
import pytest

from posture.face.writing import AT_MOST, find_writing
from posture.samples.child import CHILDREN
from posture.samples.room import room_picture
from tests.proof import writing as proof
from tests.proof.writing import covers, word_mask


def lay(rgb: np.ndarray, text: str, letter_px: float, corner: tuple[int, int], ink=(30, 30, 60), **how) -> tuple:
    """Draw a word on a picture in place; its box."""
    mask = proof._turned(word_mask(text, how.get("font", "DejaVuSans-Bold"), letter_px), how.get("angle_deg", 0.0))
    mask = mask[:, ::-1] if how.get("mirrored") else mask
    (x, y), (h, w) = corner, mask.shape
    share = (mask / 255)[..., None]
    rgb[y : y + h, x : x + w] = rgb[y : y + h, x : x + w] * (1 - share) + np.array(ink) * share
    return float(x), float(y), float(x + w), float(y + h)


def wall(width: int = 1280, height: int = 720, shade: int = 190) -> np.ndarray:
    """A plain wall with a little noise."""
    noise = np.random.default_rng(5).normal(0, 2, (height, width, 3))
    return np.clip(shade + noise, 0, 255).astype(np.uint8)


@pytest.mark.parametrize("mirrored", [False, True])
@pytest.mark.parametrize("angle_deg", [-25.0, 0.0, 25.0])
@pytest.mark.parametrize("letter_px", [16, 40, 100])
def test_a_word_is_found_in_any_size_turn_and_mirrored(letter_px: int, angle_deg: float, mirrored: bool):
    rgb = wall()
    box = lay(rgb, "School", letter_px, (300, 200), angle_deg=angle_deg, mirrored=mirrored)
    regions = find_writing(rgb)
    assert len(regions) == 1
    assert covers(regions[0], box)


@pytest.mark.parametrize("font", proof.FONTS)
@pytest.mark.parametrize("ink", [(30, 30, 60), (250, 250, 250)], ids=["dark", "light"])
def test_a_word_is_found_in_any_font_darker_and_lighter_than_its_ground(font: str, ink: tuple):
    rgb = wall(shade=140)
    box = lay(rgb, "DINOSAUR", 30, (400, 300), ink, font=font)
    assert any(covers(region, box) for region in find_writing(rgb))


def test_rows_of_one_piece_are_one_region_and_two_pieces_are_two():
    rgb = wall()
    boxes = [lay(rgb, text, 24, (200, 100 + 42 * k)) for k, text in enumerate(("Happy day", "School band", "Garden 2026"))]
    other = lay(rgb, "FOOTBALL", 30, (800, 500))
    regions = find_writing(rgb)
    assert len(regions) == 2
    assert [sum(covers(region, box) for region in regions) for box in (*boxes, other)] == [1, 1, 1, 1]


def test_writing_in_a_face_is_left_out():
    rgb = wall()
    box = lay(rgb, "Reading", 30, (500, 300))
    face = (box[0] - 20, box[1] - 20, box[2] + 20, box[3] + 20)
    assert len(find_writing(rgb)) == 1
    assert find_writing(rgb, [np.array(face)]) == []
    assert len(find_writing(rgb, [(0.0, 0.0, 200.0, 200.0)])) == 1


def test_there_are_never_too_many_and_they_are_in_the_picture():
    rgb = wall()
    for k in range(12):
        lay(rgb, "SUMMER", 20, (40 + 400 * (k % 3), 40 + 170 * (k // 3)))
    regions = find_writing(rgb)
    assert len(regions) == AT_MOST
    for left, top, right, bottom in regions:
        assert 0 <= left < right <= 1280
        assert 0 <= top < bottom <= 720
    assert all(not proof._meets(a, b) for a, b in pairwise(sorted(regions)))


@pytest.mark.parametrize(
    "draw",
    [
        pytest.param(lambda rgb: rgb, id="plain wall"),
        pytest.param(
            lambda rgb: [cv2.rectangle(rgb, (200 + 24 * k, 300 - 7 * (k % 3)), (216 + 24 * k, 360), (60, 40, 90), -1) for k in range(12)],
            id="books",
        ),
        pytest.param(
            lambda rgb: [cv2.circle(rgb, (200 + 40 * k, 300), 12, (60, 40, 90), -1, cv2.LINE_AA) for k in range(2)], id="two buttons"
        ),
        pytest.param(lambda rgb: [cv2.line(rgb, (200 + 14 * k, 100), (200 + 14 * k, 600), (60, 40, 90), 4) for k in range(40)], id="bars"),
    ],
)  # fmt: skip
def test_what_is_no_writing_is_not_taken_for_it(draw):
    rgb = wall()
    draw(rgb)
    assert find_writing(rgb) == []


@pytest.mark.parametrize("child", ["blue", "red"])
def test_a_room_without_writing_has_at_most_one_region(child: str):
    assert len(find_writing(room_picture(CHILDREN[child], 1280, 720, 1150.0))) <= 1


@pytest.mark.parametrize("shape", [(1, 1, 3), (13, 400, 3), (40, 30, 3), (200, 3, 3)])
def test_small_pictures_have_none(shape: tuple):
    assert find_writing(np.full(shape, 90, np.uint8)) == []


@pytest.mark.parametrize("rgb", [np.zeros((50, 50), np.uint8), np.zeros((50, 50, 4), np.uint8), np.zeros((50, 50, 3))])
def test_another_kind_of_picture_is_refused(rgb: np.ndarray):
    with pytest.raises(ValueError, match=r"Expected a picture of uint8 with shape \(h, w, 3\)"):
        find_writing(rgb)


def test_most_drawn_words_are_found_and_little_else():
    seen = list(proof.look_for_words(26, seed=7))
    readable = [rank is not None for word, rank, _, _ in seen if word.letter_px >= 16]
    assert len(readable) >= 12
    assert np.mean(readable) > 0.7
    assert np.mean([wrong for _, _, wrong, _ in seen]) < 1
