"""Straight edges are found to a fraction of a pixel, and none of people, borders or bars."""

import cv2
import numpy as np
import pytest

from posture.face.lines import LEAST_SHARE, MOST_LINES, straight_lines
from tests.face.pictures import blank, made_face
from tests.proof.material import frame_of

Point = tuple[float, float]


def with_edge(width: int, height: int, start: Point, end: Point, noise: float = 0.0) -> np.ndarray:
    """A grey picture, darker on one side of the straight line through two points, between their rows or columns."""
    fine = 4
    picture = np.full((height * fine, width * fine, 3), 190, np.uint8)
    (x0, y0), (x1, y1) = start, end
    away = np.array([y1 - y0, x0 - x1]) / np.hypot(x1 - x0, y1 - y0) * 60
    corners = np.array([start, end, end + away, start + away])
    cv2.fillPoly(picture, [np.rint(((corners + 0.5) * fine - 0.5) * 256).astype(np.int32)], (110, 100, 90), cv2.LINE_8, 8)
    small = cv2.resize(picture, (width, height), interpolation=cv2.INTER_AREA).astype(float)
    return np.asarray(np.clip(small + np.random.default_rng(1).normal(0, noise, small.shape), 0, 255), np.uint8)


def nearest(lines: np.ndarray, start: Point, end: Point) -> tuple[float, float, float]:
    """Largest distance of the ends of the longest line along an edge from it, its slope against it (degrees), its length."""
    along = np.subtract(end, start) / np.hypot(*np.subtract(end, start))
    across = np.array([-along[1], along[0]])
    off = np.abs((lines.reshape(-1, 2, 2) - start) @ across)
    found = lines[off.max(1) < 4]
    length = np.hypot(*(found[:, 2:] - found[:, :2]).T)
    k = int(length.argmax())
    way = (found[k, 2:] - found[k, :2]) / length[k]
    return float(off[off.max(1) < 4][k].max()), float(np.degrees(np.arcsin(np.abs(way @ across)))), float(length[k])


@pytest.mark.parametrize("size", [(1280, 720), (720, 1280), (640, 480), (1920, 1080)])
@pytest.mark.parametrize("lean", [-0.2, 0.0, 0.07])
def test_an_edge_is_found_where_it_is(size: tuple[int, int], lean: float) -> None:
    width, height = size
    start, end = (0.4 * width, 0.15 * height), (0.4 * width + lean * 0.7 * height, 0.85 * height)
    lines = straight_lines(frame_of(with_edge(width, height, start, end, noise=4.0)), [])
    off, slope, length = nearest(lines, start, end)
    assert off < 1.0 * max(width / 960, 1)
    assert slope < 0.15
    assert length > 0.8 * np.hypot(*np.subtract(end, start))


def test_no_shift_from_the_smaller_copy() -> None:
    """Pixel centres are at whole numbers: an edge between columns 699 and 700 is at 699.5."""
    picture = blank(1920, 1080)
    picture[:, 700:] = 40
    lines = straight_lines(frame_of(picture), [])
    assert len(lines)
    assert lines[:, [0, 2]] == pytest.approx(699.5, abs=1.1)


def test_the_longest_come_first_and_short_ones_not_at_all() -> None:
    picture = blank(1280, 720)
    for k in range(8):
        cv2.rectangle(picture, (60 + 150 * k, 100), (120 + 150 * k, 120 + 65 * k), (60, 60, 60), -1)
    lines = straight_lines(frame_of(picture), [])
    length = np.hypot(*(lines[:, 2:] - lines[:, :2]).T)
    assert (np.diff(length) <= 1e-9).all()
    assert length[-1] >= LEAST_SHARE * 1280 - 3
    assert not (lines[:, [0, 2]].max(1) < 125)[np.abs(lines[:, 1] - lines[:, 3]) > 10].any()


@pytest.mark.parametrize("slope_deg", [0.0, 20.0])
def test_edges_on_a_person_are_left_out(slope_deg: float) -> None:
    """A striped shirt below a face, and a door frame beside it."""
    picture = blank(1280, 720)
    for x in range(560, 730, 24):
        picture[420:720, x : x + 12] = 40
    picture[60:700, 1100:1112] = 40
    seen = straight_lines(frame_of(picture), [])
    face = made_face((645.0, 250.0), 130.0, slope_deg)
    left = straight_lines(frame_of(picture), [face])
    assert ((seen[:, 0] > 550) & (seen[:, 0] < 740)).sum() >= 10
    assert len(left) >= 2
    assert (left[:, 0] > 1090).all()


@pytest.mark.parametrize(("slope_deg", "body_is_left"), [(90.0, True), (-90.0, False)])
def test_of_a_person_who_lies_the_body_is_along_the_face(slope_deg: float, body_is_left: bool) -> None:
    picture = blank(1280, 720)
    for y in range(310, 410, 24):
        for x in (250, 800):
            picture[y : y + 12, x : x + 230] = 40
    assert len(straight_lines(frame_of(picture), [])) >= 16
    lines = straight_lines(frame_of(picture), [made_face((640.0, 360.0), 130.0, slope_deg)])
    assert len(lines) >= 8
    assert ((lines[:, 0] > 640) == body_is_left).all()


@pytest.mark.parametrize("make", [lambda: blank(640, 480), lambda: np.zeros((480, 640, 3), np.uint8)], ids=["grey", "black"])
def test_nothing_is_found_in_nothing(make) -> None:  # type: ignore[no-untyped-def]
    lines = straight_lines(frame_of(make()), [])
    assert lines.shape == (0, 4)


def test_noise_has_no_edges() -> None:
    noise = np.random.default_rng(3).normal(110, 8, (720, 1280, 3)).clip(0, 255).astype(np.uint8)
    assert len(straight_lines(frame_of(noise), [])) <= 3


@pytest.mark.parametrize(("left", "top"), [(200, 0), (0, 90)])
def test_bars_beside_a_film_are_no_edges(left: int, top: int) -> None:
    picture = np.zeros((720, 1280, 3), np.uint8)
    inside = picture[top : 720 - top, left : 1280 - left]
    inside[:] = 150
    assert straight_lines(frame_of(picture), []).shape == (0, 4)
    inside[60:-60, 300:312] = 40
    lines = straight_lines(frame_of(picture), [])
    assert len(lines) >= 2
    assert lines[:, [0, 2]] == pytest.approx(left + 305.5, abs=8)


def test_never_more_lines_than_are_useful() -> None:
    rng = np.random.default_rng(4)
    picture = blank(1280, 720)
    for _ in range(900):
        x, y = rng.integers(0, [1230, 670])
        cv2.rectangle(picture, (int(x), int(y)), (int(x) + 36, int(y) + 34), tuple(int(v) for v in rng.integers(0, 255, 3)), -1)
    assert len(straight_lines(frame_of(picture), [])) == MOST_LINES
