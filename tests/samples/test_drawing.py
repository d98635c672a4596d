"""The drawn child is where it is said to be, the same left and right, and readable for the landmark model."""

from __future__ import annotations

from dataclasses import replace

import cv2
import numpy as np
import pytest

from posture.face.model import load_canonical_face, load_model_bytes
from posture.geometry.angles import FACING, camera_matrix, posture_angles, posture_matrix, to_level
from posture.samples import CHILDREN, render_child
from posture.samples.head import child_face, hair_mesh, head_mesh
from posture.samples.motion import Hold, Stay, follow_holds
from posture.samples.place import CM, DEFAULT_PLACE_M, pivot_from_place, place_from_pivot
from posture.samples.raster import Layer, Mesh, Tints, draw_mesh
from posture.samples.room import project

FOCAL_PX = 769.0
WHOLE_LIGHT = Tints(shadow=(1.0, 1.0, 1.0), lamp=(0.0, 0.0, 0.0))


def test_child_face_is_the_same_left_and_right():
    face = child_face()
    mirrored = face * [-1.0, 1.0, 1.0]
    nearest = np.linalg.norm(mirrored[:, None] - face[None], axis=-1).min(1)
    assert nearest.max() < 1e-9
    # And near the canonical face, or its rotation would mean something else.
    assert np.linalg.norm(face - load_canonical_face().vertices_cm, axis=1).max() < 1.0


@pytest.mark.parametrize("mesh", [head_mesh(), hair_mesh("short"), hair_mesh("long")], ids=["head", "short", "long"])
def test_meshes_face_outwards(mesh):
    a, b, c = (mesh.vertices_cm[mesh.triangles[:, k]] for k in range(3))
    normals = np.cross(b - a, c - a)
    outwards = (a + b + c) / 3 - [0.0, 1.0, -4.0]
    assert ((normals * outwards).sum(1) > 0).mean() > 0.9
    assert np.linalg.norm(mesh.normals, axis=1) == pytest.approx(1.0, abs=1e-6)


@pytest.mark.parametrize("child", list(CHILDREN.values()), ids=list(CHILDREN))
def test_head_is_drawn_the_same_left_and_right(child):
    x, y, z = DEFAULT_PLACE_M
    picture = render_child(0.0, 0.0, 0.0, child=child, place_m=(x, y, z)).astype(int)
    # The room behind differs left and right: only the middle of the face and the trunk are compared.
    head = picture[90:300, 427 - 55 : 427 + 55]
    difference = np.abs(head - head[:, ::-1])
    assert difference.mean() < 1.5
    assert np.percentile(difference, 99) < 25
    turned = render_child(0.0, 12.0, 0.0, child=child).astype(int)[90:300, 427 - 55 : 427 + 55]
    assert np.abs(turned - turned[:, ::-1]).mean() > 6.0


def test_mirrored_posture_is_the_mirrored_picture():
    child = CHILDREN["red"]
    right = render_child(11.0, 16.0, -8.0, child=child).astype(int)
    left = render_child(-11.0, -16.0, -8.0, child=child).astype(int)[:, ::-1]
    difference = np.abs(right - left)[110:280, 427 - 45 : 427 + 45]
    assert difference.mean() < 2.5


def test_whole_picture_turns_with_the_camera():
    """A camera roll turns the picture about its middle, counter-clockwise when positive."""
    level = render_child(5.0, 0.0, 0.0)
    rolled = render_child(5.0, 0.0, 0.0, roll_deg=8.0)
    turn = cv2.getRotationMatrix2D((426.5, 239.5), 8.0, 1.0)
    expected = cv2.warpAffine(level, turn, (854, 480), flags=cv2.INTER_LINEAR)
    inside = np.s_[110:370, 250:600]
    assert np.abs(expected.astype(int) - rolled.astype(int))[inside].mean() < 3.0


def test_pitched_camera_moves_the_head_up():
    level, above = (render_child(0.0, 0.0, 0.0, pitch_deg=pitch) for pitch in (0.0, 10.0))
    places = [project(np.array([DEFAULT_PLACE_M]), 854, 480, FOCAL_PX, 0.0, pitch)[0][0] for pitch in (0.0, 10.0)]
    assert places[1][1] < places[0][1] - 100
    shift = round(places[0][1] - places[1][1])
    assert np.abs(level.astype(int) - above.astype(int)).mean() > 10
    # The nose at its new place is coloured like the nose at its old one.
    nose = level[round(places[0][1]) + 5, 427].astype(int)
    assert np.abs(above[round(places[0][1]) + 5 - shift, 427].astype(int) - nose).max() < 40


def test_noise_is_seeded():
    first, again, other = (render_child(0.0, 0.0, 0.0, noise_seed=seed) for seed in (4, 4, 5))
    assert np.array_equal(first, again)
    assert not np.array_equal(first, other)
    assert 1.0 < (first.astype(int) - other.astype(int)).std() < 4.0


def test_place_and_pivot_are_each_other_s_reverse():
    rotation = posture_matrix(-14.0, 20.0, -11.0)
    place = np.array([0.1, -0.05, 0.9])
    assert place_from_pivot(rotation, pivot_from_place(rotation, place)) == pytest.approx(place, abs=1e-12)


def test_projected_points_give_the_posture_back():
    """The way from posture to pixels is the one that the rest of the package reads backwards."""
    rotation, place, roll, pitch = posture_matrix(-14.0, 18.0, -9.0), np.array([0.08, -0.05, 0.8]), 6.0, -7.0
    face = child_face()
    points, _ = project(place + face * CM @ (FACING @ rotation).T, 854, 480, FOCAL_PX, roll, pitch)
    camera = np.array([[FOCAL_PX, 0.0, 427.0], [0.0, FOCAL_PX, 240.0], [0.0, 0.0, 1.0]])
    _, vector, shift = cv2.solvePnP(face * CM, points, camera, None, flags=cv2.SOLVEPNP_SQPNP)
    read, place_read = to_level(FACING @ cv2.Rodrigues(vector)[0], shift[:, 0], roll, pitch)
    assert [float(a) for a in posture_angles(read)] == pytest.approx([-14.0, 18.0, -9.0], abs=1e-3)
    assert place_read == pytest.approx(place, abs=1e-5)
    assert not np.allclose(camera_matrix(roll, pitch), np.eye(3))


def test_eyes_and_trunk_stay_when_the_head_tilts():
    """The trunk does not move while the head turns about its pivot."""
    pivot = pivot_from_place(np.eye(3), DEFAULT_PLACE_M)
    pictures = []
    for tilt in (0.0, 15.0):
        x, y, z = place_from_pivot(posture_matrix(tilt, 0.0, 0.0), pivot).tolist()
        pictures.append(render_child(tilt, 0.0, 0.0, place_m=(x, y, z)).astype(int))
    assert np.array_equal(pictures[0][330:], pictures[1][330:])
    assert np.abs(pictures[0][90:250] - pictures[1][90:250]).mean() > 3


@pytest.mark.parametrize(("side", "other"), [("right", "left"), ("left", "right")])
@pytest.mark.parametrize("turn_deg", [0.0, 15.0, -15.0])
def test_patch_covers_the_person_s_own_eye(side, other, turn_deg):
    """The person's right eye is on the left of the picture."""
    plain, patched = (render_child(-3.0, turn_deg, 0.0, covered_eye=covered).astype(int) for covered in (None, side))
    rotation, face = posture_matrix(-3.0, turn_deg, 0.0), child_face()
    places = {}
    for name, corners in (("right", (33, 133)), ("left", (263, 362))):
        middle = face[list(corners)].mean(0)[None] * CM @ (FACING @ rotation).T + DEFAULT_PLACE_M
        places[name] = np.rint(project(middle, 854, 480, FOCAL_PX)[0][0]).astype(int)
    assert places["right"][0] < places["left"][0]
    changed = np.abs(plain - patched).max(-1)
    (x, y), (far_x, far_y) = places[side], places[other]
    eye = np.s_[y - 7 : y + 8, x - 7 : x + 8]
    assert (changed[eye] > 10).mean() > 0.7
    # No iris and no white is left: one even cloth.
    assert patched[eye].std((0, 1)).max() < 0.6 * plain[eye].std((0, 1)).max()
    assert changed[far_y - 12 : far_y + 13, far_x - 12 : far_x + 13].max() == 0
    assert changed[300:].max() == 0


def test_patch_is_mirrored_with_the_child():
    child = CHILDREN["blue"]
    right = render_child(6.0, 9.0, -4.0, child=child, covered_eye="right").astype(int)
    left = render_child(-6.0, -9.0, -4.0, child=child, covered_eye="left").astype(int)[:, ::-1]
    assert np.abs(right - left)[110:280, 427 - 45 : 427 + 45].mean() < 2.5


def test_broader_child_has_the_same_head():
    usual, broad = (render_child(0.0, 0.0, 0.0, child=replace(CHILDREN["blue"], breadth=b)).astype(int) for b in (1.0, 1.14))
    changed = np.abs(usual - broad).max(-1)
    assert changed[:255].max() == 0
    across = [np.ptp(np.flatnonzero(np.abs(picture[350, 250:590] - [70, 112, 176]).sum(-1) < 90)) for picture in (usual, broad)]
    assert across[1] == pytest.approx(1.14 * across[0], rel=0.05)


def _flat_mesh(corners: list[list[float]]) -> tuple[Mesh, np.ndarray]:
    """A mesh whose places on the canvas are given directly."""
    points = np.array(corners)
    triangles = np.array([[0, 1, 2]])
    return Mesh(np.zeros((3, 3)), np.zeros((3, 3)), np.array([[0.25, 0.5]] * 3), triangles), points


@pytest.mark.parametrize(
    ("corners", "facing", "painted"),
    [
        pytest.param([[2, 17], [17, 17], [2, 2]], "front", True, id="counter-clockwise is the front"),
        pytest.param([[2, 2], [17, 17], [2, 17]], "front", False, id="clockwise is not"),
        pytest.param([[2, 2], [17, 17], [2, 17]], "back", True, id="the back, asked for"),
        pytest.param([[30, 40], [60, 40], [30, 30]], "front", False, id="outside the canvas"),
    ],
)
def test_draw_mesh_faces(corners, facing, painted):
    mesh, points = _flat_mesh(corners)
    canvas = np.zeros((20, 20, 3), np.uint8)
    texture = np.full((4, 4, 3), (200, 100, 50), np.uint8)
    draw_mesh(canvas, points, np.ones(3), np.ones(3), mesh, texture, WHOLE_LIGHT, facing)
    assert canvas.any() == painted
    if painted:
        assert canvas[14, 4].tolist() == pytest.approx([200, 100, 50], abs=2)
        assert not canvas[3, 16].any()


def test_draw_mesh_paints_the_nearer_triangle_last():
    points = np.array([[2.0, 17], [17, 17], [2, 2]] * 2)
    uv = np.array([[0.2, 0.5]] * 3 + [[0.8, 0.5]] * 3)
    texture = np.zeros((2, 10, 3), np.uint8)
    texture[:, :5] = (255, 0, 0)
    texture[:, 5:] = (0, 0, 255)
    mesh = Mesh(np.zeros((6, 3)), np.zeros((6, 3)), uv, np.array([[0, 1, 2], [3, 4, 5]]))
    for depth, colour in (([1.0] * 3 + [2.0] * 3, [255, 0, 0]), ([2.0] * 3 + [1.0] * 3, [0, 0, 255])):
        canvas = np.zeros((20, 20, 3), np.uint8)
        draw_mesh(canvas, points, np.array(depth), np.ones(6), mesh, texture, WHOLE_LIGHT)
        assert canvas[14, 4].tolist() == pytest.approx(colour, abs=2)


def test_empty_layer_changes_nothing():
    canvas = np.full((6, 6, 3), 9, np.uint8)
    Layer.cut_from(np.zeros((6, 6, 4), np.uint8)).lay_over(canvas)
    assert (canvas == 9).all()


def test_motion_needs_a_hold():
    with pytest.raises(ValueError, match="Expected at least one hold"):
        follow_holds([], Stay(0.0, 1.0), 15.0, 1.0, np.random.default_rng(0))


def test_motion_holds_and_moves():
    holds = [Hold(2.0, -10.0, 0.0, 0.0), Hold(2.0, 10.0, 5.0, -5.0)]
    motion = follow_holds(holds, Stay(0.0, 4.5), 30.0, 4.5, np.random.default_rng(1))
    assert np.median(motion.tilt_deg[motion.time_s < 1.9]) == pytest.approx(-10.0, abs=0.6)
    assert np.median(motion.tilt_deg[motion.time_s > 2.8]) == pytest.approx(10.0, abs=0.6)
    moving_s = (~motion.steady).sum() / 30.0
    assert 0.25 < moving_s < 0.75
    still = motion.tilt_deg[motion.time_s < 1.9]
    assert np.abs(np.diff(still)).max() * 30.0 < 2.0


def test_motion_takes_the_time_that_a_hold_gives_for_its_move():
    holds = [Hold(1.0, 0.0, 0.0, 0.0), Hold(1.0, 20.0, 0.0, 0.0, move_s=2.0), Hold(9.0, 0.0, 0.0, 0.0, move_s=1.0)]
    motion = follow_holds(holds, Stay(0.0, 6.0), 30.0, 6.0, np.random.default_rng(2))
    moving = motion.time_s[~motion.steady]
    assert moving[moving < 3.5].min() == pytest.approx(1.0, abs=0.05)
    assert moving[moving < 3.5].max() == pytest.approx(3.0, abs=0.05)
    assert moving.max() == pytest.approx(5.0, abs=0.05)


@pytest.mark.parametrize("angles", [(0.0, 0.0, -5.0), (-14.0, -8.0, -11.0), (12.0, -15.0, -5.0)], ids=str)
def test_landmark_model_reads_a_still(angles):
    """Read by the landmark model and one rigid fit, as a reader without any of this package's own code would."""
    mp = pytest.importorskip("mediapipe")
    vision = mp.tasks.vision
    options = vision.FaceLandmarkerOptions(
        base_options=mp.tasks.BaseOptions(model_asset_buffer=load_model_bytes()), running_mode=vision.RunningMode.IMAGE
    )
    picture = render_child(*angles, noise_seed=1)
    with vision.FaceLandmarker.create_from_options(options) as landmarker:
        found = landmarker.detect(mp.Image(image_format=mp.ImageFormat.SRGB, data=picture)).face_landmarks
    assert len(found) == 1
    face = load_canonical_face()
    points = np.array([[found[0][i].x * 854, found[0][i].y * 480] for i in face.pose_index])
    camera = np.array([[FOCAL_PX, 0.0, 427.0], [0.0, FOCAL_PX, 240.0], [0.0, 0.0, 1.0]])
    model = face.vertices_cm[face.pose_index]
    _, vector, shift = cv2.solvePnP(model, points, camera, None, flags=cv2.SOLVEPNP_SQPNP)
    vector, shift = cv2.solvePnPRefineLM(model, points, camera, None, vector, shift)
    tilt, turn, chin = (float(a) for a in posture_angles(FACING @ cv2.Rodrigues(vector)[0]))
    assert tilt == pytest.approx(angles[0], abs=1.0)
    assert turn == pytest.approx(angles[1], abs=2.5)
    # The model finds the chin of this face about three degrees lower than the canonical one's.
    assert chin + 3.0 == pytest.approx(angles[2], abs=3.0)
