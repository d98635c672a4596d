"""Rendered heads are made as uneven as is said, and what the proof counts is right; the figures are printed by the program."""

import numpy as np
import pytest

from posture.geometry.face_lines import symmetry_of_corners
from tests.proof.material import HEADS_MISSING, heads_present
from tests.proof.places import find_places, load_head
from tests.proof.symmetry import (
    ANGLES_DEG,
    AS_IT_IS,
    SHIFT_SIZES,
    SHIFTED,
    SHRUNK,
    SIZES,
    SLOPED,
    Face,
    all_ways,
    errors,
    even_corners,
    least,
    make_uneven,
    share_seen,
    watch_head,
)

rendered = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)


def face(name: str, kind: str, true: float, read: float) -> Face:
    return Face(name, kind, np.array([true, 0.0]), np.array([[read, 0.0]] * 3), np.zeros((3, 2)))


def test_share_seen_and_errors_of_heads_left_out() -> None:
    faces = [face(name, kind, t, 0.8 * t) for name in "ab" for kind, t in ((AS_IT_IS, 0.0), (SLOPED, 4.0), (SLOPED, -4.0))]
    assert share_seen(faces, 0) == pytest.approx(0.8)
    assert errors(faces, 0) == pytest.approx(np.zeros(6), abs=1e-9)
    # A head that shows all of it is off by a quarter when learned on one that shows eight tenths.
    odd = [*faces[:3], face("c", SLOPED, 4.0, 4.0)]
    assert errors(odd, 0)[-1] == pytest.approx(1.0)


def test_least_value_is_just_told_from_an_even_face() -> None:
    assert least(0.8, 0.0) == pytest.approx(1.568, abs=0.001)
    assert 1.6 < least(0.8, 0.13) < 1.7


@rendered
def test_heads_are_made_as_uneven_as_is_said() -> None:
    ways = all_ways("adult_a")
    by_kind = {kind: [way.true for way in ways if way.kind == kind] for kind in (SHRUNK, SLOPED, SHIFTED)}
    assert sorted(np.exp(true[1]) for true in by_kind[SHRUNK]) == pytest.approx(
        sorted([*SIZES, *(1 / s for s in SIZES)]), abs=0.001
    )
    assert sorted(true[0] for true in by_kind[SLOPED]) == pytest.approx(
        sorted([*ANGLES_DEG, *(-a for a in ANGLES_DEG)]), abs=0.05
    )
    assert sorted(np.exp(true[1]) for true in by_kind[SHIFTED]) == pytest.approx(
        sorted([*SHIFT_SIZES, *(1 / s for s in SHIFT_SIZES)]), abs=0.003
    )
    assert [true[0] for true in by_kind[SHIFTED]] == pytest.approx([0.0] * 4, abs=1e-6)
    assert ways[0].kind == AS_IT_IS
    assert ways[0].true == pytest.approx(np.zeros(2), abs=1e-9)


@rendered
def test_points_of_the_mesh_move_with_the_corners_and_the_trunk_stays() -> None:
    head = load_head("adult_a")
    way = next(way for way in all_ways("adult_a") if way.kind == SLOPED and way.true[0] == pytest.approx(6.0, abs=0.1))
    uneven = make_uneven(head, way.move)
    corners = even_corners(find_places("adult_a"))
    moved = way.move(corners)
    assert symmetry_of_corners(moved[:, :2]).angle_deg == pytest.approx(6.0, abs=0.1)
    nearest = []
    for before, after in zip(head.parts, uneven.parts, strict=True):
        fixed = before.head_weight == 0
        assert np.array_equal(before.vertices[fixed], after.vertices[fixed])
        nearest.append(after.vertices - before.vertices)
    shifts, points = np.concatenate(nearest), np.concatenate([part.vertices - head.pivot for part in head.parts])
    at = [int(((points - corner) ** 2).sum(1).argmin()) for corner in corners]
    assert shifts[at] == pytest.approx(moved - corners, abs=0.0007)
    # Neither eyes nor forehead.
    assert np.abs(shifts[points[:, 1] > corners[0, 1]]).max() == 0


@rendered
def test_sloped_mouth_is_seen_as_sloped_to_its_side(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        "tests.proof.symmetry.all_ways", lambda name: [w for w in all_ways(name) if abs(w.true[0]) > 5.5 and w.kind == SLOPED]
    )
    one, other = watch_head("adult_d", 2)
    assert one.middle[0] - other.middle[0] == pytest.approx(0.8 * (one.true[0] - other.true[0]), abs=2.0)
    assert one.middle[1] < other.middle[1] if one.true[1] < other.true[1] else one.middle[1] > other.middle[1]
