"""Sides: a clip and its mirror image come to one result, and settling the side later is as having known it: ``python -m tests.proof.sides``.

A rendered head holds postures before a room, with movements between them, seen by a camera that is rolled and pitched a little. The same
pictures are written once more with ``[:, ::-1]``. Both films are compressed, so that the second is not to the last bit a mirror image of
the first, and the network has never looked at a face and its mirror image in quite the same way.

What is compared: every field of both summaries, the one read as not mirrored, the other as mirrored. The roll of the camera is the
picture's own and changes its sign; all else is to be equal, numbers within a tolerance for their kind, text but for the numbers in it.
"""

from __future__ import annotations

import argparse
import json
import re
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.geometry.angles import FACING, camera_matrix, line_of_sight, mirror, posture_matrix
from posture.geometry.lens import lens_of
from posture.measure import Measurement, Settings, measure_clip, read_clip
from posture.see import SeenClip, SeenPerson
from posture.signal.track import HeadTrack
from posture.summary.files import track_csv
from posture.summary.record import Conditions
from tests.proof.material import Rgb, load_heads

Array = NDArray[np.float64]
Angles = tuple[float, float, float]

WIDTH_PX, HEIGHT_PX, FOCAL_PX, RATE_HZ = 640, 480, 576.0, 15.0
ROLL_DEG, PITCH_DEG = 3.0, 5.0
PLACE_CM = (9.0, 4.0, 62.0)

HOLDS: tuple[Angles, ...] = (
    (-14.0, -12.0, -8.0),
    (-10.0, -8.0, -5.0),
    (-17.0, -15.0, -9.0),
    (-13.0, -11.0, -7.0),
    (3.0, 6.0, 0.0),
    (-15.0, -13.0, -8.0),
    (-12.0, -6.0, -10.0),
)
HOLD_S, MOVE_S = 2.0, 0.5

TOLERANCE = {
    "angle": 0.2,
    "chin": 0.3,
    "end": 0.4,
    "shoulders": 0.6,
    "camera": 0.4,
    "share": 0.03,
    "seconds": 0.6,
    "count": 2.0,
    "number in text": 1.0,
}
"""Largest difference, by kind, that counts as equal: degrees of tilt and turn, of the chin, of an end of an interval or of its middle half, of all that
rests on the shoulder line, and of the camera's stand; shares (those of the steady time move by a frame or two at each end of a spell); seconds; frames and spells; and numbers in
text, which are rounded to whole ones."""

OWN = ("clip.sha256", "clip.mirrored", "made_with.settings.mirrored")
"""Fields that are the file's and the setting's own; the text that states the setting is left out by its name."""

_NUMBER = re.compile(r"\d+(?:\.\d+)?")
_WAY = re.compile(r"counter-clockwise|clockwise")


def hold(postures: Sequence[Angles], hold_s: float, move_s: float, rate_hz: float) -> tuple[Array, Array]:
    """Times (n,) and angles (n, 3) of postures held one after the other, with smooth moves between; no two spells are equally long."""
    pieces = []
    for k, posture in enumerate(postures):
        if k:
            share = (0.5 - 0.5 * np.cos(np.linspace(0, np.pi, round(move_s * rate_hz) + 2)[1:-1]))[:, None]
            pieces.append(np.array(postures[k - 1]) * (1 - share) + np.array(posture) * share)
        n = round(hold_s * rate_hz * (1 + 0.3 * np.sin(2.4 * k + 0.7)))
        pieces.append(np.tile(posture, (n, 1)).astype(float))
    angles = np.concatenate(pieces)
    return np.arange(len(angles)) / rate_hz, angles


def made_up_track(
    time_s: Array,
    angles_deg: Array,
    stand_deg: tuple[float, float] | None = None,
    trunk_deg: float | None = None,
    lines_deg: tuple[float, float] | None = None,
    place_cm: Angles = PLACE_CM,
    size_px: tuple[int, int] = (1280, 720),
    sd_share: float = 0.18,
) -> HeadTrack:
    """A track that no camera saw: angles (n, 3) against the line of sight, seen by a camera that stands so.

    Scene and shoulders are looked at each half second where a stand and a trunk are given; lines are the slopes of eyes and mid-face.
    """
    n, focal_px = len(time_s), lens_of(size_px[0]).focal_px
    azimuth, elevation = line_of_sight(np.array(place_cm))
    rotation = posture_matrix(angles_deg[:, 0], angles_deg[:, 1] + azimuth, angles_deg[:, 2] + elevation)
    camera = camera_matrix(*(stand_deg or (0.0, 0.0)))
    looks = np.arange(n) % 8 == 0
    seen: dict[str, Any] = {}
    if stand_deg is not None:
        rng = np.random.default_rng(5)
        values = {"camera_roll_deg": (stand_deg[0], 0.1), "camera_pitch_deg": (stand_deg[1], 0.2)}
        for name, (middle, spread) in values.items():
            seen[name] = np.where(looks, middle + spread * rng.normal(size=n), np.nan)
        seen |= {"camera_roll_sd_deg": np.where(looks, 0.5, np.nan), "camera_pitch_sd_deg": np.where(looks, 1.2, np.nan)}
    if trunk_deg is not None:
        a, b = np.radians(trunk_deg), np.arctan2(place_cm[0], place_cm[2])
        across = 15.0 * np.array([np.cos(a) * np.cos(b), -np.sin(a), -np.cos(a) * np.sin(b)])
        ends = np.add(place_cm, (0.0, 22.0, 2.0)) + np.array([-across, across])
        in_camera = ends @ camera.T
        px = in_camera[:, :2] / in_camera[:, 2:] * focal_px + (np.array(size_px) - 1) / 2
        seen["shoulders_px"] = np.where(looks[:, None, None], px, np.nan)
        # The model's depth follows the head; a trunk that is not turned away shows just that.
        seen["shoulders_turn_deg"] = np.where(looks, 0.4 * angles_deg[:, 1], np.nan)
        seen["arm_raised"] = np.where(looks, 0.0, np.nan)
    if lines_deg is not None:
        seen["eye_line_deg"], seen["midface_line_deg"] = (np.full(n, slope) for slope in lines_deg)
    place = np.tile(camera @ np.array(place_cm), (n, 1))
    return HeadTrack(
        time_s=time_s,
        rotation=FACING @ camera @ FACING @ rotation,
        place_cm=place,
        face_height_px=np.full(n, 140.0),
        quality=np.full(n, 0.8),
        width_px=size_px[0],
        height_px=size_px[1],
        focal_px=focal_px,
        focal_sd_share=sd_share,
        **seen,
    )


def made_up_clip(track: HeadTrack, kind: str = "video") -> SeenClip:
    """A clip in which one person with that track was seen."""
    person = SeenPerson(track, portrait=None, stretches=(1,), seen_share=1.0, is_still=False)
    lens = replace(lens_of(track.width_px), focal_px=track.focal_px)
    size = track.width_px, track.height_px
    shape = "photograph" if kind == "photograph" else "video"
    return SeenClip(shape, "a" * 64, *size, track.time_s, (person,), None, None, None, lens, None, ())  # type: ignore[arg-type]


def mirrored_track(track: HeadTrack) -> HeadTrack:
    """What the same camera would have seen in a mirrored picture."""
    rotation, place = mirror(track.rotation, track.place_cm)
    # The shoulder that a mirrored picture shows as the right one is the left one of the picture.
    shoulders = track.shoulders_px[:, ::-1] * [-1.0, 1.0] + [track.width_px - 1.0, 0.0]
    negated = ("camera_roll_deg", "shoulders_turn_deg", "eye_line_deg", "midface_line_deg")
    return replace(
        track, rotation=rotation, place_cm=place, shoulders_px=shoulders, **{name: -getattr(track, name) for name in negated}
    )


def mirrored_clip(seen: SeenClip) -> SeenClip:
    """The same clip, seen in a mirrored picture."""
    return replace(seen, persons=tuple(replace(p, track=mirrored_track(p.track)) for p in seen.persons))


def as_mirrored(document: dict[str, Any]) -> dict[str, Any]:
    """A summary with the picture's own values as the mirrored picture has them: its roll goes the other way, and nothing else."""
    swap = {"clockwise": "counter-clockwise", "counter-clockwise": "clockwise"}
    turned: dict[str, Any] = json.loads(_WAY.sub(lambda match: swap[match[0]], json.dumps(document)))
    roll = turned["clip"]["camera_roll_deg"]
    turned["clip"]["camera_roll_deg"] = {"value": -roll["value"] + 0.0, "low": -roll["high"], "high": -roll["low"]}
    stated = turned["made_with"]["settings"]["roll_deg"]
    turned["made_with"]["settings"]["roll_deg"] = None if stated is None else -stated
    return turned


@dataclass(frozen=True)
class Difference:
    """Two values of one field: where, of what kind, and how far apart; infinite where they are not alike at all."""

    field: str
    kind: str
    apart: float
    values: tuple[object, object]

    @property
    def is_equal(self) -> bool:
        """Within what counts as equal for its kind."""
        return self.apart <= TOLERANCE.get(self.kind, 0.0)


def compare(first: object, second: object, field: str = "") -> Iterator[Difference]:
    """Every field of two summaries, as `Difference`; those that are the file's and the setting's own are left out."""
    if field in OWN:
        return
    if isinstance(first, dict) and isinstance(second, dict) and first.keys() == second.keys():
        if first.get("name") == "mirroring" == second.get("name"):
            first, second = ({k: v for k, v in d.items() if k != "text"} for d in (first, second))
        for key in first:
            yield from compare(first[key], second[key], f"{field}.{key}".lstrip("."))
    elif isinstance(first, list) and isinstance(second, list) and len(first) == len(second):
        for k, pair in enumerate(zip(first, second, strict=True)):
            yield from compare(*pair, f"{field}.{k}")
    elif isinstance(first, bool) or isinstance(second, bool) or first is None or second is None:
        yield Difference(field, "fact", 0.0 if first is second else np.inf, (first, second))
    elif isinstance(first, int | float) and isinstance(second, int | float):
        yield Difference(field, _kind(field), abs(first - second), (first, second))
    else:
        yield from _compare_text(str(first), str(second), field)


def _compare_text(first: str, second: str, field: str) -> Iterator[Difference]:
    """Two texts: words alike, numbers near."""
    alike = _NUMBER.sub("#", first) == _NUMBER.sub("#", second)
    yield Difference(field, "text", 0.0 if alike else np.inf, (first, second))
    if alike and first != second:
        apart = max(abs(float(a) - float(b)) for a, b in zip(_NUMBER.findall(first), _NUMBER.findall(second), strict=True))
        yield Difference(field, "number in text", apart, (first, second))


def _kind(field: str) -> str:
    """Which kind of number a field holds."""
    last = field.rsplit(".", 1)[-1]
    if ".camera_" in field:
        return "camera"
    if "trunk" in field:
        return "shoulders"
    if "_deg" in field or field.startswith("rhythm"):
        if last in ("low", "high") or "middle_half" in field or ".reach." in field:
            return "end"
        return "chin" if "chin" in field else "angle"
    if "share" in last or "head_shift" in field:
        return "share"
    return "seconds" if last.endswith("_s") else "count"


def document_of(measurement: Measurement) -> dict[str, Any]:
    """The summary as it is written."""
    document: dict[str, Any] = json.loads(measurement.summary.to_json())
    return document


def csv_of(measurement: Measurement) -> str:
    """The track as it is written."""
    return track_csv(measurement.track, measurement.found, measurement.facts.person)


def draw_pictures(name: str, holds: Sequence[Angles], hold_s: float, seed: int = 3) -> Iterator[Rgb]:
    """The pictures of a rendered head before a room that holds postures one after the other."""
    heads = load_heads()
    head, rng = heads.load(name), np.random.default_rng(seed)
    camera = heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX, ROLL_DEG, PITCH_DEG)
    place = np.array([0.06, 0.05, 0.75])
    azimuth, elevation = line_of_sight(place)
    room = heads.room((WIDTH_PX, HEIGHT_PX), seed)
    for tilt, turn, chin in hold(holds, hold_s, MOVE_S, RATE_HZ)[1]:
        rotation = posture_matrix(tilt, turn + azimuth, chin + elevation)
        yield heads.degrade(heads.render(head, rotation, camera, place, background=room), rng, 2.0)


def write_pair(folder: Path, pictures: Sequence[Rgb]) -> tuple[Path, Path]:
    """The pictures as a film, and mirrored as another."""
    heads = load_heads()
    paths = folder / "plain.mp4", folder / "mirrored.mp4"
    heads.write_clip(paths[0], pictures, RATE_HZ)
    heads.write_clip(paths[1], [np.ascontiguousarray(picture[:, ::-1]) for picture in pictures], RATE_HZ)
    return paths


def table(differences: Sequence[Difference]) -> str:
    """One line for each kind: how many fields, how far apart, and which are out."""
    lines = [f"{'kind':<16}{'fields':>7}{'mean':>8}{'largest':>9}{'allowed':>9}{'out':>5}  where the largest is"]
    for kind in dict.fromkeys(d.kind for d in differences):
        of_kind = [d for d in differences if d.kind == kind]
        apart = np.array([d.apart for d in of_kind])
        worst = of_kind[int(apart.argmax())]
        lines.append(
            f"{kind:<16}{len(of_kind):>7}{apart.mean():>8.3f}{apart.max():>9.3f}{TOLERANCE.get(kind, 0.0):>9.2f}"
            f"{sum(not d.is_equal for d in of_kind):>5}  {worst.field if worst.apart else '-'}"
        )
    for d in differences:
        if d.kind in ("angle", "chin", "shoulders") and (d.field.endswith(".value") or not d.is_equal):
            lines.append(f"    {d.field}: {d.values[0]} and {d.values[1]}{'' if d.is_equal else '  OUT'}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--heads", nargs="+", default=["child_a"])
    parser.add_argument("--rounds", type=int, default=2, help="of seven holds each; two are about 40 seconds")
    chosen = parser.parse_args(arguments)
    conditions = Conditions(target="camera")
    for name in chosen.heads:
        with tempfile.TemporaryDirectory() as folder:
            pictures = list(draw_pictures(name, HOLDS * chosen.rounds, HOLD_S))
            paths = write_pair(Path(folder), pictures)
            seconds, size = len(pictures) / RATE_HZ, f"{WIDTH_PX}x{HEIGHT_PX}"
            print(
                f"\n{name}: {seconds:.0f} s of {size}, camera rolled by {ROLL_DEG:g} and pitched by {PITCH_DEG:g}", flush=True
            )
            plain = measure_clip(paths[0], Settings(mirrored="no"), conditions)
            unknown = measure_clip(paths[1], Settings(), conditions)
            for from_scene in (False, True):
                stated = Settings(mirrored="yes", from_scene=from_scene)
                ours = read_clip(plain.seen, replace(stated, mirrored="no"), conditions)
                theirs = read_clip(unknown.seen, stated, conditions)
                held = ours.summary.habitual
                said = "no habitual posture" if held is None or held.tilt_deg is None else f"tilt {held.tilt_deg.value:.2f}"
                print(f"\nupright {'from the scene' if from_scene else 'as filmed'} ({said}): read as plain and as mirrored")
                print(table(list(compare(as_mirrored(document_of(ours)), document_of(theirs)))))
                both = [m.found.read.angles_deg for m in (ours, theirs)]
                n = min(map(len, both))
                apart = np.abs(both[0][:n] - both[1][:n])
                frames = ", ".join(
                    f"{which} {np.nanmean(a):.2f} (95 % under {np.nanquantile(a, 0.95):.2f})"
                    for which, a in zip(("tilt", "turn", "chin"), apart.T, strict=True)
                )
                print(f"single frames, mean difference: {frames}")
            known = measure_clip(paths[1], Settings(mirrored="yes"), conditions)
            settled = read_clip(unknown.seen, Settings(mirrored="yes"), conditions)
            exact = document_of(known) == document_of(settled), csv_of(known) == csv_of(settled)
            print(f"settled later against known from the start: summary equal {exact[0]}, track equal {exact[1]}")


if __name__ == "__main__":
    main()
