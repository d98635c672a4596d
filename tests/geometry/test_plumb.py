"""Roll and pitch from edges projected by exactly known cameras."""

import numpy as np
import pytest

from posture.geometry.angles import camera_matrix
from posture.geometry.fit import Camera
from posture.geometry.plumb import MOST_ROLL_SD_DEG, PITCH_FLOOR_DEG, PITCH_PRIOR_SD_DEG, ROLL_FLOOR_DEG, stand_from_lines

CAMERA = Camera(1280, 720, 1000.0)
TALL = Camera(720, 1280, 1000.0)
STANDS = [(0, 0), (12, 0), (-12, 0), (0, 15), (0, -15), (9, 18), (-14, -18), (14, -10), (-35, 5), (5, 28)]

Array = np.ndarray


def seen(ends_m: Array, roll_deg: float, pitch_deg: float, camera: Camera = CAMERA) -> Array:
    """Edges (n, 2, 3) of the level frame as lines (m, 4), those that lie in the picture."""
    points = ends_m @ camera_matrix(roll_deg, pitch_deg).T
    px = points[..., :2] / points[..., 2:] * camera.focal_px + camera.middle_px
    size = np.array([camera.width_px, camera.height_px])
    inside = (points[..., 2] > 0.1).all(1) & ((px > 0) & (px < size)).all((1, 2))
    return px[inside].reshape(-1, 4)


def plumb_edges(
    rng: np.random.Generator,
    n: int,
    pitch_deg: float = 0.0,
    lean_sd_deg: float = 0.0,
    headings_deg: tuple[float, float] = (-30, 30),
) -> Array:
    """Plumb edges (n, 2, 3) about where a camera pitched so looks, leaning to some side by chance."""
    heading, away = np.radians(rng.uniform(*headings_deg, n)), rng.uniform(1.5, 4.0, n)
    low = away * (np.tan(np.radians(pitch_deg)) + rng.uniform(-0.25, 0.25, n))
    foot = np.stack([away * np.sin(heading), low, away * np.cos(heading)], 1)
    lean = np.tan(np.radians(rng.normal(0, lean_sd_deg, (n, 2))))
    height = rng.uniform(0.3, 0.9, n)[:, None]
    return np.stack([foot, foot - height * np.stack([lean[:, 0], np.ones(n), lean[:, 1]], 1)], 1)


def level_edges(rng: np.random.Generator, n: int, wall_deg: float, pitch_deg: float = 0.0) -> Array:
    """Level edges (n, 2, 3) on a wall that recedes by so many degrees."""
    middle = np.stack(
        [rng.uniform(-0.8, 0.8, n), 3 * np.tan(np.radians(pitch_deg)) + rng.uniform(-0.8, 0.8, n), np.full(n, 3.0)], 1
    )
    half = rng.uniform(0.2, 0.5, n)[:, None] * [np.cos(np.radians(wall_deg)), 0.0, np.sin(np.radians(wall_deg))]
    return np.stack([middle - half, middle + half], 1)


def random_lines(rng: np.random.Generator, n: int) -> Array:
    """Lines (n, 4) of any slope and place."""
    middle, angle, half = rng.uniform([50, 50], [1230, 670], (n, 2)), rng.uniform(0, np.pi, n), rng.uniform(20, 90, n)
    way = half[:, None] * np.stack([np.cos(angle), np.sin(angle)], 1)
    return np.concatenate([middle - way, middle + way], 1)


@pytest.mark.parametrize(("roll", "pitch"), STANDS)
@pytest.mark.parametrize("camera", [CAMERA, TALL], ids=["wide", "tall"])
def test_exact_edges_give_the_exact_stand(roll: float, pitch: float, camera: Camera) -> None:
    rng = np.random.default_rng(1)
    edges = np.concatenate([plumb_edges(rng, 200, pitch), level_edges(rng, 40, 0.0, pitch)])
    lines = seen(edges, roll, pitch, camera)
    assert len(lines) > 10
    stand = stand_from_lines(lines, camera)
    assert stand is not None
    assert (stand.roll_deg, stand.pitch_deg) == pytest.approx((roll, pitch), abs=0.2)
    assert ROLL_FLOOR_DEG <= stand.roll_sd_deg < 0.5
    assert PITCH_FLOOR_DEG <= stand.pitch_sd_deg < 2


def test_roll_is_positive_when_the_picture_is_turned_counter_clockwise() -> None:
    """Upright bars turned counter-clockwise as you look at them: their tops go to the left."""
    lines = np.array([[x - 40, 60, x + 40, 660] for x in (200, 500, 800, 1100)], float)
    stand = stand_from_lines(lines, CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(np.degrees(np.arctan(80 / 600)), abs=0.1)
    assert stand.pitch_deg == pytest.approx(0, abs=0.1)


def test_pitch_is_positive_when_the_camera_looks_down() -> None:
    """Whoever looks down at plumb edges sees them draw together below."""
    lines = np.array([[x, 60, 639.5 + 0.8 * (x - 639.5), 660] for x in (200, 500, 800, 1100)], float)
    stand = stand_from_lines(lines, CAMERA)
    assert stand is not None
    assert stand.pitch_deg > 10
    assert stand.roll_deg == pytest.approx(0, abs=0.1)
    upside_down = lines.copy()
    upside_down[:, [1, 3]] = 719 - lines[:, [1, 3]]
    other = stand_from_lines(upside_down, CAMERA)
    assert other is not None
    assert other.pitch_deg == pytest.approx(-stand.pitch_deg, abs=0.1)


def test_ends_may_be_in_either_order_and_lines_in_any() -> None:
    rng = np.random.default_rng(2)
    lines = seen(plumb_edges(rng, 25, 8.0), -6.0, 8.0)
    swapped = lines[rng.permutation(len(lines))][:, [2, 3, 0, 1]]
    first, second = stand_from_lines(lines, CAMERA), stand_from_lines(swapped, CAMERA)
    assert first is not None
    assert second is not None
    assert (first.roll_deg, first.pitch_deg) == pytest.approx((second.roll_deg, second.pitch_deg), abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_noise_receding_shelves_and_clutter_do_not_mislead(seed: int) -> None:
    rng = np.random.default_rng((10, seed))
    roll, pitch = rng.uniform([-15, -18], [15, 18])
    edges = np.concatenate(
        [plumb_edges(rng, 25, pitch, 0.4), *(level_edges(rng, 12, wall, pitch) for wall in (0.0, 50.0, -65.0))]
    )
    lines = np.concatenate([seen(edges, roll, pitch), random_lines(rng, 15)])
    stand = stand_from_lines(lines + rng.normal(0, 0.5, lines.shape), CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(roll, abs=1.0)
    assert stand.pitch_deg == pytest.approx(pitch, abs=3.5)


@pytest.mark.parametrize("wall_deg", [0.0, 45.0, -70.0])
def test_level_edges_alone_decide_nothing(wall_deg: float) -> None:
    rng = np.random.default_rng(4)
    lines = seen(level_edges(rng, 60, wall_deg), 4.0, 0.0)
    assert len(lines) > 20
    assert stand_from_lines(lines, CAMERA) is None


def test_uncertainty_covers_the_truth() -> None:
    """Few or many edges, short or long, that lean by half a degree or by one and a half."""
    inside, sizes = [], []
    for seed in range(250):
        rng = np.random.default_rng((20, seed))
        roll, pitch = rng.uniform(-15, 15), rng.normal(0, PITCH_PRIOR_SD_DEG)
        lean, n = rng.choice([0.3, 0.6, 1.2]), int(rng.integers(5, 30))
        edges = np.concatenate([plumb_edges(rng, n, pitch, lean), level_edges(rng, 10, rng.uniform(-60, 60), pitch)])
        lines = seen(edges, roll, pitch)
        stand = stand_from_lines(lines + rng.normal(0, 0.4, lines.shape), CAMERA)
        if stand is not None:
            off = np.array([stand.roll_deg - roll, stand.pitch_deg - pitch])
            sd = np.array([stand.roll_sd_deg, stand.pitch_sd_deg])
            inside.append(np.abs(off) <= 1.96 * sd)
            sizes.append(sd)
    assert len(inside) > 150
    assert (np.mean(inside, 0) >= 0.92).all(), np.mean(inside, 0)
    assert (np.median(sizes, 0) < [0.9, 3.5]).all()


def test_a_narrow_strip_gives_roll_and_says_that_pitch_is_hardly_known() -> None:
    rng = np.random.default_rng(5)
    lines = seen(plumb_edges(rng, 30, 6.0, 0.2, headings_deg=(-5.0, 5.0)), -5.0, 6.0)
    stand = stand_from_lines(lines, CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(-5.0, abs=0.8)
    assert stand.pitch_sd_deg > 3
    wide = stand_from_lines(seen(plumb_edges(rng, 30, 6.0, 0.2), -5.0, 6.0), CAMERA)
    assert wide is not None
    assert wide.pitch_sd_deg < stand.pitch_sd_deg / 1.5


def test_both_sides_of_a_bar_and_pieces_of_it_count_once() -> None:
    """Five bars, drawn as one line each or as two sides in four pieces each: nothing more is known."""
    xs = np.array([100.0, 370.0, 640.0, 910.0, 1180.0])
    lean = np.array([2.0, -6.0, 4.0, 5.0, -3.0])
    whole = np.stack([xs, np.full(5, 40.0), xs + lean, np.full(5, 680.0)], 1)
    pieces = []
    for x, d in zip(xs, lean, strict=True):
        for side in (-5.0, 5.0):
            for k in range(4):
                a, b = 40 + 160 * k, 40 + 160 * k + 150
                pieces.append([x + side + d * (a - 40) / 640, a, x + side + d * (b - 40) / 640, b])
    one, many = stand_from_lines(whole, CAMERA), stand_from_lines(pieces, CAMERA)
    assert one is not None
    assert many is not None
    assert many.roll_sd_deg > 0.95 * one.roll_sd_deg
    assert many.roll_deg == pytest.approx(one.roll_deg, abs=0.1)


def test_a_wrong_focal_length_changes_pitch_in_proportion_and_roll_not() -> None:
    rng = np.random.default_rng(6)
    lines = seen(plumb_edges(rng, 40, 12.0), 7.0, 12.0)
    right, wrong = (stand_from_lines(lines, Camera(1280, 720, f)) for f in (1000.0, 1150.0))
    assert right is not None
    assert wrong is not None
    assert wrong.roll_deg == pytest.approx(right.roll_deg, abs=0.1)
    assert np.tan(np.radians(wrong.pitch_deg)) == pytest.approx(1.15 * np.tan(np.radians(12.0)), rel=0.03)


@pytest.mark.parametrize(
    "lines",
    [
        np.empty((0, 4)),
        [[100.0, 50.0, 100.0, 600.0]],
        [[100.0, 50.0, 100.0, 600.0], [104.0, 50.0, 104.0, 600.0], [108.0, 50.0, 108.0, 600.0], [112.0, 50.0, 112.0, 600.0]],
        [[x, 300.0, x, 330.0] for x in (100.0, 400.0, 700.0, 1000.0)],
        [[x + s, 0.0, x - s, 719.0] for x in range(100, 1200, 120) for s in (130.0, -130.0)],
        [[np.nan, 0.0, 5.0, 700.0]] * 6,
        [[300.0, 300.0, 300.0, 300.0]] * 6,
    ],
    ids=["none", "one", "one bar", "all short", "two bundles across each other", "not finite", "points"],
)
def test_what_is_not_worth_trusting_is_refused(lines) -> None:  # type: ignore[no-untyped-def]
    assert stand_from_lines(lines, CAMERA) is None


def test_a_forest_of_slanted_lines_is_refused() -> None:
    said = [stand_from_lines(random_lines(np.random.default_rng((30, k)), 60), CAMERA) for k in range(40)]
    assert sum(s is not None for s in said) <= 2


def test_a_leaning_ladder_and_one_jamb_are_not_enough() -> None:
    """Two rails, both sides of each, and a third line towards the point where they meet."""
    rails = np.array([[x + 150 + s, 40.0, x + s, 700.0] for x in (700.0, 850.0) for s in (-14.0, 14.0)])
    third = np.array([[300.0, 40.0, 140.0, 700.0]])
    assert stand_from_lines(np.concatenate([rails, third]), CAMERA) is None


def test_a_camera_rolled_far_needs_level_edges_that_confirm() -> None:
    rng = np.random.default_rng(7)
    plumb = seen(plumb_edges(rng, 40), -25.0, 0.0)
    assert stand_from_lines(plumb, CAMERA) is None
    stand = stand_from_lines(np.concatenate([plumb, seen(level_edges(rng, 30, 0.0), -25.0, 0.0)]), CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(-25.0, abs=0.3)


def test_two_jambs_need_level_edges_that_confirm() -> None:
    jambs = np.array([[300.0, 40.0, 300.0, 700.0], [760.0, 40.0, 760.0, 700.0]])
    assert stand_from_lines(jambs, CAMERA) is None
    level = np.array([[100.0, y, 1200.0, y] for y in (120.0, 400.0, 650.0)])
    stand = stand_from_lines(np.concatenate([jambs, level]), CAMERA)
    assert stand is not None
    assert stand.roll_deg == pytest.approx(0, abs=0.2)
    slanted = level + np.array([0.0, 60.0, 0.0, -60.0])
    assert stand_from_lines(np.concatenate([jambs, slanted]), CAMERA) is None


def test_edges_that_scatter_widely_are_refused_or_uncertain() -> None:
    sds = []
    for seed in range(30):
        rng = np.random.default_rng((40, seed))
        stand = stand_from_lines(seen(plumb_edges(rng, 14, 0.0, 5.0), 0.0, 0.0), CAMERA)
        if stand is not None:
            assert stand.roll_sd_deg <= MOST_ROLL_SD_DEG
            sds.append(stand.roll_sd_deg)
    assert len(sds) < 25
    assert not sds or np.median(sds) > 0.5


@pytest.mark.parametrize("lines", [np.zeros((3, 3)), np.zeros(4), np.zeros((2, 2, 2))])
def test_lines_of_a_wrong_shape_are_an_error(lines: Array) -> None:
    with pytest.raises(ValueError, match=r"shape \(n, 4\).*x0, y0, x1, y1"):
        stand_from_lines(lines, CAMERA)
