"""Faces off the axis and focal lengths that are wrong, in a reduced version; the full list is ``python -m tests.proof.lens``."""

from collections.abc import Sequence

import numpy as np
import pytest

from posture.geometry.lens import lens_of
from tests.proof import lens
from tests.proof.lens import Shot, Wrong, believe, errors, view_focal_px
from tests.proof.material import HEADS_MISSING, heads_present

needs_heads = pytest.mark.skipif(not heads_present(), reason=HEADS_MISSING)

HEAD = "adult_b"


def shots_at(where: str, focal_px: float, count: int = 4, distance_m: float | None = None) -> Sequence[Shot]:
    away = lens.distance_for(HEAD, lens.FACE_PX, focal_px) if distance_m is None else distance_m
    return list(lens.shoot(HEAD, where, focal_px, away, count, seed=5))


@needs_heads
@pytest.mark.parametrize("view_deg", lens.VIEWS_DEG)
def test_face_at_the_edge_is_read_as_well_as_in_the_middle(view_deg: float) -> None:
    focal = view_focal_px(view_deg)
    middle, edge = (shots_at(where, focal, count=8) for where in ("middle", "edge"))
    assert len(middle) == len(edge) == 8
    off = [abs(shot.face.centre_px[0] - 639.5) / focal for shot in edge]
    assert np.degrees(np.arctan(min(off))) > 0.4 * view_deg
    sizes = [np.abs(errors(HEAD, shots)).mean(0) for shots in (middle, edge)]
    # Eight pictures of one head scatter by as much as this.
    assert (sizes[1] <= sizes[0] + [0.5, 1.3, 1.0]).all()
    assert (sizes[1] < [1.0, 2.2, 2.5]).all()


@needs_heads
def test_without_the_line_of_sight_the_edge_would_read_as_turned() -> None:
    """That the picture is wide matters: against the camera's axis the same faces are turned by as much as they are off it."""
    shot = shots_at("edge", view_focal_px(90.0), 1)[0]
    read = lens.read(shot, shot.focal_px)
    assert abs(read.camera_angles_deg[0, 1] - shot.truth_deg[1]) > 30
    assert abs(read.angles_deg[0, 1] - shot.truth_deg[1]) < 2.5


@needs_heads
@pytest.mark.parametrize("share", [1.3, 0.7])
def test_a_wrong_focal_length_changes_less_than_is_stated(share: float) -> None:
    believed = lens_of(lens.WIDTH_PX)
    rows = [
        believe(shot, believed.focal_px, believed.sd_share)
        for where in ("middle", "edge")
        for shot in shots_at(where, believed.focal_px / share, 2, 0.8)
    ]
    assert len(rows) == 4
    for row in rows:
        assert (np.abs(row.change_deg) < row.stated_deg).all()
        assert (row.lens_deg < row.stated_deg).all()
        assert np.abs(row.change_deg).max() > 0.02
        assert (np.abs(row.reread_deg) < 1.5).all()
        assert (np.abs(row.refit_deg) < 1.5).all()
    assert any(row.lens_deg[1] > 0.2 for row in rows)


@needs_heads
def test_read_again_with_the_lens_it_was_seen_with_is_the_same() -> None:
    shot = shots_at("half way", view_focal_px(60.0), 1)[0]
    row = believe(shot, shot.focal_px)
    assert row.change_deg == pytest.approx(np.zeros(3), abs=1e-9)
    assert row.reread_deg == pytest.approx(np.zeros(3), abs=1e-9)


def made_up(change: float, stated: float, of_lens: float, where: str = "edge") -> Wrong:
    shot = Shot(where, 0.8, 900.0, np.zeros(3), None)  # type: ignore[arg-type]
    return Wrong(shot, np.full(3, change), np.full(3, stated), np.full(3, of_lens), np.full(3, 0.25), np.full(3, 0.1), 20.0)


def test_tables_count_what_is_inside() -> None:
    rows = [("too long", made_up(0.5, 1.0, 0.6)), ("too long", made_up(2.0, 1.0, 0.6))]
    line = next(text for text in lens.wrong_table(rows) if text.startswith("too long    0.8 edge"))
    assert line.split()[4:] == ["20.0", "2", *("1.25", "50", "%", "50", "%") * 3]
    again = lens.reread_table(rows)
    assert again[1].split()[:9] == ["30", "%", "too", "long", "0.8", "2", "0.25", "/", "0.25"]
    assert again[1].endswith("(0.10, 0.10, 0.10; 1.25, 1.25, 1.25)")
    assert len(again) == 3
