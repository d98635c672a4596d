"""How sharply a face is seen: blur tells, the size of the window hardly does."""

import cv2
import numpy as np
import pytest

from posture.face.detail import detail_share
from posture.face.faces import FacesFollower
from posture.face.seen import FaceSeen, Window
from tests.face.pictures import blank
from tests.proof.material import frame_of, see_face


@pytest.fixture(scope="module")
def seen(astronaut: np.ndarray) -> FaceSeen:
    found = see_face(astronaut)
    assert found is not None
    return found


def detail_of(picture: np.ndarray, seen: FaceSeen, out_px: int | None = None, quarter_turns: int = 0) -> float:
    """Detail of the face of a picture, in the window that its landmarks need or in one of another size."""
    window = Window.around(seen.centre_px, seen.size_px, quarter_turns, out_px)
    return detail_share(window.show(frame_of(picture)), window.from_picture(seen.points_px))


def blurred(picture: np.ndarray, sigma_px: float) -> np.ndarray:
    """The picture with a Gaussian blur."""
    return np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma_px), np.uint8)


def as_from(picture: np.ndarray, share: float) -> np.ndarray:
    """The picture as it is when it was filmed smaller and enlarged again."""
    height, width = picture.shape[:2]
    small = cv2.resize(picture, (round(width * share), round(height * share)), interpolation=cv2.INTER_AREA)
    return np.asarray(cv2.resize(small, (width, height), interpolation=cv2.INTER_CUBIC), np.uint8)


def test_detail_falls_with_blur(astronaut: np.ndarray, seen: FaceSeen) -> None:
    shares = [detail_of(astronaut, seen), *(detail_of(blurred(astronaut, sigma), seen) for sigma in (1.0, 2.0, 4.0, 8.0))]
    assert np.diff(shares).max() < -0.02
    assert shares[0] > 0.7
    # A blur of a twenty-fifth of the face is told from a sharp face by more than people differ.
    assert shares[3] < shares[0] - 0.25


@pytest.mark.parametrize(("out_px", "most"), [(192, 0.06), (256, 0.06), (512, 0.06), (128, 0.14)])
def test_size_of_the_window_picture_hardly_matters(astronaut: np.ndarray, seen: FaceSeen, out_px: int, most: float) -> None:
    """In the smallest the face has 58 px, so that it is itself seen less sharply."""
    assert detail_of(astronaut, seen, out_px) == pytest.approx(detail_of(astronaut, seen, 384), abs=most)
    soft = blurred(astronaut, 4.0)
    assert detail_of(soft, seen, out_px) == pytest.approx(detail_of(soft, seen, 384), abs=0.03)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_turned_window_gives_about_the_same(astronaut: np.ndarray, seen: FaceSeen, quarters: int) -> None:
    assert detail_of(astronaut, seen, quarter_turns=quarters) == pytest.approx(detail_of(astronaut, seen), abs=0.06)


def test_small_face_that_was_enlarged_has_less(astronaut: np.ndarray, seen: FaceSeen) -> None:
    shares = [detail_of(as_from(astronaut, size_px / seen.size_px), seen) for size_px in (25.0, 50.0)]
    assert shares[0] < shares[1] - 0.05 < detail_of(astronaut, seen) - 0.05
    # But it is told from a blurred one: its landmarks are still good.
    assert shares[0] > detail_of(blurred(astronaut, 4.0), seen) + 0.1


@pytest.mark.parametrize("contrast", [0.5, 0.25])
def test_faint_light_counts_little(astronaut: np.ndarray, seen: FaceSeen, contrast: float) -> None:
    dark = np.rint(astronaut * contrast).astype(np.uint8)
    assert detail_of(dark, seen) == pytest.approx(detail_of(astronaut, seen), abs=0.04)


@pytest.mark.parametrize("shade", [0, 127, 255])
def test_flat_picture_has_none(seen: FaceSeen, shade: int) -> None:
    assert detail_of(np.full_like(blank(512, 512), shade), seen) == 0


def test_face_at_the_edge_and_of_no_size_gives_a_number(astronaut: np.ndarray, seen: FaceSeen) -> None:
    window = Window.around(seen.centre_px, seen.size_px)
    points = window.from_picture(seen.points_px)
    pixels = window.show(frame_of(astronaut))
    for other in (points + 200, points - 300, np.zeros_like(points)):
        assert np.isfinite(detail_share(pixels, other))


def test_followed_faces_carry_their_detail(astronaut: np.ndarray, seen: FaceSeen) -> None:
    with FacesFollower() as follower:
        (sharp,) = follower.look(frame_of(astronaut, 0.0), frame_of(astronaut, 0.1))
        (soft,) = follower.look(frame_of(blurred(astronaut, 4.0), 0.1))
    assert sharp.detail == pytest.approx(detail_of(astronaut, seen), abs=0.05)
    assert soft.detail < sharp.detail - 0.25
