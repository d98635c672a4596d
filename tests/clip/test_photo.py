"""Photographs: upright, dated, bounded, never through FFmpeg."""

import sys
import zlib

import numpy as np
import pytest
from PIL import Image

from posture.clip import open_clip
from posture.errors import ClipError

ORIENTATION, EXIF_PART, TAKEN, FOCAL_35MM, WIDTH, HEIGHT = 0x0112, 0x8769, 0x9003, 0xA405, 0xA002, 0xA003
STORED_FROM_SHOWN = {
    1: lambda shown: shown,
    2: lambda shown: shown[:, ::-1],
    3: lambda shown: shown[::-1, ::-1],
    4: lambda shown: shown[::-1],
    5: lambda shown: shown.transpose(1, 0, 2),
    6: lambda shown: np.rot90(shown, 1),
    7: lambda shown: np.rot90(shown, 2).transpose(1, 0, 2),
    8: lambda shown: np.rot90(shown, -1),
}


def exif(orientation=None, **part):
    """An EXIF block with an orientation and tags of the camera part."""
    block = Image.Exif()
    if orientation is not None:
        block[ORIENTATION] = orientation
    block.get_ifd(EXIF_PART).update(
        {{"taken": TAKEN, "focal": FOCAL_35MM, "w": WIDTH, "h": HEIGHT}[k]: v for k, v in part.items()}
    )
    return block


@pytest.fixture
def shown(make):
    return make.blob(100, 30)


@pytest.mark.parametrize("orientation", range(1, 9))
def test_photograph_is_upright(tmp_path, make, shown, orientation):
    stored = np.ascontiguousarray(STORED_FROM_SHOWN[orientation](shown))
    path = tmp_path / "a.jpg"
    path.write_bytes(make.photo(stored, "JPEG", exif(orientation), quality=98))
    with open_clip(path) as clip:
        (frame,) = clip.frames()
        assert (clip.info.kind, clip.info.width_px, clip.info.height_px) == ("photograph", 160, 120)
        assert ("turned upright as the photograph says" in clip.info.steps) == (orientation != 1)
    assert frame.time_s == 0.0
    assert make.centre(frame.rgb()) == pytest.approx((100, 30), abs=0.1)
    assert frame.rgb().flags["C_CONTIGUOUS"]
    assert make.centre(frame.region_rgb(70, 0, 60, 60)) == pytest.approx((30, 30), abs=0.1)


@pytest.mark.parametrize("photo_format", ["JPEG", "PNG", "WEBP", "TIFF", "BMP", "GIF", "HEIF", "AVIF"])
def test_kinds_of_photograph(tmp_path, make, shown, photo_format):
    if photo_format == "HEIF":
        pytest.importorskip("pillow_heif").register_heif_opener()
    path = tmp_path / "a.mp4"  # The name does not matter.
    path.write_bytes(make.photo(shown, photo_format))
    with open_clip(path) as clip:
        assert clip.info.kind == "photograph"
        assert make.centre(next(clip.frames()).rgb()) == pytest.approx((100, 30), abs=0.3)
        assert clip.info.duration_s is None
        assert clip.progress(0.0) == 1.0


@pytest.mark.parametrize("mode", ["L", "RGBA", "CMYK", "I;16"])
def test_colour_modes(tmp_path, make, shown, mode):
    picture = Image.fromarray(shown)
    if mode == "I;16":
        picture = Image.fromarray(shown[:, :, 0].astype(np.uint16) * 257)
    path = tmp_path / "a.tif"
    (picture if mode == "I;16" else picture.convert(mode)).save(path)
    with open_clip(path) as clip:
        rgb = next(clip.frames()).rgb()
    assert rgb.shape == (120, 160, 3)
    assert make.centre(rgb) == pytest.approx((100, 30), abs=0.5)
    assert int(rgb.max()) == pytest.approx(220, abs=2)


@pytest.mark.parametrize(
    ("taken", "expected"),
    [
        pytest.param("2014:05:06 23:59:58", "2014-05-06", id="good"),
        pytest.param("0000:00:00 00:00:00", None, id="zeros"),
        pytest.param("1980:01:01 00:00:00", None, id="clock not set"),
        pytest.param("2999:01:01 00:00:00", None, id="future"),
        pytest.param("yesterday", None, id="words"),
        pytest.param(None, None, id="absent"),
    ],
)
def test_date_taken(tmp_path, make, shown, taken, expected):
    path = tmp_path / "a.jpg"
    path.write_bytes(make.photo(shown, "JPEG", exif(taken=taken) if taken else None))
    with open_clip(path) as clip:
        assert clip.info.filmed_on == expected
        source = "written by the camera into the photograph" if expected else None
        assert clip.info.filmed_on_source == source


@pytest.mark.parametrize(
    ("tags", "expected"),
    [
        # A 4:3 picture of 160 x 120 has a diagonal of 200 pixels, the film one of 43.27 mm.
        pytest.param({"focal": 26}, 26 * 200 / 43.2666, id="by the diagonal"),
        pytest.param({"focal": 26, "w": 4032, "h": 3024}, 26 * 200 / 43.2666, id="same shape, shrunk"),
        pytest.param({"focal": 26, "w": 3024, "h": 4032}, 26 * 200 / 43.2666, id="same shape, turned"),
        pytest.param({"focal": 26, "w": 4032, "h": 2268}, None, id="cropped"),
        pytest.param({"focal": 0}, None, id="unknown"),
        pytest.param({}, None, id="absent"),
    ],
)
def test_focal_length(tmp_path, make, shown, tags, expected):
    path = tmp_path / "a.jpg"
    path.write_bytes(make.photo(shown, "JPEG", exif(**tags)))
    with open_clip(path) as clip:
        assert clip.info.focal_px == (None if expected is None else pytest.approx(expected, rel=1e-4))
        assert any("focal length" in step for step in clip.info.steps) == (expected is not None)


def test_info_holds_nothing_else_of_the_file(tmp_path, make, shown):
    block = exif(taken="2014:05:06 10:00:00")
    block[0x013B], block[0x010E] = "Secret Artist", "Secret Place"
    path = tmp_path / "Anna Secret.jpg"
    path.write_bytes(make.photo(shown, "JPEG", block))
    with open_clip(path) as clip:
        assert "Secret" not in repr(clip.info)


def test_animated_gif_is_a_video(tmp_path, make):
    path = tmp_path / "a.gif"
    pictures = [Image.fromarray(make.blob(40 + 10 * index, 60)) for index in range(5)]
    pictures[0].save(path, save_all=True, append_images=pictures[1:], duration=200)
    with open_clip(path) as clip:
        assert clip.info.kind == "video"
        frames = list(clip.frames(0))
        assert [frame.time_s for frame in frames] == pytest.approx([0, 0.2, 0.4, 0.6, 0.8])
        centres = [make.centre(frame.region_rgb(0, 0, 120, 120))[0] for frame in frames]
    assert centres == pytest.approx([40, 50, 60, 70, 80], abs=0.5)


def test_first_of_several_pictures(tmp_path, make, shown):
    path = tmp_path / "a.png"
    Image.fromarray(shown).save(path, save_all=True, append_images=[Image.fromarray(255 - shown)])
    with open_clip(path) as clip:
        assert "first picture of several" in clip.info.steps
        assert make.centre(next(clip.frames()).rgb()) == pytest.approx((100, 30), abs=0.1)


@pytest.mark.parametrize(
    ("width", "height", "came"),
    [
        pytest.param(9000, 7000, "9000 x 7000", id="above our limit"),
        pytest.param(10000, 10000, "10000 x 10000", id="above Pillow's warning"),
        pytest.param(20000, 20000, "far more", id="above Pillow's limit"),
    ],
)
def test_bombs_are_refused_before_decoding(tmp_path, make, width, height, came, monkeypatch):
    path = tmp_path / "bomb.png"
    data = bytearray(make.photo(np.zeros((8, 8, 3), np.uint8), "PNG"))
    data[16:24] = width.to_bytes(4, "big") + height.to_bytes(4, "big")
    # The checksum of the header is corrected, so that only the size is wrong.
    data[29:33] = zlib.crc32(data[12:29]).to_bytes(4, "big")
    path.write_bytes(data)
    monkeypatch.setattr("posture.clip.photo._decode", lambda _: pytest.fail("decoded"))
    with pytest.raises(ClipError, match=f"at most 60 megapixels; 'bomb.png' has {came}"):
        open_clip(path)


def test_large_file_is_refused_before_it_is_read(tmp_path, make, shown, monkeypatch):
    path = tmp_path / "a.jpg"
    path.write_bytes(make.photo(shown))
    monkeypatch.setattr("posture.clip.photo.MAX_PHOTO_BYTES", 1000)
    with pytest.raises(ClipError, match="Expected a photograph of at most"):
        open_clip(path)


def test_cut_off_photograph_is_refused(tmp_path, make, shown):
    path = tmp_path / "a.jpg"
    path.write_bytes(make.photo(shown)[:-600])
    with pytest.raises(ClipError, match=r"'a\.jpg' is damaged"):
        open_clip(path)


def test_heic_without_its_library_says_so(tmp_path, monkeypatch):
    path = tmp_path / "a.heic"
    path.write_bytes(b"\0\0\0\x18ftypheic" + bytes(100))
    monkeypatch.setitem(sys.modules, "pillow_heif", None)
    with pytest.raises(ClipError, match="pillow-heif cannot be loaded"):
        open_clip(path)
