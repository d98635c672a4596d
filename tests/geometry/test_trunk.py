"""The shoulder line of points whose place in space is known: lean, camera, turn, shift, refusals, and what is carried between looks."""

import numpy as np
import pytest

from posture.geometry.angles import FACING, camera_matrix, posture_matrix
from posture.geometry.fit import Camera
from posture.geometry.trunk import (
    ARM,
    HEAD_FOLLOW,
    LEAST_WIDTH_CM,
    MOST_TURN_DEG,
    REACH_S,
    REASONS,
    SD_DEG,
    SKULL_CM,
    SMALL,
    STRAY,
    TURN_SHARE,
    TURNED,
    UNSEEN,
    USUAL_WIDTH_CM,
    Trunk,
    read_trunk,
)

CAMERA = Camera(1280, 720, 1000.0)
HALF_WIDTH_CM, NECK_CM, NECK_BEND_CM = 16.0, 15.0, 10.0
"""Half the width of the shoulders, and how far the middle between the ears lies over their line and over where the neck bends."""

Array = np.ndarray
Numbers = float | Array


class Sitter:
    """Somebody whose shoulders and head are placed in the level frame, before a camera that may be rolled and pitched."""

    def __init__(self, n: int = 1, rate_hz: float = 15.0) -> None:
        self.n, self.time_s = n, np.arange(n) / rate_hz
        self.lean_deg: Numbers = 0.0
        self.turn_deg: Numbers = 0.0
        self.head_deg: Numbers = 0.0
        self.shift_cm: Numbers = 0.0
        self.place_cm: tuple[float, float, float] = (0.0, 0.0, 90.0)
        self.half_width_cm = HALF_WIDTH_CM
        self.roll_deg = self.pitch_deg = 0.0
        self.looked = np.ones(n, bool)
        self.seen = np.ones(n, bool)
        self.arm = np.zeros(n)

    def read(self) -> Trunk:
        """What the reading makes of it."""
        lean, turn, head, shift = (np.broadcast_to(np.asarray(a, float), self.n) for a in (
            self.lean_deg, self.turn_deg, self.head_deg, self.shift_cm
        ))  # fmt: skip
        trunk, to_camera = posture_matrix(lean, turn, 0.0), camera_matrix(self.roll_deg, self.pitch_deg)
        middle = np.array(self.place_cm)
        ends = [FACING @ trunk @ [side * self.half_width_cm, 0, 0] + middle for side in (-1, 1)]
        in_camera = np.stack(ends, 1) @ to_camera.T
        points = in_camera[..., :2] / in_camera[..., 2:] * CAMERA.focal_px + CAMERA.middle_px
        facing = FACING @ to_camera @ FACING
        rotation = facing @ posture_matrix(head, 0.0, 0.0)
        # The head sits on the trunk's own axis, bends where the neck bends, and is shifted along the shoulders.
        up = np.array([0.0, NECK_CM - NECK_BEND_CM, 0.0])
        along = np.stack([-shift, np.zeros(self.n), np.zeros(self.n)], 1)
        bend = (trunk @ (up + along)[..., None])[..., 0]
        ears = bend + (posture_matrix(head, 0.0, 0.0) @ [0.0, NECK_BEND_CM, 0.0])
        place = (ears @ FACING + middle) @ to_camera.T - (FACING @ rotation @ np.array(SKULL_CM))
        sight = np.degrees(np.arctan2(*(to_camera @ middle)[[0, 2]]))
        head_turn = np.degrees(np.arctan2(rotation[:, 2, 0], rotation[:, 0, 0]))
        head_sight = np.degrees(np.arctan2(place[:, 0], place[:, 2]))
        # The model's own turn as it would come out if it were as it was learned to be.
        depth_turn = (turn - sight) / TURN_SHARE + HEAD_FOLLOW * (head_turn - head_sight)
        shown = self.looked & self.seen
        return read_trunk(
            self.time_s,
            np.where(shown[:, None, None], points, np.nan),
            np.where(shown, depth_turn, np.nan),
            np.where(self.looked, self.arm, np.nan),
            rotation,
            place,
            CAMERA,
            self.roll_deg,
            self.pitch_deg,
        )


@pytest.mark.parametrize("lean_deg", [-15.0, 0.0, 12.0])
@pytest.mark.parametrize(("roll_deg", "pitch_deg"), [(0, 0), (10, 0), (-8, 0), (0, 10), (7, -10)])
@pytest.mark.parametrize("turn_deg", [0.0, 8.0])
@pytest.mark.parametrize("place_cm", [(0.0, 0.0, 90.0), (14.0, 12.0, 110.0)], ids=["middle", "aside"])
def test_lean_is_read_in_the_level_frame(
    lean_deg: float, roll_deg: float, pitch_deg: float, turn_deg: float, place_cm: tuple[float, float, float]
) -> None:
    sitter = Sitter()
    sitter.lean_deg, sitter.turn_deg, sitter.place_cm = lean_deg, turn_deg, place_cm
    sitter.roll_deg, sitter.pitch_deg = roll_deg, pitch_deg
    assert sitter.read().tilt_deg[0] == pytest.approx(lean_deg, abs=0.9)


def test_pitch_under_a_turned_trunk_is_no_lean() -> None:
    sitter = Sitter()
    sitter.turn_deg, sitter.pitch_deg = 10.0, 20.0
    level = sitter.read().tilt_deg[0]
    assert level == pytest.approx(0.0, abs=0.3)


@pytest.mark.parametrize("head_deg", [-25.0, 20.0])
def test_head_alone_does_not_lean_the_shoulders(head_deg: float) -> None:
    sitter = Sitter()
    sitter.head_deg, sitter.lean_deg = head_deg, 6.0
    assert sitter.read().tilt_deg[0] == pytest.approx(6.0, abs=0.3)


@pytest.mark.parametrize("shift_cm", [-4.0, 0.0, 3.0])
@pytest.mark.parametrize("lean_deg", [0.0, 12.0])
@pytest.mark.parametrize("roll_deg", [0.0, 9.0])
def test_shift_is_a_share_of_the_width_and_positive_to_the_right(shift_cm: float, lean_deg: float, roll_deg: float) -> None:
    sitter = Sitter()
    sitter.shift_cm, sitter.lean_deg, sitter.roll_deg = shift_cm, lean_deg, roll_deg
    # The head stands upright on the leaning trunk as far as its own posture goes, so it is bent back against the lean.
    sitter.head_deg = lean_deg
    assert sitter.read().shift_share[0] == pytest.approx(shift_cm / (2 * HALF_WIDTH_CM), abs=0.01)


@pytest.mark.parametrize("head_deg", [-20.0, 10.0])
def test_pure_tilt_shifts_by_the_height_over_the_bend(head_deg: float) -> None:
    sitter = Sitter()
    sitter.head_deg = head_deg
    moved_cm = NECK_BEND_CM * np.sin(np.radians(head_deg))
    assert sitter.read().shift_share[0] == pytest.approx(moved_cm / (2 * HALF_WIDTH_CM), abs=0.01)


def test_mirrored_picture_negates_tilt_and_shift() -> None:
    """What a caller relies on who negates both."""
    values = []
    for sign in (1, -1):
        sitter = Sitter()
        sitter.lean_deg, sitter.head_deg, sitter.shift_cm, sitter.turn_deg = sign * 9.0, sign * 14.0, sign * 2.0, sign * 6.0
        sitter.place_cm, sitter.roll_deg, sitter.pitch_deg = (sign * 12.0, 4.0, 95.0), sign * 5.0, 6.0
        trunk = sitter.read()
        values.append((trunk.tilt_deg[0], trunk.shift_share[0]))
    assert values[1] == pytest.approx((-values[0][0], -values[0][1]))


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        pytest.param({"seen": np.array([False])}, UNSEEN, id="unseen"),
        pytest.param({"arm": np.array([1.0])}, ARM, id="arm"),
        pytest.param({"turn_deg": MOST_TURN_DEG + 1}, TURNED, id="turned right"),
        pytest.param({"turn_deg": -MOST_TURN_DEG - 1}, TURNED, id="turned left"),
        pytest.param({"half_width_cm": LEAST_WIDTH_CM / 2 - 1}, SMALL, id="baby"),
    ],
)
def test_refusals(change: dict[str, object], reason: str) -> None:
    sitter = Sitter()
    for name, value in change.items():
        setattr(sitter, name, value)
    trunk = sitter.read()
    assert np.isnan(trunk.tilt_deg).all()
    assert np.isnan(trunk.shift_share).all()
    assert trunk.refused == {name: float(name == reason) for name in REASONS}
    assert np.isnan(trunk.sd_deg)


def test_shares_are_of_the_frames_that_were_looked_at() -> None:
    sitter = Sitter(40)
    sitter.looked = np.arange(40) % 5 == 0
    sitter.arm[[5, 10]], sitter.seen[0] = 1.0, False
    # Frames that were not looked at say nothing, whatever they hold.
    sitter.arm[[1, 2, 3]] = 1.0
    assert sitter.read().refused == {UNSEEN: 1 / 8, ARM: 2 / 8, TURNED: 0.0, SMALL: 0.0, STRAY: 0.0}


def test_looks_are_carried_to_every_frame_and_smoothed() -> None:
    rng = np.random.default_rng(4)
    sitter = Sitter(300)
    truth = 8.0 * np.sin(2 * np.pi * sitter.time_s / 15.0)
    noise = np.zeros(300)
    sitter.looked = np.arange(300) % 6 == 0
    noise[sitter.looked] = rng.normal(0, 1.5, sitter.looked.sum())
    sitter.lean_deg = truth + noise
    error = sitter.read().tilt_deg - truth
    assert not np.isnan(error).any()
    assert np.sqrt((error**2).mean()) < 1.2


def test_stray_look_is_left_out() -> None:
    sitter = Sitter(60)
    sitter.looked = np.arange(60) % 6 == 0
    lean = np.full(60, 5.0)
    lean[30] = 25.0
    sitter.lean_deg = lean
    trunk = sitter.read()
    assert trunk.refused[STRAY] == pytest.approx(1 / 10)
    kept = np.isfinite(trunk.tilt_deg)
    assert trunk.tilt_deg[kept] == pytest.approx(5.0, abs=0.3)
    assert not kept[30]


def test_nothing_is_carried_farther_than_the_reach_or_over_a_refusal() -> None:
    sitter = Sitter(90)
    sitter.looked = np.isin(np.arange(90), [0, 60, 66])
    sitter.arm[66] = 1.0
    away = np.abs(sitter.time_s[:, None] - sitter.time_s[[0, 60]]).min(1)
    nearer_to_the_arm = np.abs(sitter.time_s - sitter.time_s[66]) < np.abs(sitter.time_s - sitter.time_s[60])
    assert np.array_equal(np.isfinite(sitter.read().tilt_deg), (away <= REACH_S + 1e-9) & ~nearer_to_the_arm)


def test_nothing_looked_at_gives_nothing() -> None:
    sitter = Sitter(5)
    sitter.looked[:] = False
    trunk = sitter.read()
    assert np.isnan(trunk.tilt_deg).all()
    assert trunk.refused == dict.fromkeys(REASONS, 0.0)


@pytest.mark.parametrize(
    ("width_cm", "times"),
    [(USUAL_WIDTH_CM + 3, 1.0), ((USUAL_WIDTH_CM + LEAST_WIDTH_CM) / 2, 1.5), (LEAST_WIDTH_CM + 0.5, 1.9)],
)
def test_standard_deviation_is_wider_for_narrow_shoulders(width_cm: float, times: float) -> None:
    sitter = Sitter()
    sitter.half_width_cm = width_cm / 2
    assert sitter.read().sd_deg == pytest.approx(times * SD_DEG, rel=0.08)


def test_shapes_must_fit() -> None:
    n = 3
    good = [np.zeros(n), np.zeros((n, 2, 2)), np.zeros(n), np.zeros(n), np.tile(np.eye(3), (n, 1, 1)), np.ones((n, 3))]
    for index, name in ((1, "shoulders_px"), (2, "shoulders_turn_deg"), (3, "arm_raised"), (4, "rotation"), (5, "place")):
        bad = list(good)
        bad[index] = bad[index][:2]
        with pytest.raises(ValueError, match=rf"Expected {name} of shape \({n},.*for 3 times; \(2,"):
            read_trunk(*bad, CAMERA)  # type: ignore[call-arg, arg-type]
