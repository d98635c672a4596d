"""Tiles cover the picture, faces of every size and place are found, and what is no face is not confirmed."""

from collections.abc import Iterator

import numpy as np
import pytest
from skimage import data

from posture.face.landmarker import Find
from posture.face.search import LEAST_TILE_PX, SAME_FACE, TILE_SHARES, FaceSearch, _tiles, is_near
from posture.face.seen import Window
from tests.face.pictures import blank, put, room
from tests.proof.material import frame_of

SIZES = [(1280, 720), (720, 1280), (640, 480), (480, 480), (1920, 400), (300, 200)]

LEAST_OF_TILE, MOST_OF_TILE = 0.13, 0.9
"""The detector finds faces of these shares of a tile."""

USELESS_PX = 35.0
"""Hardly an angle can be read of a smaller face."""


@pytest.fixture(scope="module")
def search() -> Iterator[FaceSearch]:
    with FaceSearch() as opened:
        yield opened


def tiles_of(width_px: int, height_px: int) -> list[Window]:
    return list(_tiles(frame_of(blank(width_px, height_px))))


@pytest.mark.parametrize(("width_px", "height_px"), SIZES)
def test_tiles_cover_the_picture_and_stay_in_it(width_px: int, height_px: int) -> None:
    tiles = tiles_of(width_px, height_px)
    sides = sorted({tile.side_px for tile in tiles}, reverse=True)
    assert sides[0] == min(width_px, height_px)
    assert [tile.side_px for tile in tiles] == sorted((tile.side_px for tile in tiles), reverse=True)
    for side in sides:
        covered = np.zeros((height_px, width_px), bool)
        for tile in (t for t in tiles if t.side_px == side):
            assert tile.left_px >= -1e-9
            assert tile.top_px >= -1e-9
            assert tile.left_px + side <= width_px + 1e-6
            assert tile.top_px + side <= height_px + 1e-6
            rows, columns = (slice(int(np.floor(v)), int(np.ceil(v + side))) for v in (tile.top_px, tile.left_px))
            covered[rows, columns] = True
        assert covered.all()


@pytest.mark.parametrize(("width_px", "height_px"), SIZES)
def test_small_tiles_are_left_out(width_px: int, height_px: int) -> None:
    shorter = min(width_px, height_px)
    sides = {tile.side_px for tile in tiles_of(width_px, height_px)}
    assert sides == {s * shorter for s in TILE_SHARES if s == 1 or s * shorter >= LEAST_TILE_PX}


@pytest.mark.parametrize(("width_px", "height_px"), SIZES)
@pytest.mark.parametrize("share", [0.05, 0.065, 0.08, 0.1, 0.13, 0.18, 0.24, 0.28])
def test_every_face_lies_whole_in_a_tile_that_can_find_it(width_px: int, height_px: int, share: float) -> None:
    """Faces at random places, of a share of the shorter side of the picture."""
    size = share * min(width_px, height_px)
    tiles = tiles_of(width_px, height_px)
    if size < LEAST_OF_TILE * min(tile.side_px for tile in tiles):
        # No tile of this picture finds it; that may only be with faces that are no use.
        assert size < USELESS_PX
        return
    corners = np.random.default_rng(7).uniform(0, 1, (200, 2)) * [width_px - size, height_px - size]
    whole = np.zeros(len(corners), bool)
    for tile in tiles:
        if LEAST_OF_TILE * tile.side_px <= size <= MOST_OF_TILE * tile.side_px:
            low = np.array([tile.left_px, tile.top_px])
            whole |= ((corners >= low - 1e-6) & (corners + size <= low + tile.side_px + 1e-6)).all(1)
    assert whole.all(), corners[~whole][:3]


@pytest.mark.parametrize(
    ("centre_px", "size_px"),
    [
        ((30, 40), 30),
        ((1245, 45), 36),
        ((60, 660), 60),
        ((1190, 640), 90),
        ((640, 300), 200),
        ((470, 360), 430),
        ((800, 360), 560),
    ],
)
def test_face_is_found_where_it_is(
    search: FaceSearch, astronaut: np.ndarray, centre_px: tuple[float, float], size_px: float
) -> None:
    picture = frame_of(put(blank(1280, 720), astronaut, centre_px, size_px))
    finds = search.sweep(picture, thorough=True)
    here = [f for f in finds if np.linalg.norm(f.centre_px - centre_px) < 0.3 * size_px and 0.7 < f.size_px / size_px < 1.4]
    assert len(here) == 1
    assert search.confirm(picture, here[0]) == 0
    # Nothing is left of the same face beside it.
    assert not any(is_near(here[0], other) for other in finds if other is not here[0])
    assert [f.size_px for f in finds] == sorted((f.size_px for f in finds), reverse=True)


@pytest.mark.parametrize("quarters", [1, 2, 3])
def test_lying_and_hanging_faces_are_found_and_turned_upright(search: FaceSearch, astronaut: np.ndarray, quarters: int) -> None:
    upright = put(blank(480, 480), astronaut, (200, 180), 120)
    picture = frame_of(np.ascontiguousarray(np.rot90(upright, quarters)))
    centre = Window(0, 0, 480, 480, 4 - quarters).to_picture(np.array([[200.0, 180.0]]))[0]
    here = [f for f in search.sweep(picture, thorough=True) if np.linalg.norm(f.centre_px - centre) < 40]
    assert len(here) == 1
    assert search.confirm(picture, here[0]) == (4 - quarters) % 4


@pytest.mark.parametrize("name", ["blank", "brick", "page", "text", "room"])
def test_picture_without_a_face_has_none(search: FaceSearch, name: str) -> None:
    made = {"blank": lambda: blank(640, 480), "room": lambda: room(640, 480)}
    grey = made[name]() if name in made else np.asarray(getattr(data, name)())
    picture = frame_of(grey if grey.ndim == 3 else np.repeat(grey[..., None], 3, axis=2))
    assert [f for f in search.sweep(picture, thorough=True) if search.confirm(picture, f) is not None] == []


def test_glances_go_round_the_whole_picture(search: FaceSearch, astronaut: np.ndarray) -> None:
    picture = frame_of(put(blank(640, 480), astronaut, (590, 430), 30))
    n_tiles = len(tiles_of(640, 480))
    search.sweep(frame_of(blank(64, 64)), thorough=True)
    found = [search.glance(picture, 4) for _ in range(2 * int(np.ceil(n_tiles / 4)))]
    half = len(found) // 2
    for one_round in (found[:half], found[half:]):
        centres = [f.centre_px for finds in one_round for f in finds]
        assert any(np.linalg.norm(c - [590, 430]) < 10 for c in centres)


@pytest.mark.parametrize(("apart", "same"), [(0.9 * SAME_FACE, True), (1.1 * SAME_FACE, False)])
def test_finds_near_to_each_other_are_one_face(apart: float, same: bool) -> None:
    one, other = Find(np.array([100.0, 100.0]), 40.0, 0.9), Find(np.array([100.0 + apart * 60.0, 100.0]), 60.0, 0.5)
    assert is_near(one, other) is same
    assert is_near(other, one) is same


def test_find_of_nothing_is_not_confirmed(search: FaceSearch, astronaut: np.ndarray) -> None:
    picture = frame_of(put(blank(640, 480), astronaut, (150, 150), 100))
    assert search.confirm(picture, Find(np.array([450.0, 300.0]), 100.0, 0.9)) is None
    # A face in the window, but not in its middle, is another one.
    assert search.confirm(picture, Find(np.array([205.0, 150.0]), 100.0, 0.9)) is None


def test_closed_search_raises(astronaut: np.ndarray) -> None:
    with pytest.raises(RuntimeError, match="Expected an open landmarker"):
        FaceSearch().sweep(frame_of(astronaut), thorough=True)


def test_later_sweeps_share_out_the_small_tiles(monkeypatch: pytest.MonkeyPatch) -> None:
    """The first sweep looks at everything where it finds nothing; three more do it again between them."""
    looked: list[list[Window]] = []
    search = FaceSearch()
    monkeypatch.setattr(search, "_look", lambda picture, windows: looked.append(list(windows)) or [])
    picture = frame_of(blank(1280, 720))
    search.sweep(picture, thorough=True)
    search = FaceSearch()
    monkeypatch.setattr(search, "_look", lambda picture, windows: looked.append(list(windows)) or [])
    for _ in range(4):
        search.sweep(picture, thorough=False)
    every, large, small, *later = looked
    assert [*large, *small] == every
    assert all(len(tiles) < 0.6 * len(every) for tiles in later)
    assert set().union(*later) == set(every)


def test_first_sweep_leaves_small_tiles_for_glances_where_it_finds_a_face(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[list[Window]] = []
    search = FaceSearch()
    find = Find(np.array([300.0, 300.0]), 200.0, 0.9)
    monkeypatch.setattr(search, "_look", lambda picture, windows: looked.append(list(windows)) or [find])
    picture = frame_of(blank(1280, 720))
    assert search.sweep(picture, thorough=False) == [find]
    search.glance(picture, 1000)
    assert {*looked[0], *looked[1]} == set(_tiles(picture))
    assert len(looked) == 2


def test_every_sweep_of_a_tiny_picture_looks_at_it(monkeypatch: pytest.MonkeyPatch) -> None:
    looked: list[int] = []
    search = FaceSearch()
    monkeypatch.setattr(search, "_look", lambda picture, windows: looked.append(len(windows)) or [])
    for _ in range(3):
        search.sweep(frame_of(blank(64, 64)), thorough=False)
    assert looked[0] == 1
    assert looked[-2:] == [1, 1]
