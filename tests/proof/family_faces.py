"""How often one face is doubted and another is not: ``python -m tests.proof.family_faces [--each N] [--clips]``.

Every rendered head in other postures, lights, colours of light, exposures, distances, rooms and noise each time. A portrait is taken on the
path of films, and all pairs are compared. Printed for each number and for the distance that decides: how well it tells faces apart (the
chance that two pictures of one head are nearer than two of different heads), and for the rule as it is used, the median over five others,
how often the right head is doubted and another one is not, and which heads are taken for each other.

With ``--clips`` the same for the few people of real clips, who were told apart by eye; they are few, small in the picture, and grown up.

The heads do not grow, laugh or wear glasses; ten faces are few, and two pairs among them are alike on purpose or by chance. These figures
say how the numbers bear light and posture, and nothing of how well a child of two is known again at seven.
"""

from __future__ import annotations

import argparse
from collections import Counter
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from posture.face.faces import FacesFollower
from posture.family.alike import UNLIKE, FaceLooks, how_alike, looks_of
from posture.geometry.angles import line_of_sight, posture_matrix
from posture.see import see_clip
from tests.proof.material import CLIPS, Rgb, frame_of, load_heads

WIDTH_PX, HEIGHT_PX, FOCAL_PX = 640, 480, 576.0
SEED = 77
"""Not that of the pictures on which the threshold was chosen."""

CASTS = ((1.0, 1.0, 1.0), (1.15, 1.0, 0.8), (0.88, 1.0, 1.12), (1.08, 1.0, 0.92), (1.2, 1.0, 0.7))
"""Colours of light, from a clear sky to a bulb."""

REAL = {
    "eat.mkv": "A",
    "head-pose-face-detection-female-and-male.gif": "BC",
    "head-pose-face-detection-female.gif": "C",
    "head-pose-face-detection-male.gif": "B",
    "milk.mkv": "D",
    "no.mkv": "E",
    "yes.mkv": "E",
}
"""Who is who in the real clips, a letter for each person in the order of the program, as seen by eye in their portraits."""

OTHERS = 5
"""An item is compared with so many others."""


def draw_portraits(names: Sequence[str], each: int, seed: int = SEED) -> list[tuple[str, NDArray[np.uint8]]]:
    """Portraits of heads, taken as in films, each in another light and posture; a picture without a face is left out."""
    heads, rng = load_heads(), np.random.default_rng(seed)
    found = []
    for name in names:
        head = heads.load(name)
        for _ in range(each):
            portrait = _portrait(_draw(head, rng))
            if portrait is not None:
                found.append((name, portrait))
    return found


def _draw(head: object, rng: np.random.Generator) -> Rgb:
    """One picture of a head."""
    heads = load_heads()
    tilt, turn, chin = rng.uniform(-18, 18), rng.uniform(-25, 25), rng.uniform(-15, 12)
    light = (rng.uniform(-0.9, 0.9), rng.uniform(0, 0.8), rng.uniform(0.4, 1))
    place = np.array([rng.uniform(-0.1, 0.1), rng.uniform(-0.05, 0.08), rng.uniform(0.6, 1.1)])
    azimuth, elevation = line_of_sight(place)
    room = heads.room((WIDTH_PX, HEIGHT_PX), int(rng.integers(99)))
    rotation = posture_matrix(tilt, turn + azimuth, chin + elevation)
    picture = heads.render(head, rotation, heads.Camera(WIDTH_PX, HEIGHT_PX, FOCAL_PX), place, background=room, light=light)
    picture = np.clip(picture * np.array(CASTS[rng.integers(len(CASTS))]), 0, 255)
    drawn: Rgb = heads.degrade(picture, rng, rng.uniform(1, 5), rng.uniform(0, 0.8), rng.uniform(0.6, 1.3))
    return drawn


def _portrait(picture: Rgb) -> NDArray[np.uint8] | None:
    """The portrait of the face in a picture, on the path that films take."""
    with FacesFollower() as follower:
        follower.look(frame_of(picture))
        portraits = [stretch.portrait for stretch in follower.stretches if stretch.portrait is not None]
    return portraits[0] if portraits else None


def chance_nearer(same: NDArray[np.float64], other: NDArray[np.float64]) -> float:
    """The chance that two pictures of one head are nearer than two of different heads."""
    order = np.sort(other)
    return float(1 - np.searchsorted(order, same).mean() / len(order))


def real_lines() -> list[str]:
    """How the people of the real clips compare."""
    seen = [
        (who, person.portrait)
        for name, letters in REAL.items()
        for who, person in zip(letters, see_clip(CLIPS / name, every_s=0.2).persons, strict=True)
    ]
    looks = looks_of([portrait for _, portrait in seen])
    known = [(who, face) for (who, _), face in zip(seen, looks, strict=True) if face is not None]
    pairs = [(a, b, how_alike(one, other)) for k, (a, one) in enumerate(known) for b, other in known[k + 1 :]]
    same = [found.distance for a, b, found in pairs if a == b]
    others = [(a + b, found.distance) for a, b, found in pairs if a != b]
    missed = [f"{who} {distance:.2f}" for who, distance in others if distance <= UNLIKE]
    return [
        f"real clips: {len(known)} faces of {len(set(who for who, _ in known))} people",
        f"    one person: {', '.join(f'{distance:.2f}' for distance in same)}; doubted {sum(d > UNLIKE for d in same)} of {len(same)}",
        f"    two people: {min(d for _, d in others):.2f} to {max(d for _, d in others):.2f}; not doubted {len(missed)} of {len(others)}"
        f" ({', '.join(missed)})",
    ]


def main(arguments: Sequence[str] | None = None) -> None:
    """Print every figure."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--each", type=int, default=10, help="pictures of each head")
    parser.add_argument("--clips", action="store_true", help="compare the people of the real clips too")
    chosen = parser.parse_args(arguments)
    portraits = draw_portraits(load_heads().names(), chosen.each)
    looks = looks_of([portrait for _, portrait in portraits])
    known = [(name, face) for (name, _), face in zip(portraits, looks, strict=True) if face is not None]
    print(f"{len(portraits)} portraits, {len(known)} with a face in them")
    names = np.array([name for name, _ in known])
    faces: list[FaceLooks] = [face for _, face in known]
    n = len(faces)
    alike = [[how_alike(one, other) for other in faces] for one in faces]
    is_same = names[:, None] == names[None]
    upper = np.triu(np.ones((n, n), bool), 1)
    distance = np.array([[a.distance for a in row] for row in alike])
    for words, values in (
        ("picture", np.array([[a.picture for a in row] for row in alike])),
        ("shape", np.array([[a.shape for a in row] for row in alike])),
        ("distance", distance),
    ):
        same, other = values[upper & is_same], values[upper & ~is_same]
        ends = [*np.quantile(same, (0.5, 0.95)), *np.quantile(other, (0.05, 0.5))]
        print(
            f"{words:<9} told apart {chance_nearer(same, other):.3f}; one head: median {ends[0]:.3f}, 95 % under {ends[1]:.3f};"
            f" two heads: 5 % under {ends[2]:.3f}, median {ends[3]:.3f}"
        )
    same, other = distance[upper & is_same], distance[upper & ~is_same]
    print(f"a pair alone: one head doubted {np.mean(same > UNLIKE):.3f}, two heads not doubted {np.mean(other <= UNLIKE):.3f}")
    rng = np.random.default_rng(SEED)
    doubted, missed, taken = [], [], Counter[str]()
    for head in np.unique(names):
        own = np.flatnonzero(names == head)
        for i in range(n):
            others = rng.choice(own[own != i], min(OTHERS, len(own) - 1), replace=False)
            is_doubted = bool(np.median(distance[i, others]) > UNLIKE)
            if names[i] == head:
                doubted.append(is_doubted)
            else:
                missed.append(not is_doubted)
                taken[f"{names[i]} among {head}"] += not is_doubted
    print(
        f"median over {OTHERS} others: the right head doubted in {sum(doubted)} of {len(doubted)} ({np.mean(doubted):.3f}), another not"
        f" doubted in {sum(missed)} of {len(missed)} ({np.mean(missed):.3f})"
    )
    for words, count in taken.most_common(8):
        if count:
            print(f"    {words}: {count} of {chosen.each}")
    if chosen.clips:
        print("\n".join(real_lines()))


if __name__ == "__main__":
    main()
