"""Eyes that are turned do move their irises in the picture as far as true eyes would, and the measure of gaze errors is right."""

from dataclasses import replace

import numpy as np
import pytest

from posture.face.model import load_canonical_face
from posture.geometry.angles import FACING, line_of_sight, posture_matrix
from posture.geometry.face_lines import LEFT_EYE, RIGHT_EYE
from tests.proof.irises import (
    BOOK,
    Look,
    Seen,
    angles_of,
    by_head,
    decide,
    direction,
    find_eyeballs,
    head_names,
    life_pupil_m,
    own_offset,
    read_gaze,
    report,
    tune,
    turn_eyes,
)
from tests.proof.material import HEADS_MISSING, heads_present, load_heads
from tests.proof.places import load_head

rendered = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)
SIDE_PX, LOOK_FOCAL_PX, DISTANCE_M = 400, 4000.0, 2.0
GAZES = [
    pytest.param(20.0, 0.0, id="right"),
    pytest.param(-30.0, 0.0, id="left"),
    pytest.param(0.0, 15.0, id="up"),
    pytest.param(10.0, -20.0, id="right and down"),
]


def draw_at(name: str, head: object, middle_m: np.ndarray, background: float = 0.0) -> np.ndarray:
    """A picture (h, w, 3) with a point of the head, in its own coordinates, in the middle."""
    heads = load_heads()
    camera = heads.Camera(SIDE_PX, SIDE_PX, LOOK_FOCAL_PX)
    x, y, z = middle_m - load_head(name).pivot
    plain = np.full((SIDE_PX, SIDE_PX, 3), background, np.float32)
    return np.asarray(heads.render(head, np.eye(3), camera, (-x, y, DISTANCE_M + z), plain), float)


def pupil_px(name: str, ahead: np.ndarray, number: int, literal: bool) -> np.ndarray:
    """Where the painted pupil (2,) of one eye appears, the eyeball drawn without its lids."""
    eye = (find_eyeballs(name) or ())[number]
    part = turn_eyes(name, np.tile(ahead, (2, 1)), literal).parts[eye.part]
    away = load_head(name).parts[eye.part].vertices - eye.middle_m
    near = away @ eye.ahead / np.linalg.norm(away, axis=1) > np.cos(np.radians(6.0))
    assert near.any()
    painted = replace(part, colour=np.outer(near, [0.0, 1.0, 0.0]), texture=np.full((2, 2, 4), 255, np.float32))
    # Lit evenly, so that the light does not shift the middle of what is painted.
    painted = replace(painted, normals=np.tile([0.3, 0.4, 0.85], (len(part.normals), 1)))
    green = draw_at(name, replace(load_head(name), parts=[painted]), eye.middle_m)[..., 1]
    row, column = np.indices(green.shape)
    return np.array([(column * green).sum(), (row * green).sum()]) / green.sum()


@rendered
@pytest.mark.parametrize(("across_deg", "up_deg"), GAZES)
@pytest.mark.parametrize("literal", [False, True])
@pytest.mark.parametrize("name", ["adult_a", "child_b"])
def test_iris_goes_as_far_as_it_should(name: str, literal: bool, across_deg: float, up_deg: float) -> None:
    eyes = find_eyeballs(name)
    assert eyes is not None
    for number, eye in enumerate(eyes):
        straight, turned = (pupil_px(name, direction(*gaze), number, literal) for gaze in ((0.0, 0.0), (across_deg, up_deg)))
        reach_m = eye.pupil_m if literal else life_pupil_m(name)
        # The person's right is at the left of the picture, and the picture's y points down.
        expected = direction(across_deg, up_deg)[:2] * [1, -1] * reach_m * LOOK_FOCAL_PX / DISTANCE_M
        assert turned - straight == pytest.approx(expected, abs=0.1 * float(np.linalg.norm(expected)))


@rendered
def test_turned_eyes_change_the_picture_within_the_lids_alone() -> None:
    eyes = find_eyeballs("adult_a")
    assert eyes is not None
    middle = (eyes[0].middle_m + eyes[1].middle_m) / 2
    straight, turned = (
        draw_at("adult_a", turn_eyes("adult_a", np.tile(direction(gaze, 0.0), (2, 1))), middle, 90.0) for gaze in (0.0, 20.0)
    )
    row, column = np.nonzero(np.abs(turned - straight).max(2) > 12)
    assert len(row) > 100
    to_eye = abs(eyes[1].middle_m[0] - middle[0]) * LOOK_FOCAL_PX / DISTANCE_M
    away = np.hypot(np.abs(column - SIDE_PX / 2) - to_eye, row - SIDE_PX / 2)
    assert away.max() < 0.018 * LOOK_FOCAL_PX / DISTANCE_M


@rendered
def test_heads_with_closed_eyes_are_left_out() -> None:
    assert find_eyeballs("scan_a") is None
    assert "scan_a" not in head_names()
    assert len(head_names()) == len(load_heads().names()) - 1
    with pytest.raises(ValueError, match=r"two eyeballs; 'scan_a' has none"):
        turn_eyes("scan_a", np.tile([0.0, 0.0, 1.0], (2, 1)))


def made_up(
    gaze_deg: tuple[float, float],
    look: Look = "on target",
    name: str = "one",
    constants: tuple[float, float, float, float] = BOOK,
    posture: tuple[float, float, float] = (8.0, -15.0, 6.0),
) -> Seen:
    """What would be seen of eyes that are as the constants say and look along a direction against the line of sight."""
    radius_cm, sunk_cm, up_share, up_deg = constants
    place_cm = np.array([12.0, -6.0, 80.0])
    sight_deg = np.array(line_of_sight(place_cm))
    rotation = posture_matrix(posture[0], posture[1] + sight_deg[0], posture[2] + sight_deg[1])
    ahead = rotation.T @ direction(*(np.array(gaze_deg) + sight_deg))
    across, up = angles_of(ahead)
    raised = direction(across, up / up_share + up_deg)
    face = load_canonical_face()
    corners = np.array([face.vertices_cm[list(eye)].mean(0) for eye in (RIGHT_EYE, LEFT_EYE)])
    origin = -(FACING @ rotation).T @ place_cm
    sight = corners - [0.0, 0.0, sunk_cm] + radius_cm * raised - origin
    in_head = angles_of(ahead)
    return Seen(name, look, 100.0, False, rotation, sight_deg, origin, sight, corners, posture[1], in_head, np.array(gaze_deg))


def clip_of(
    name: str, rng: np.random.Generator, constants: tuple[float, float, float, float] = BOOK, shift_deg: float = 0.0
) -> list[Seen]:
    """A clip whose pictures are on and off target, its true gaze moved by a shift so that readings are off by it."""
    pictures = []
    for k in range(60):
        size = rng.uniform(15, 30) if k % 2 else rng.uniform(0, 2)
        way = rng.uniform(0, 2 * np.pi)
        gaze = (float(size * np.cos(way)), float(size * np.sin(way)))
        posture = (float(rng.uniform(-20, 20)), float(rng.uniform(-12, 12)), float(rng.uniform(-10, 10)))
        seen = made_up(gaze, "off target" if k % 2 else "on target", name, constants, posture)
        pictures.append(replace(seen, gaze_deg=seen.gaze_deg - [shift_deg, 0.0]))
    pictures += [replace(picture, look="straight ahead") for picture in pictures[:8]]
    return pictures


@pytest.mark.parametrize("gaze_deg", [(0.0, 0.0), (18.0, 0.0), (-18.0, 0.0), (0.0, 14.0), (-10.0, -12.0)])
def test_gaze_that_is_known_is_read(gaze_deg: tuple[float, float]) -> None:
    seen = made_up(gaze_deg)
    in_head, against = read_gaze([seen])
    assert against[0] == pytest.approx(gaze_deg, abs=0.05)
    assert in_head[0] == pytest.approx(seen.in_head_deg, abs=0.05)


def test_iris_outside_of_its_sphere_is_read_as_its_edge() -> None:
    seen = made_up((0.0, 0.0), posture=(0.0, 0.0, 0.0))
    far = replace(seen, sight=seen.sight + np.array([3.0, 0.0, 0.0]))
    in_head, _ = read_gaze([far])
    assert np.isfinite(in_head).all()
    assert in_head[0, 0] < -60


def test_constants_of_other_eyes_are_learned() -> None:
    truth = (1.4, 0.4, 1.6, 3.0)
    assert tune(clip_of("one", np.random.default_rng(4), truth)) == pytest.approx(truth, abs=0.05)


def test_own_offset_is_the_median_of_what_is_mostly_on_target() -> None:
    seen = [made_up((0.0, 0.0))] * 5 + [made_up((20.0, 0.0), "off target")] * 5 + [made_up((50.0, 0.0), "straight ahead")] * 5
    values = np.array([[3.0, -2.0]] * 5 + [[23.0, -2.0]] * 5 + [[50.0, 50.0]] * 5)
    assert own_offset(seen, values) == pytest.approx([3.0, -2.0])


def test_decision_counts_what_is_kept_and_thrown_out() -> None:
    seen = [made_up((0.0, 0.0))] * 4 + [made_up((20.0, 0.0), "off target")] * 4
    gaze = np.array([[0, 0], [5, 5], [9, 0], [0, -9], [20, 0], [-8, 8], [3, 3], [0, 0]], float)
    assert decide(seen, gaze, 8.0) == (0.5, 0.5)
    assert decide(seen, gaze, 10.0) == (1.0, 0.5)
    assert decide(seen, gaze, 8.0, across_alone=True) == (0.75, 0.25)


def test_offset_of_a_person_is_taken_off_and_other_errors_are_not() -> None:
    seen = clip_of("one", np.random.default_rng(5), shift_deg=6.0)
    pictures, _, without = by_head(seen, "books", offset=False)
    _, _, with_own = by_head(seen, "books", offset=True)
    truth = np.array([s.gaze_deg for s in pictures])
    assert np.abs(without - truth).mean(0) == pytest.approx([6.0, 0.0], abs=0.05)
    # The offset is known no better than the eyes are held on the target.
    assert np.abs(with_own - truth)[:, 0].mean() > 4.0


@pytest.mark.parametrize(("sharp_cm", "soft_cm", "good"), [(0.0, 0.0, True), (0.6, 0.6, False), (0.0, 0.6, False)])
def test_rule_says_yes_to_gaze_that_is_right_and_no_to_noise(
    sharp_cm: float, soft_cm: float, good: bool, capsys: pytest.CaptureFixture[str]
) -> None:
    rng = np.random.default_rng(6)
    seen = [
        replace(picture, soft=soft, sight=picture.sight + rng.normal(0, noise_cm, (2, 3)) * [1, 1, 0])
        for name in ("adult_one", "adult_two", "child_one")
        for soft, noise_cm in ((False, sharp_cm), (True, soft_cm))
        for picture in clip_of(name, rng)
    ]
    assert report(seen) is good
    assert f"Good enough: {'yes' if good else 'no'}" in capsys.readouterr().out
