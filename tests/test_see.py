"""From a clip to the persons in it: with a made-up world in place of pictures, and with films of a photograph."""

from __future__ import annotations

import pickle
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, fields, replace
from pathlib import Path
from types import SimpleNamespace
from typing import ClassVar

import av
import numpy as np
import pytest

from posture import see
from posture.clip import ClipInfo, Frame
from posture.face.scene import SceneStep
from posture.face.seen import FaceSeen, Window
from posture.face.shoulders import ShouldersSeen
from posture.face.stretch import Stretch
from posture.geometry.angles import posture_angles
from posture.geometry.plumb import Stand
from posture.geometry.pose import Pose
from posture.measure import Settings, read_clip
from posture.see import BAD_FIT_SHARE, BLURRED, SHARP, SeenClip, face_quality, see_clip
from tests.face.pictures import blank, made_face, moved, put, room
from tests.proof.material import frame_of

RATE_HZ = 10.0
BLANK = np.full((720, 1280, 3), 128, np.uint8)
FAR_PX = 9000.0
"""A focal length with which a face drawn without perspective is one."""

Place = tuple[float, float, float]
Plan = dict[int, Callable[[int], Place | None]]
"""For every stretch, from 1: where its face is in frame k, centre and size; None where there is none."""


@dataclass
class MadeFollower:
    """Stands in for the follower: faces, stretches and scene as planned."""

    plan: Plan
    meets_at_end: tuple[int, ...] = ()
    spoil: Callable[[int, FaceSeen], FaceSeen] = lambda _, face: face
    shades: dict[int, int] = field(default_factory=dict)
    shifts: dict[int, list[float]] = field(default_factory=dict)
    frame: int = 0

    def __post_init__(self) -> None:
        self.all = {n: Stretch(n, met_at_end=n in self.meets_at_end, shifts=self.shifts.get(n, [])) for n in self.plan}
        self.scene = SimpleNamespace(steps=[])

    def __enter__(self) -> MadeFollower:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    @property
    def stretches(self) -> list[Stretch]:
        return [stretch for stretch in self.all.values() if stretch.times_s]

    def look(self, frame: Frame, upcoming: Frame | None = None, later: Frame | None = None) -> list[FaceSeen]:
        faces = []
        for number, at in self.plan.items():
            place = at(self.frame)
            if place is None:
                continue
            face = replace(self.spoil(self.frame, made_face(place[:2], place[2])), stretch=number)
            window = Window.around(face.centre_px, face.size_px)
            pixels = np.full((window.out_px, window.out_px, 3), self.shades.get(number, 40 * number), np.uint8)
            self.all[number].add(frame.time_s, face, window, pixels)
            faces.append(face)
        if self.frame % 5 == 0:
            self.scene.steps.append(SceneStep(frame.time_s, np.eye(2, 3) if self.frame else None))
        self.frame += 1
        return faces


class MadeClip:
    """Stands in for an opened clip of n frames."""

    damage_note = None

    def __init__(self, n: int) -> None:
        self.n = n
        self.info = ClipInfo("video", "c" * 64, 1280, 720, n / RATE_HZ, None, None, None, ("as stored",))

    def __enter__(self) -> MadeClip:
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def frames(self, every_s: float) -> Iterator[Frame]:
        return (frame_of(BLANK, k / RATE_HZ) for k in range(self.n))

    def progress(self, time_s: float) -> float:
        return time_s * RATE_HZ / self.n


class MadeShoulders:
    """Sees shoulders 100 px below the middle of a face and 200 px apart, the right one 20 px lower; none below large faces."""

    looked: ClassVar[list[tuple[int, float, tuple[int, ...]]]] = []

    def __enter__(self) -> MadeShoulders:
        self.looked.clear()
        return self

    def __exit__(self, *_: object) -> None:
        pass

    def look(self, picture: Frame, face: FaceSeen, ways: Sequence[int]) -> ShouldersSeen | None:
        self.looked.append((face.stretch, picture.time_s, tuple(ways)))
        x, y = face.centre_px
        return (
            None if face.size_px > 140 else ShouldersSeen(np.array([[x - 100, y + 120], [x + 100, y + 100]]), 3.0, False, 0.9)
        )


Watch = Callable[..., SeenClip]


@pytest.fixture
def watch(monkeypatch: pytest.MonkeyPatch) -> Watch:
    """See a planned clip."""

    def run(plan: Plan, n: int = 100, on_frame: see.OnFrame | None = None, **named: object) -> SeenClip:
        monkeypatch.setattr(see, "open_clip", lambda _: MadeClip(n))
        monkeypatch.setattr(see, "FacesFollower", lambda: MadeFollower(plan, **named))  # type: ignore[arg-type]
        monkeypatch.setattr(see, "LibraryShoulders", MadeShoulders)
        return see_clip("any", focal_px=FAR_PX, every_s=0.0, on_frame=on_frame)

    return run


def sways(x: float, size: float, first: int = 0, last: int = 10_000) -> Callable[[int], Place | None]:
    """Somebody who moves about a little, from one frame to another."""
    return lambda k: (x + 0.15 * size * np.sin(0.13 * k), 300.0, size) if first <= k <= last else None


def hangs(x: float, size: float, first: int = 0, last: int = 10_000) -> Callable[[int], Place | None]:
    """A picture on the wall, from one frame to another."""
    return lambda k: (x, 300.0, size) if first <= k <= last else None


def test_persons_are_numbered_by_time_and_size(watch: Watch) -> None:
    plan = {1: sways(200, 80, 0, 30), 2: sways(500, 90), 3: sways(900, 150, 20, 90)}
    seen = watch(plan)
    assert [p.stretches for p in seen.persons] == [(3,), (2,), (1,)]
    assert [p.seen_share for p in seen.persons] == pytest.approx([0.71, 1.0, 0.31])
    assert not any(p.is_still for p in seen.persons)


def test_shoulders_are_looked_at_now_and_then(watch: Watch) -> None:
    seen = watch({1: sways(300, 100), 2: sways(900, 150)})
    with_shoulders, without = (next(p.track for p in seen.persons if p.stretches == (n,)) for n in (1, 2))
    every = round(see.SHOULDERS_EVERY_S * RATE_HZ)
    looked = [k % every == 0 for k in range(100)]
    assert (~np.isnan(with_shoulders.shoulders_px[:, 0, 0])).tolist() == looked
    assert np.ptp(with_shoulders.shoulders_px[::every], axis=1) == pytest.approx(np.tile([200.0, 20.0], (25, 1)))
    # At first both ways, then in turns, for each face by itself.
    ways = {n: [ways for stretch, _, ways in MadeShoulders.looked if stretch == n] for n in (1, 2)}
    assert ways[1][:4] == ways[2][:4] == [(1, -1), (-1,), (1,), (-1,)]
    # Looked for and not seen is something else than not looked at.
    assert (~np.isnan(without.arm_raised)).tolist() == looked
    assert np.isnan(without.shoulders_px).all()


def test_the_scene_is_looked_at_now_and_then(watch: Watch, monkeypatch: pytest.MonkeyPatch) -> None:
    stands = iter([Stand(4.0, 9.0, 0.3, 1.0), None] * 50)
    monkeypatch.setattr(see, "stand_from_lines", lambda lines, camera: next(stands))
    track = watch({1: sways(300, 100)}).persons[0].track
    every = 2 * round(see.LINES_EVERY_S * RATE_HZ)
    assert np.flatnonzero(~np.isnan(track.camera_roll_deg)).tolist() == list(range(0, 100, every))
    assert set(track.camera_pitch_deg[::every]) == {9.0}
    assert set(track.camera_pitch_sd_deg[::every]) == {1.0}


def test_a_few_frames_are_kept_in_memory(watch: Watch) -> None:
    seen = watch({1: sways(300, 100), 2: sways(900, 90, 0, 24)})
    assert 2 <= len(seen.stills) <= 4
    assert seen.stills[0].boxes.keys() == {1, 2}
    assert seen.stills[-1].boxes.keys() == {1}


def test_who_moved_comes_before_what_never_did(watch: Watch) -> None:
    seen = watch({1: hangs(200, 300), 2: sways(700, 60)}, n=150)
    assert [(p.stretches, p.is_still) for p in seen.persons] == [((2,), False), ((1,), True)]


@pytest.mark.parametrize(("shift", "thing"), [(0.002, True), (0.05, False)])
def test_a_face_whose_surface_moves_is_no_thing(watch: Watch, shift: float, thing: bool) -> None:
    """Of two stretches of one face, of both of which something is known."""
    surfaces = {1: [shift] * 20, 2: [shift] * 20}
    seen = watch({1: hangs(200, 300, 0, 70), 2: hangs(200, 300, 75, 150)}, n=151, shades={1: 90, 2: 90}, shifts=surfaces)
    assert [(p.stretches, p.is_still) for p in seen.persons] == [((1, 2), thing)]


def test_track_is_where_the_person_was_and_nowhere_else(watch: Watch) -> None:
    seen = watch({1: sways(300, 100, 10, 39), 2: sways(900, 90, 0, 24)})
    for person, (first, last) in zip(seen.persons, ((10, 39), (0, 24)), strict=True):
        assert person.track.face_found.tolist() == [first <= k <= last for k in range(100)]
        assert person.track.time_s.tolist() == seen.time_s.tolist()
        angles = np.stack(posture_angles(person.track.rotation[first : last + 1]), 1)
        assert np.abs(angles).max() < 4
        assert person.track.face_height_px[first] > 50
    right = seen.persons[1].track.place_cm[0]
    # Its azimuth: 900 px of 1280, by the focal length.
    assert right[0] / right[2] == pytest.approx((900 - 639.5) / FAR_PX, abs=0.004)


def test_lines_and_symmetry_are_kept_where_the_face_was_and_no_points(watch: Watch) -> None:
    track = watch({1: sways(300, 100, 10, 39)}).persons[0].track
    for name in ("eye_line_deg", "midface_line_deg", "facial_angle_deg", "relative_facial_size"):
        assert np.array_equal(np.isfinite(getattr(track, name)), track.face_found)
    # The made face is the canonical one, which is even.
    assert np.abs(track.facial_angle_deg[track.face_found]).max() < 0.2
    assert track.relative_facial_size[track.face_found] == pytest.approx(1.0, abs=0.02)
    assert max(getattr(track, known.name).size for known in fields(track) if known.type == "Array") == 100 * 9


def test_stretches_of_one_person_are_one_track(watch: Watch) -> None:
    seen = watch({1: sways(300, 100, 0, 29), 2: sways(300, 100, 34, 99)}, shades={1: 90, 2: 90})
    (person,) = seen.persons
    assert person.stretches == (1, 2)
    assert np.flatnonzero(~person.track.face_found).tolist() == [30, 31, 32, 33]


def test_frames_about_a_meeting_are_left_out(watch: Watch) -> None:
    plan = {1: sways(300, 100, 0, 49), 2: sways(900, 90)}
    met, alone = watch(plan, meets_at_end=(1,)), watch(plan)
    found = [next(p for p in s.persons if p.stretches == (1,)).track.face_found.sum() for s in (alone, met)]
    assert found[0] == 50
    # A fifth of a second, of ten frames a second.
    assert found[1] in (47, 48)


def test_faces_of_a_bad_fit_are_seen_but_not_used(watch: Watch) -> None:
    def spoil(k: int, face: FaceSeen) -> FaceSeen:
        noise = np.random.default_rng(k).normal(0, 0.12 * face.size_px, face.points_px.shape)
        return replace(face, points_px=face.points_px + noise) if k in (7, 8, 9) else face

    (person,) = watch({1: sways(300, 100)}, spoil=spoil).persons
    assert np.flatnonzero(~person.track.face_found).tolist() == [7, 8, 9]
    assert person.seen_share == 1
    assert "3 faces left out: too blurred, or landmarks not near enough to a face's" in person.track.steps
    facts = read_clip(watch({1: sways(300, 100)}, spoil=spoil), Settings()).facts
    assert facts.faces_found_share == pytest.approx(0.97)
    assert facts.unreliable_share == pytest.approx(0.03)


def quality_of(detail: float, pose_quality: float, miss_share: float = 0.01) -> float:
    """Quality of a face with that detail, whose pose has that quality and misses the points by that."""
    face = replace(made_face((300.0, 300.0), 100.0), detail=detail)
    pose = Pose(np.eye(3), np.array([0.0, 0.0, 60.0]), miss_share, 80.0, quality=pose_quality)
    return face_quality(face, pose)


@pytest.mark.parametrize("pose_quality", [0.0, 0.3, 0.8, 1.0])
def test_quality_is_never_above_that_of_the_pose(pose_quality: float) -> None:
    qualities = np.array([quality_of(detail, pose_quality) for detail in np.linspace(0, 1.2, 61)])
    assert np.diff(qualities).min() >= 0
    assert qualities.max() == pose_quality
    assert qualities.min() == 0
    assert quality_of(SHARP, pose_quality) == pytest.approx(pose_quality)
    assert quality_of(0.55, pose_quality) == pytest.approx(pose_quality)


def test_quality_falls_with_blur() -> None:
    assert [quality_of(detail, 0.9) for detail in (0.0, 0.15, 0.2, BLURRED)] == [0.0] * 4
    half = (BLURRED + SHARP) / 2
    assert quality_of(half, 0.9) == pytest.approx(0.5)
    # The worse of both counts, not their product.
    assert quality_of(half, 0.4) == pytest.approx(0.4)
    assert 0 < quality_of(0.25, 0.9) < quality_of(0.35, 0.9) < quality_of(0.45, 0.9)


@pytest.mark.parametrize(("miss_share", "quality"), [(BAD_FIT_SHARE, 0.9), (1.01 * BAD_FIT_SHARE, 0.0), (0.3, 0.0)])
def test_bad_fit_has_no_quality_however_sharp(miss_share: float, quality: float) -> None:
    assert quality_of(0.9, 0.9, miss_share) == quality


def test_blurred_faces_are_seen_but_not_used_and_soft_ones_count_less(watch: Watch) -> None:
    def spoil(k: int, face: FaceSeen) -> FaceSeen:
        return replace(face, detail={5: 0.1, 6: 0.2, 7: 0.3}.get(k, 0.9))

    (person,) = watch({1: sways(300, 100)}, spoil=spoil).persons
    assert np.flatnonzero(~person.track.face_found).tolist() == [5, 6]
    assert person.seen_share == 1
    assert any(step.startswith("2 faces left out") for step in person.track.steps)
    assert person.track.quality[7] == pytest.approx((0.3 - BLURRED) / (SHARP - BLURRED))
    assert person.track.quality[8] > 2 * person.track.quality[7]


def test_empty_clip_has_nobody(watch: Watch) -> None:
    seen = watch({})
    assert seen.persons == ()
    empty = seen.empty_track()
    assert np.isnan(empty.rotation).all()
    assert np.isnan(empty.face_height_px).all()
    assert len(empty.time_s) == 100
    assert not empty.face_found.any()


def test_every_frame_is_told_with_its_faces(watch: Watch) -> None:
    told: list[tuple[float, list[int], float | None]] = []
    seen = watch(
        {1: sways(300, 100), 2: sways(900, 90, 50)},
        on_frame=lambda frame, faces, share: told.append((frame.time_s, [f.stretch for f in faces], share)),
    )
    assert [t for t, *_ in told] == seen.time_s.tolist()
    assert told[0][1] == [1]
    assert told[99][1] == [1, 2]
    assert [share for *_, share in told] == pytest.approx([k / 100 for k in range(100)])


def test_portrait_is_a_small_picture_of_that_person(watch: Watch) -> None:
    seen = watch({1: sways(300, 100), 2: sways(900, 90)}, shades={1: 60, 2: 200})
    for person, shade in zip(seen.persons, (60, 200), strict=True):
        assert person.portrait is not None
        assert person.portrait.shape == (96, 96, 3)
        assert person.portrait.mean() == pytest.approx(shade, abs=1)


def test_what_was_seen_can_be_sent_to_another_process(watch: Watch) -> None:
    measured = read_clip(watch({1: sways(300, 100), 2: hangs(900, 90)}), Settings(mirrored="no"))
    again = pickle.loads(pickle.dumps(measured))
    assert again.summary == measured.summary
    assert len(again.seen.persons) == 2
    assert np.array_equal(again.seen.persons[1].track.rotation, measured.seen.persons[1].track.rotation, equal_nan=True)


def write_film(path: Path, pictures: list[np.ndarray], rate: int) -> Path:
    """A film of pictures."""
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx264", rate=rate, options={"qp": "10", "preset": "ultrafast"})
        stream.height, stream.width = pictures[0].shape[:2]
        stream.pix_fmt = "yuv420p"
        for picture in pictures:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())
    return path


@pytest.fixture(scope="module")
def two(tmp_path_factory: pytest.TempPathFactory, astronaut: np.ndarray) -> SeenClip:
    """A film of two heads, the second smaller, mirrored and darker, that is there only at first."""
    other = np.ascontiguousarray((astronaut[:, ::-1] * 0.5).astype(np.uint8))
    pictures = []
    for k in range(20):
        picture = put(blank(720, 400), astronaut, (200 + 3 * np.sin(k / 3), 200), 130)
        if k < 12:
            # Mirrored, the face of the photograph lies elsewhere in it.
            picture = put(picture, np.roll(other, 225 - (511 - 225), axis=1), (540, 190 + k), 90)
        pictures.append(picture)
    return see_clip(write_film(tmp_path_factory.mktemp("films") / "two.mp4", pictures, 10), every_s=0.0)


def test_two_persons_of_a_film(two: SeenClip) -> None:
    first, second = two.persons
    assert first.track.face_found.sum() >= 19
    assert 9 <= second.track.face_found.sum() <= 12
    assert not second.track.face_found[13:].any()
    assert np.nanmedian(first.track.face_height_px) == pytest.approx(130, rel=0.12)
    assert np.nanmedian(second.track.face_height_px) == pytest.approx(90, rel=0.12)
    assert first.portrait is not None
    assert second.portrait is not None
    assert first.portrait.mean() > 1.3 * second.portrait.mean()
    # One is the mirror image of the other.
    turns = [np.nanmedian(p.track.rotation[:, 0, 2]) for p in two.persons]
    assert turns[0] * turns[1] < 0


def test_how_the_clip_was_read_is_kept(two: SeenClip) -> None:
    """The clip's own steps are complete only when all frames were read."""
    for steps in (two.steps, two.persons[0].track.steps):
        assert any("every frame" in step for step in steps), steps
        assert any("canonical face fitted" in step for step in steps)


@pytest.mark.parametrize("shaken", [False, True], ids=["firm", "shaken"])
def test_face_on_the_wall_never_moved(tmp_path: Path, astronaut: np.ndarray, shaken: bool) -> None:
    scene = put(room(640, 480), astronaut, (330, 220), 110)
    pictures = []
    for k in range(48):
        right, down = (9 * np.sin(0.5 * k), 6 * np.cos(0.37 * k)) if shaken else (0.0, 0.0)
        pictures.append(moved(scene, right, down))
    seen = see_clip(write_film(tmp_path / "wall.mp4", pictures, 4), every_s=0.0)
    (person,) = seen.persons
    assert person.is_still
    measured = read_clip(seen, Settings(mirrored="no"))
    assert measured.summary.habitual is None
    assert measured.facts.still_faces == 1
    assert [c.level for c in measured.summary.checks if c.name == "movement"] == ["fail"]
