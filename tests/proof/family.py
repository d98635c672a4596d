"""A family's films and photographs over five years with known truth: ``python -m tests.proof.family [--films DIR] [--out DIR]``.

Nine films of a rendered child whose tilt to the left grows from 6 to 16 degrees, each in another light; one of them is mirrored and one
has no date. Beside them a posed photograph (JPEG, the head held straight), a photograph as phones take them (HEIC), and a film of another
child who tilts to the right. All are measured by the command line without a list, then with the list filled in but for the mirrored film,
then with that settled too. Printed are truth beside measured, and the words each time; the figures are left in the folder to be looked at.

The head does not grow older in five years and has no real hair, glasses or light: that the right film is doubted here is a lower bound of
what goes wrong with real faces.
"""

from __future__ import annotations

import argparse
import csv
import io
import tempfile
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from click.testing import CliRunner
from numpy.typing import NDArray
from PIL import Image

from posture.geometry.angles import line_of_sight, posture_matrix
from tests.proof.material import Rgb, heads_present, load_heads

CHILD, OTHER = "child_b", "child_a"
BORN = "2017-01"
WIDTH_PX, HEIGHT_PX, FOCAL_PX, RATE_HZ, SECONDS = 640, 480, 576.0, 10.0, 12.0
FIRST_TILT_DEG, LAST_TILT_DEG = -6.0, -16.0
"""To the child's left."""

SEED = 2026
"""Chosen before any figure was seen."""

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Planned:
    """One film or photograph of the timeline.

    Attributes
    ----------
    name : str
        Of the file.
    on : str
        When it was filmed in truth.
    tilt_deg : float
        That the child holds; + to its right.
    head : str
    mirrored, dated, posed : bool
    """

    name: str
    on: str
    tilt_deg: float
    head: str = CHILD
    mirrored: bool = False
    dated: bool = True
    posed: bool = False

    @property
    def is_film(self) -> bool:
        """Whether it moves."""
        return self.name.endswith(".mp4")


def plan() -> list[Planned]:
    """The whole timeline, in the order of time."""
    days = (
        "2019-03-10",
        "2019-10-26",
        "2020-06-13",
        "2021-01-30",
        "2021-09-18",
        "2022-05-07",
        "2022-12-24",
        "2023-08-12",
        "2024-03-30",
    )
    tilts = np.linspace(FIRST_TILT_DEG, LAST_TILT_DEG, len(days))
    films = [
        Planned(f"film{k + 1}.mp4", day, float(tilt), mirrored=k == 5, dated=k != 3)
        for k, (day, tilt) in enumerate(zip(days, tilts, strict=True))
    ]
    return [
        *films,
        Planned("other.mp4", "2021-05-16", 11.0, head=OTHER),
        Planned("school.jpg", "2021-10-04", 0.0, posed=True),
        Planned("phone.heic", "2023-02-11", -14.0),
    ]


def write_timeline(folder: Path, planned: Sequence[Planned], seconds: float = SECONDS) -> dict[str, float]:
    """Render every item that is not there yet; gives the true tilt of each, the median over its pictures."""
    folder.mkdir(parents=True, exist_ok=True)
    truth = {}
    for k, item in enumerate(planned):
        n = round(seconds * RATE_HZ) if item.is_film else 1
        rng = np.random.default_rng([SEED, k])
        angles = _angles(item, n, rng)
        truth[item.name] = float(np.median(angles[:, 0]))
        path = folder / item.name
        if path.is_file():
            continue
        pictures = [_mirror(picture) if item.mirrored else picture for picture in _pictures(item, angles, rng)]
        if item.is_film:
            _write_film(path, pictures, item.on if item.dated else None)
        else:
            _write_photograph(path, pictures[0], item.on)
    return truth


def _angles(item: Planned, n: int, rng: np.random.Generator) -> Array:
    """Tilt, turn and chin of each picture, (n, 3): what is held, with small movements about it."""
    if n == 1:
        return np.array([[item.tilt_deg, rng.uniform(-6, 6), rng.uniform(-6, 4)]])
    wander = load_heads().wander
    moves = [wander(n, RATE_HZ, rng, spread, 2.0) for spread in (0.8, 3.0, 2.5)]
    return np.stack(moves, 1) + np.array([item.tilt_deg, rng.uniform(-5, 5), rng.uniform(-6, 2)])


def _pictures(item: Planned, angles: Array, rng: np.random.Generator) -> list[Rgb]:
    """The pictures of an item, in a light and before a room of its own."""
    heads = load_heads()
    head, camera = heads.load(item.head), heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX)
    place = np.array([rng.uniform(-0.08, 0.08), rng.uniform(0.0, 0.06), rng.uniform(0.65, 0.9)])
    azimuth, elevation = line_of_sight(place)
    room = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(99)))
    light = (rng.uniform(-0.8, 0.8), rng.uniform(0.1, 0.7), rng.uniform(0.5, 1.0))
    cast, gain = rng.uniform([0.9, 0.97, 0.75], [1.15, 1.03, 1.1]), float(rng.uniform(0.75, 1.2))
    drawn = []
    for tilt, turn, chin in angles:
        rotation = posture_matrix(tilt, turn + azimuth, chin + elevation)
        picture = heads.render(head, rotation, camera, place, background=room, light=light)
        drawn.append(heads.degrade(np.clip(picture * cast, 0, 255), rng, 2.5, 0.0, gain))
    return drawn


def _mirror(picture: Rgb) -> Rgb:
    """The picture, left and right exchanged."""
    return np.ascontiguousarray(picture[:, ::-1])


def _write_film(path: Path, pictures: Sequence[Rgb], on: str | None) -> None:
    """A film with its date in the container, or without any."""
    import av

    with av.open(str(path), "w") as container:
        if on is not None:
            container.metadata["creation_time"] = f"{on}T12:00:00Z"
        stream = container.add_stream("h264", rate=round(RATE_HZ))
        stream.width, stream.height, stream.pix_fmt = WIDTH_PX, HEIGHT_PX, "yuv420p"
        stream.options = {"crf": "21"}
        for picture in pictures:
            container.mux(stream.encode(av.VideoFrame.from_ndarray(picture, format="rgb24")))
        container.mux(stream.encode())


def _write_photograph(path: Path, picture: Rgb, on: str) -> None:
    """A photograph with the date that the camera writes."""
    exif = Image.Exif()
    exif.get_ifd(0x8769)[0x9003] = f"{on.replace('-', ':')} 12:00:00"
    kind = {}
    if path.suffix == ".heic":
        import pillow_heif

        pillow_heif.register_heif_opener()
        kind = {"format": "HEIF"}
    Image.fromarray(picture).save(path, exif=exif.tobytes(), quality=92, **kind)


def run_family(films: Path, out: Path) -> str:
    """Run the command; gives what it printed."""
    from posture.cli import main as commands

    result = CliRunner().invoke(commands, ["family", str(films), "--out", str(out), "--born", BORN])
    if result.exit_code:
        raise RuntimeError(
            f"Expected the command to end well; it ended with {result.exit_code}: {result.output}"
        ) from result.exception
    return result.output


def fill_in(path: Path, said: Mapping[str, Mapping[str, str]]) -> None:
    """Fill in cells of the list, by the name of the file."""
    rows = list(csv.DictReader(io.StringIO(path.read_text(encoding="utf-8"))))
    with path.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, list(rows[0]))
        writer.writeheader()
        writer.writerows(row | dict(said.get(row["file"], {})) for row in rows)


def first_answers(planned: Sequence[Planned]) -> dict[str, dict[str, str]]:
    """What somebody knows who has looked at every film, but not yet at the side of the mirrored one nor at the faces."""
    answers = {}
    for item in planned:
        answers[item.name] = {"mirrored": "" if item.mirrored else "no"}
        if not item.is_film:
            answers[item.name]["posed"] = "yes" if item.posed else "no"
    return answers


def table(out: Path, films: Path, planned: Sequence[Planned], truth: Mapping[str, float]) -> str:
    """Truth beside measured; in the true sides, so far as a side is settled."""
    import hashlib

    from posture.summary.files import read_summary

    lines = [f"{'file':<12}{'filmed':<12}{'truth':>7}{'measured':>10}{'interval':>18}"]
    for item in planned:
        sha256 = hashlib.sha256((films / item.name).read_bytes()).hexdigest()
        path = out / "results" / f"{sha256[:16]}.summary.json"
        if not path.is_file():
            lines.append(f"{item.name:<12}{item.on:<12}{truth[item.name]:>7.1f}{'nothing':>10}")
            continue
        summary = read_summary(path)
        held = summary.habitual.tilt_deg if summary.habitual else summary.moment.tilt_deg if summary.moment else None
        size = summary.unsided.tilt_size_deg if summary.unsided else None
        shown = held or size
        value = "none" if shown is None else f"{shown.value:.1f}{'' if held else ' ?'}"
        interval = "" if shown is None else f"{shown.low:.1f} to {shown.high:.1f}"
        lines.append(f"{item.name:<12}{item.on:<12}{truth[item.name]:>7.1f}{value:>10}{interval:>18}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--films", type=Path, help="folder of the films; those that are there are not rendered again")
    parser.add_argument("--out", type=Path, help="folder for the results")
    chosen = parser.parse_args(arguments)
    if not heads_present():
        raise SystemExit("The rendered heads are not here.")
    with tempfile.TemporaryDirectory() as folder:
        films, out = chosen.films or Path(folder, "films"), chosen.out or Path(folder, "out")
        planned = plan()
        truth = write_timeline(films, planned)
        answers = first_answers(planned)
        steps: list[tuple[str, Mapping[str, Mapping[str, str]]]] = [
            ("no list", {}),
            ("the list filled in, the side of one film open", answers),
            ("that film settled as mirrored", {item.name: {"mirrored": "yes"} for item in planned if item.mirrored}),
        ]
        for words, said in steps:
            if said:
                fill_in(out / "family.csv", said)
            printed = run_family(films, out)
            print(f"\n=== {words}\n{printed}\n{table(out, films, planned, truth)}", flush=True)
            if chosen.out:
                (out / "course.png").rename(out / f"course-{words.replace(' ', '-').replace(',', '')}.png")


if __name__ == "__main__":
    main()
