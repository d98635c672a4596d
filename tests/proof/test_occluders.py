"""What hides a face lies where it should at any posture, and spoils the picture as much as it says."""

import numpy as np
import pytest

from posture.geometry.angles import posture_matrix
from posture.geometry.pose import Camera, project
from tests.proof import occluders
from tests.proof.material import HEADS_MISSING, heads_present, load_heads
from tests.proof.places import find_places, load_head

pytestmark = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

NAME = "child_a"
SIDE_PX, FOCAL_PX = 200, 700.0
PLACE_M = (0.0, 0.03, 0.75)
POSTURES_DEG = [(0.0, 0.0, 0.0), (20.0, 0.0, 10.0), (-15.0, 20.0, 0.0), (0.0, -20.0, -15.0)]


def drawn(condition: occluders.Condition, posture_deg: tuple[float, float, float], side: int) -> np.ndarray:
    """A picture whose noise is the same for every condition that has as much of it."""
    dressed = occluders.dress(condition, NAME, np.random.default_rng(3), side)
    camera = load_heads().Camera(SIDE_PX, SIDE_PX, FOCAL_PX)
    return occluders.draw(dressed, posture_matrix(*posture_deg), camera, PLACE_M, None, np.random.default_rng(4))


def pixel_of(point_m: np.ndarray, posture_deg: tuple[float, float, float]) -> np.ndarray:
    """Where a point of the head is, (x, y), rounded."""
    shown = project(point_m[None], posture_matrix(*posture_deg), np.array(PLACE_M), Camera(SIDE_PX, SIDE_PX, FOCAL_PX))
    return shown[0].round().astype(int)


@pytest.mark.parametrize("name", ["adult_b", "child_a", "baby_a"])
def test_places_of_the_eyes_are_those_of_the_eyeballs(name: str) -> None:
    places, head = find_places(name), load_head(name)
    # Eyeballs are the widest meshes that lie at one side of the middle; the corner of the eye is another, smaller one.
    aside = [part.vertices - head.pivot for part in head.parts if abs(np.sign(part.vertices[:, 0]).sum()) == len(part.vertices)]
    for key, side in (("right_eye", -1), ("left_eye", 1)):
        widest = max((mesh for mesh in aside if np.sign(mesh[0, 0]) == side), key=lambda mesh: np.ptp(mesh[:, 0]))
        ball = (widest.min(0) + widest.max(0)) / 2
        assert np.abs(places.points_m[key] - ball)[:2] == pytest.approx(0.0, abs=0.005), key
    assert places.points_m["chin"][1] < places.points_m["mouth"][1] < places.points_m["left_eye"][1]


@pytest.mark.parametrize("posture_deg", POSTURES_DEG)
@pytest.mark.parametrize("side", [-1, 1])
def test_patch_covers_its_eye_and_leaves_the_other(posture_deg: tuple[float, float, float], side: int) -> None:
    changed = np.abs(drawn("patch", posture_deg, side).astype(int) - drawn("plain", posture_deg, side)).max(2) > 12
    points = find_places(NAME).points_m
    covered, open_ = ("right_eye", "left_eye") if side < 0 else ("left_eye", "right_eye")
    x, y = pixel_of(points[covered], posture_deg)
    assert changed[y - 3 : y + 4, x - 3 : x + 4].mean() > 0.8
    for key in (open_, "mouth", "chin"):
        x, y = pixel_of(points[key], posture_deg)
        assert not changed[y - 2 : y + 3, x - 2 : x + 3].any(), key


@pytest.mark.parametrize("posture_deg", POSTURES_DEG)
def test_hand_covers_the_mouth_and_leaves_the_eyes(posture_deg: tuple[float, float, float]) -> None:
    changed = np.abs(drawn("hand", posture_deg, 1).astype(int) - drawn("plain", posture_deg, 1)).max(2) > 6
    points = find_places(NAME).points_m
    x, y = pixel_of(points["mouth"], posture_deg)
    assert changed[y - 4 : y + 5, x - 4 : x + 5].mean() > 0.6
    for key in ("right_eye", "left_eye"):
        x, y = pixel_of(points[key], posture_deg)
        assert not changed[y - 2 : y + 3, x - 2 : x + 3].any(), key


def test_glasses_tint_the_eyes_and_frame_them_darkly() -> None:
    plain, worn = drawn("plain", (0, 0, 0), 1).astype(float), drawn("glasses", (0, 0, 0), 1).astype(float)
    for key in ("right_eye", "left_eye"):
        x, y = pixel_of(find_places(NAME).points_m[key], (0, 0, 0))
        behind = np.s_[y - 5 : y + 6, x - 5 : x + 6]
        assert worn[behind].mean() / plain[behind].mean() == pytest.approx(1 - occluders.LENS_TINT, abs=0.03)
        # Going down from the eye the rim is met, dark, and then the bare cheek.
        column = worn[y : y + 40, x].mean(1)
        assert column[:30].min() < 80
        assert column[35:] == pytest.approx(plain[y + 35 : y + 40, x].mean(1), abs=1.5)


def test_noise_blur_and_light_spoil_as_much_as_they_say() -> None:
    flat = np.s_[:20, :20]
    plain, noisy, blurred, dark = (drawn(c, (0, 0, 0), 1).astype(float) for c in ("plain", "noise", "blur", "low light"))
    assert plain[flat].std() == pytest.approx(occluders.NOISE, rel=0.15)
    assert noisy[flat].std() == pytest.approx(occluders.STRONG_NOISE, rel=0.1)
    assert dark[flat].mean() == pytest.approx(occluders.LOW_GAIN * plain[flat].mean(), abs=1.5)
    assert dark[flat].std() == pytest.approx(occluders.LOW_LIGHT_NOISE, rel=0.1)
    steps = [np.abs(np.diff(p[60:140, 60:140], axis=1)).max() for p in (plain, blurred)]
    assert steps[1] < 0.6 * steps[0]


@pytest.mark.parametrize("side", [-1, 1])
def test_side_light_comes_from_its_side(side: int) -> None:
    picture = drawn("side light", (0, 0, 0), side).astype(float)
    points = find_places(NAME).points_m
    (rx, ry), (lx, ly) = pixel_of(points["right_cheek"], (0, 0, 0)), pixel_of(points["left_cheek"], (0, 0, 0))
    right, left = picture[ry - 3 : ry + 4, rx - 3 : rx + 4].mean(), picture[ly - 3 : ly + 4, lx - 3 : lx + 4].mean()
    assert (left - right) * side > 0.2 * max(left, right)


def test_unknown_condition_names_the_known_ones() -> None:
    with pytest.raises(ValueError, match=r"plain, glasses.*'fog' came"):
        occluders.dress("fog", NAME, np.random.default_rng(0))  # type: ignore[arg-type]
