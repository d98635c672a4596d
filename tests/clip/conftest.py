"""Clips made on the spot: every file these tests read is written by them."""

import io
from collections.abc import Callable, Iterable
from fractions import Fraction
from pathlib import Path
from types import SimpleNamespace

import av
import numpy as np
import pytest
from PIL import Image

WIDTH, HEIGHT = 160, 120


def blob_picture(x: float, y: float, width: int = WIDTH, height: int = HEIGHT, sigma: float = 3.0) -> np.ndarray:
    """A grey picture (h, w, 3) with one soft white dot centred on (x, y)."""
    columns, rows = np.meshgrid(np.arange(width), np.arange(height))
    dot = np.exp(-((columns - x) ** 2 + (rows - y) ** 2) / (2 * sigma**2))
    return np.repeat(np.rint(40 + 180 * dot).astype(np.uint8)[:, :, None], 3, axis=2)


def blob_centre(rgb: np.ndarray) -> tuple[float, float]:
    """Centre of the dot, weighted by how much brighter than the ground it is."""
    grey = rgb.astype(float).mean(axis=2)
    weight = np.clip(grey - grey.min() - 8, 0, None)
    rows, columns = np.indices(grey.shape)
    return float((columns * weight).sum() / weight.sum()), float((rows * weight).sum() / weight.sum())


def write_video(
    path: Path,
    pictures: Iterable[np.ndarray | av.VideoFrame],
    *,
    rate: int = 30,
    times_s: Iterable[float] | None = None,
    codec: str = "libx264",
    pix_fmt: str = "yuv420p",
    size: tuple[int, int] | None = None,
    options: dict[str, str] | None = None,
    container_options: dict[str, str] | None = None,
    metadata: dict[str, str] | None = None,
    turn: tuple[int, bool] | None = None,
    pixel_shape: Fraction | None = None,
    bit_rate: int | None = None,
    prepare: Callable | None = None,
) -> Path:
    """Encode RGB pictures; times in seconds, or counted from the rate."""
    quality = {"libx264": {"qp": "0", "preset": "ultrafast"}}.get(codec, {})
    with av.open(str(path), "w", options=container_options or {}) as container:
        stream = container.add_stream(codec, rate=rate, options={**quality, **(options or {})})
        container.metadata.update(metadata or {})
        times = iter(times_s) if times_s is not None else None
        for index, picture in enumerate(pictures):
            frame = picture if isinstance(picture, av.VideoFrame) else av.VideoFrame.from_ndarray(picture, format="rgb24")
            if index == 0:
                stream.width, stream.height = size or (frame.width, frame.height)
                stream.pix_fmt = pix_fmt
                stream.codec_context.time_base = Fraction(1, 1000) if times is not None else Fraction(1, rate)
                if bit_rate:
                    stream.bit_rate = bit_rate
                if turn is not None:
                    stream.set_display_rotation(turn[0], hflip=turn[1])
                if pixel_shape is not None:
                    stream.codec_context.sample_aspect_ratio = pixel_shape
                if prepare is not None:
                    prepare(stream)
            frame.time_base = Fraction(1, 1000) if times is not None else Fraction(1, rate)
            frame.pts = round(next(times) * 1000) if times is not None else index
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return path


def moving_pictures(count: int, width: int = WIDTH, height: int = HEIGHT) -> list[np.ndarray]:
    """Pictures with a dot that moves right by one pixel each."""
    return [blob_picture(20 + index % (width - 40), height / 2, width, height) for index in range(count)]


def photo_bytes(picture: np.ndarray, photo_format: str = "JPEG", exif: Image.Exif | None = None, **options: object) -> bytes:
    """Encode one picture with Pillow."""
    file = io.BytesIO()
    if exif is not None:
        options["exif"] = exif
    Image.fromarray(picture).save(file, format=photo_format, **options)
    return file.getvalue()


@pytest.fixture(scope="session")
def make() -> SimpleNamespace:
    """The functions above, under one name."""
    return SimpleNamespace(
        blob=blob_picture,
        centre=blob_centre,
        video=write_video,
        moving=moving_pictures,
        photo=photo_bytes,
        width=WIDTH,
        height=HEIGHT,
    )


@pytest.fixture(scope="session")
def film(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One second of film at 30 frames a second."""
    return write_video(tmp_path_factory.mktemp("film") / "film.mp4", moving_pictures(30))


@pytest.fixture(scope="session")
def bombs(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """Small files of 8192 x 8192 pictures: an MP4, and a transport stream that begins small."""
    folder = tmp_path_factory.mktemp("bombs")
    frame = av.VideoFrame(8192, 8192, "yuv420p")
    for plane in frame.planes:
        plane.update(bytes(plane.buffer_size))
    thrifty = {"qp": "30", "threads": "1", "bframes": "0", "ref": "1"}
    whole = write_video(folder / "bomb.mp4", [frame] * 2, options=thrifty)
    small = write_video(folder / "small.ts", moving_pictures(20))
    large = folder / "large.ts"
    with av.open(str(whole)) as source, av.open(str(large), "w") as target:
        stream = target.add_stream_from_template(source.streams.video[0])
        for packet in source.demux(video=0):
            if packet.dts is not None:
                packet.stream = stream
                target.mux(packet)
    grows = folder / "grows.ts"
    grows.write_bytes(small.read_bytes() + large.read_bytes())
    return {"whole": whole, "stream": large, "grows": grows}
