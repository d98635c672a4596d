"""Videos: upright, at their own times, without combs, in a thread that always ends."""

import threading
import time
from fractions import Fraction

import av
import cv2
import numpy as np
import pytest
from av.filter import Graph

from posture.clip import DEFAULT_EVERY_S, open_clip, upright_from_window
from posture.clip.container import decode_with, opened
from posture.clip.frame import Frame, Upright
from posture.clip.planes import ArrayPicture, DecodedPicture
from posture.clip.reader import MAX_WAITING, AheadReader
from posture.clip.source import examine
from posture.clip.times import Spacing
from posture.errors import ClipError

TURNS = [(0, False), (90, False), (180, False), (270, False), (0, True), (90, True), (180, True), (270, True)]


def as_stored(shown, turn):
    """What a file must store so that it is shown as given: turned counter-clockwise by degrees, then mirrored."""
    degrees, mirrored = turn
    return np.ascontiguousarray(np.rot90(shown[:, ::-1] if mirrored else shown, -degrees // 90))


def reader_threads():
    return [thread for thread in threading.enumerate() if thread.name == "clip-reader"]


def one_frame(path):
    with open_clip(path) as clip:
        return next(iter(clip.frames(0)))


# Upright, and where windows lie -------------------------------------------------------------------------------------------


@pytest.mark.parametrize("turn", TURNS)
def test_frames_are_upright(tmp_path, make, turn):
    path = make.video(tmp_path / "a.mp4", [as_stored(make.blob(110, 40), turn)] * 2, turn=turn)
    with open_clip(path) as clip:
        frame = next(iter(clip.frames(0)))
        assert (clip.info.width_px, clip.info.height_px) == (frame.width_px, frame.height_px) == (160, 120)
        assert any("turned counter-clockwise by" in step for step in clip.info.steps) == (turn[0] != 0)
        assert any("left and right exchanged" in step for step in clip.info.steps) == turn[1]
    rgb = frame.rgb()
    assert (rgb.shape, rgb.dtype, rgb.flags["C_CONTIGUOUS"]) == ((120, 160, 3), np.uint8, True)
    assert make.centre(rgb) == pytest.approx((110, 40), abs=0.05)


@pytest.mark.parametrize("turn", TURNS)
@pytest.mark.parametrize(
    ("left", "top", "side", "out"),
    [
        pytest.param(90, 20, 40, 40, id="copy"),
        pytest.param(80.3, 12.7, 51.9, 256, id="enlarged"),
        pytest.param(85.25, 15.5, 44.0, 50, id="a little enlarged"),
        pytest.param(60.4, -20.2, 103.7, 70, id="shrunk by less than 2, over the edge"),
        pytest.param(10.9, -31.3, 140.1, 48, id="shrunk by 3, over the edge"),
        pytest.param(-100.7, -150.2, 430.6, 96, id="shrunk, wider than the picture"),
    ],
)
def test_points_land_where_the_formula_says(tmp_path, make, turn, left, top, side, out):
    x, y = 108.3, 38.6
    frame = one_frame(make.video(tmp_path / "a.mp4", [as_stored(make.blob(x, y), turn)] * 2, turn=turn))
    window = frame.region_rgb(left, top, side, out)
    assert (window.shape, window.dtype) == ((out, out, 3), np.uint8)
    column, row = make.centre(window)
    expected = (x - left + 0.5) * out / side - 0.5, (y - top + 0.5) * out / side - 0.5
    assert (column, row) == pytest.approx(expected, abs=0.1)
    back = upright_from_window([[column, row]], left, top, side, out)
    assert back[0] == pytest.approx((x, y), abs=0.1 * max(1, side / out))


@pytest.mark.parametrize("factor", [1, 2, 3, 7])
def test_shrinking_large_pictures_keeps_the_place(make, factor):
    """A picture of an odd size, where nothing divides evenly."""
    picture = make.blob(1401.37, 603.81, 1913, 1071, sigma=14)
    frame = Frame(0.0, ArrayPicture(picture), Upright(1913, 1071))
    left, top, side, out = 1300.21, 500.43, 250.7, max(24, round(250.7 / factor))
    column, row = make.centre(frame.region_rgb(left, top, side, out))
    scale = out / side
    assert (column, row) == pytest.approx(((1401.37 - left + 0.5) * scale - 0.5, (603.81 - top + 0.5) * scale - 0.5), abs=0.1)


def test_whole_window_is_a_plain_copy(tmp_path, make):
    frame = one_frame(make.video(tmp_path / "a.mp4", make.moving(2)))
    assert np.abs(frame.region_rgb(7, 11, 60, 60).astype(int) - frame.rgb()[11:71, 7:67]).max() <= 2


def test_window_outside_repeats_the_edge():
    picture = np.zeros((40, 60, 3), np.uint8)
    picture[:, 0], picture[:, -1] = 50, 200
    frame = Frame(0.0, ArrayPicture(picture), Upright(60, 40))
    assert np.unique(frame.region_rgb(-500, 5, 100, 32)).tolist() == [50]
    assert np.unique(frame.region_rgb(1e6, -1e6, 1000.5, 32)).tolist() == [200]
    assert frame.region_rgb(-1e5, -1e5, 2e5, 32).shape == (32, 32, 3)


@pytest.mark.parametrize(
    ("window", "message"),
    [
        ((np.nan, 0, 10, 10), "finite window"),
        ((0, np.inf, 10, 10), "finite window"),
        ((0, 0, 0, 10), "positive side"),
        ((0, 0, -5, 10), "positive side"),
        ((0, 0, 10, 0), "out_px from 1"),
        ((0, 0, 10, 100_000), "out_px from 1"),
    ],
)
def test_windows_that_make_no_sense(window, message):
    frame = Frame(0.0, ArrayPicture(np.zeros((40, 60, 3), np.uint8)), Upright(60, 40))
    with pytest.raises(ValueError, match=message):
        frame.region_rgb(*window)


@pytest.mark.parametrize(("shape", "size"), [(Fraction(16, 15), (171, 120)), (Fraction(8, 9), (160, 135))])
@pytest.mark.parametrize("turn", [(0, False), (90, False)])
def test_pixels_are_made_square(tmp_path, make, shape, size, turn):
    stored = as_stored(make.blob(110, 40), (0, False))
    path = make.video(tmp_path / "a.mp4", [stored] * 2, pixel_shape=shape, turn=turn if turn[0] else None)
    with open_clip(path) as clip:
        assert any("made square" in step for step in clip.info.steps)
        frame = next(iter(clip.frames(0)))
    x, y = (110 + 0.5) * size[0] / 160 - 0.5, (40 + 0.5) * size[1] / 120 - 0.5
    if turn[0]:
        x, y, size = y, size[0] - 1 - x, size[::-1]
    assert (frame.width_px, frame.height_px) == (clip.info.width_px, clip.info.height_px) == size
    assert make.centre(frame.rgb()) == pytest.approx((x, y), abs=0.1)
    left, top = round(x) - 20.3, round(y) - 19.6
    expected = (x - left + 0.5) * 2 - 0.5, (y - top + 0.5) * 2 - 0.5
    assert make.centre(frame.region_rgb(left, top, 40, 80)) == pytest.approx(expected, abs=0.15)


# Colours ------------------------------------------------------------------------------------------------------------------


def coloured(width, height):
    """Soft patches of colour, without edges that chroma would smear."""
    rng = np.random.default_rng(3)
    return cv2.resize(rng.integers(30, 226, (4, 5, 3), dtype=np.uint8), (width, height), interpolation=cv2.INTER_LINEAR)


@pytest.mark.parametrize(
    "pix_fmt", ["yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "yuv420p10le", "yuv422p10le", "gray"]
)
@pytest.mark.parametrize("size", [(160, 120), (161, 121)])
def test_window_has_the_colours_of_the_whole(pix_fmt, size):
    width, height = size
    picture = coloured(width, height)
    frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(format=pix_fmt, threads=1)
    whole = DecodedPicture(frame).rgb()
    for x0, y0, x1, y1 in [(0, 0, width, height), (3, 5, 64, 78), (width - 1, height - 1, width, height), (7, 2, 8, height)]:
        part = DecodedPicture(frame).crop_rgb(x0, y0, x1, y1)
        assert part.shape == (y1 - y0, x1 - x0, 3)
        assert np.abs(part.astype(int) - whole[y0:y1, x0:x1]).max() <= 12  # Chroma is spread differently at gradients.
        assert np.abs(part.astype(int) - whole[y0:y1, x0:x1]).mean() <= 2
    if pix_fmt != "gray":
        assert np.abs(whole.astype(int) - picture).mean() <= 3


@pytest.mark.parametrize(
    "pix_fmt", ["yuv420p", "yuvj420p", "yuv422p", "yuvj422p", "yuv444p", "yuv420p10le", "yuv422p10le", "gray"]
)
@pytest.mark.parametrize("size", [(160, 120), (161, 121)])
@pytest.mark.parametrize("shrink", [(2, 2), (3, 3), (3, 2), (7, 5)])
def test_part_that_is_shrunk_has_the_means_of_the_whole(pix_fmt, size, shrink):
    """Also of the last blocks, which repeat the edge, and from odd columns and rows on."""
    width, height = size
    frame = av.VideoFrame.from_ndarray(coloured(width, height), format="rgb24").reformat(format=pix_fmt, threads=1)
    whole = DecodedPicture(frame).rgb()
    for x0, y0, x1, y1 in [(0, 0, width, height), (4, 6, 64, 79), (3, 5, 64, 78), (width - 1, height - 1, width, height)]:
        small = DecodedPicture(frame).crop_rgb(x0, y0, x1, y1, shrink)
        columns, rows = -(-(x1 - x0) // shrink[0]), -(-(y1 - y0) // shrink[1])
        pad = ((0, rows * shrink[1] - (y1 - y0)), (0, columns * shrink[0] - (x1 - x0)), (0, 0))
        blocks = np.pad(whole[y0:y1, x0:x1].astype(float), pad, "edge").reshape(rows, shrink[1], columns, shrink[0], 3)
        assert small.shape == (rows, columns, 3)
        assert np.abs(small - blocks.mean((1, 3))).max() <= 12
        assert np.abs(small - blocks.mean((1, 3))).mean() <= 2


@pytest.mark.parametrize("pix_fmt", ["yuv420p", "yuvj420p", "yuv444p", "yuv420p10le", "rgb24"])
@pytest.mark.parametrize("side", [30, 120])
def test_grey_window_is_the_luma_of_the_coloured_one(pix_fmt, side):
    grey_picture = np.repeat(np.tile(np.arange(0, 256, 2, dtype=np.uint8), (120, 1))[..., None], 3, axis=2)
    frame = av.VideoFrame.from_ndarray(grey_picture, format="rgb24").reformat(format=pix_fmt, threads=1)
    window = Frame(0.0, DecodedPicture(frame), Upright(128, 120)).region_grey(4, 0, 120, side)
    expected = Frame(0.0, ArrayPicture(grey_picture), Upright(128, 120)).region_rgb(4, 0, 120, side)
    assert window.shape == (side, side)
    assert np.abs(window.astype(int) - expected[..., 0]).max() <= 2


@pytest.mark.parametrize("full_range", [False, True])
def test_window_has_the_colours_of_high_definition(full_range):
    picture = coloured(160, 120)
    frame = av.VideoFrame.from_ndarray(picture, format="rgb24").reformat(
        format="yuv420p", dst_colorspace="ITU709", dst_color_range="JPEG" if full_range else "MPEG"
    )
    frame.colorspace, frame.color_range = 1, 2 if full_range else 1
    window = Frame(0.0, DecodedPicture(frame), Upright(160, 120)).region_rgb(10, 10, 100, 100)
    assert np.abs(window.astype(int) - picture[10:110, 10:110]).mean() <= 3


# Times --------------------------------------------------------------------------------------------------------------------


def test_times_of_a_steady_film(film):
    with open_clip(film) as clip:
        assert clip.info.duration_s == pytest.approx(1.0)
        times = [frame.time_s for frame in clip.frames(0)]
        assert times == pytest.approx([index / 30 for index in range(30)])
        assert (clip.dropped_frames, clip.damage_note) == (0, None)
        assert clip.info.steps == ("every frame",)
        assert [clip.progress(moment) for moment in (-1, 0.25, 9)] == pytest.approx([0, 0.25, 1])


def test_uneven_times_are_kept(tmp_path, make):
    given = [5.0, 5.01, 5.2, 5.21, 5.9, 6.0, 8.5]
    with open_clip(make.video(tmp_path / "a.mkv", make.moving(7), times_s=given)) as clip:
        assert [frame.time_s for frame in clip.frames(0)] == pytest.approx([moment - 5 for moment in given], abs=0.0011)


@pytest.mark.parametrize(
    ("rate", "step"), [(60, 4), (50, 3), (30, 2), (Fraction(30000, 1001), 2), (25, 2), (24, 2), (15, 1), (10, 1), (240, 16)]
)
@pytest.mark.parametrize("rounded", [False, True])
def test_default_spacing_is_even(rate, step, rounded):
    """Also when a container rounds times to milliseconds, and over a long film."""
    times = [round(float(index / rate), 3) if rounded else float(index / rate) for index in range(5000)]
    spacing = Spacing(DEFAULT_EVERY_S)
    assert [index for index, moment in enumerate(times) if spacing.takes(moment)] == list(range(0, 5000, step))


@pytest.mark.parametrize(("every_s", "expected"), [(None, 15), (0, 30), (0.5, 2), (100, 1), (1 / 30, 30), (0.1, 10)])
def test_frames_every(film, every_s, expected):
    with open_clip(film) as clip:
        assert len(list(clip.frames(every_s))) == expected


@pytest.mark.parametrize("every_s", [-1, float("nan"), float("inf")])
def test_frames_refuses_spacing(film, every_s):
    with open_clip(film) as clip, pytest.raises(ValueError, match="every_s to be 0 or more"):
        clip.frames(every_s)


def fake_frames(*times_s):
    """Stand-ins for decoded frames: times only; None is a frame without a time."""

    class Fake:
        def __init__(self, time_s):
            self.pts = None if time_s is None else round(time_s * 1000)
            self.dts, self.time_base = None, Fraction(1, 1000)

    return [Fake(time_s) for time_s in times_s]


@pytest.mark.parametrize(
    ("given", "expected", "dropped"),
    [
        pytest.param([1, 1.04, 1.04, 1.02, 1.08], [0, 0.04, 0.08], 2, id="not increasing"),
        pytest.param([50, 50.04, 50.08, 1, 1.04], [0, 0.04, 0.08, 0.12, 0.16], 0, id="clock starts again"),
        pytest.param([5, 5.04, 1, 5.12, 5.16], [0, 0.04, 0.08, 0.12, 0.16], 0, id="one stray time"),
        pytest.param([None, None, None], [0, 0.04, 0.08], 0, id="no times"),
        pytest.param([None, 7, 7.04], [0, 0.04, 0.08], 0, id="time missing at first"),
        pytest.param([7, None, 7.08], [0, 0.04, 0.08], 0, id="time missing between"),
    ],
)
def test_timeline(given, expected, dropped):
    from posture.clip.times import ReadLog, Timeline

    log = ReadLog()
    timeline = Timeline(0.04, log)
    times = [timeline.time_s(frame) for frame in fake_frames(*given)]
    assert [moment for moment in times if moment is not None] == pytest.approx(expected)
    assert log.dropped_frames == dropped


def test_timeline_without_times_and_rate_is_refused():
    from posture.clip.times import ReadLog, Timeline

    with pytest.raises(ClipError, match="neither times nor a frame rate"):
        Timeline(None, ReadLog()).time_s(fake_frames(None)[0])


def test_timeline_ends_after_four_hours():
    from posture.clip.times import ReadLog, Timeline

    timeline = Timeline(0.04, ReadLog())
    timeline.time_s(fake_frames(0)[0])
    with pytest.raises(ClipError, match=r"at most 4 hours; a frame came at 4\.2 h"):
        timeline.time_s(fake_frames(15000)[0])


def test_joined_transport_streams_are_read_through(tmp_path, make):
    part = make.video(tmp_path / "part.ts", make.moving(45)).read_bytes()
    path = tmp_path / "joined.ts"
    path.write_bytes(part + part)
    with open_clip(path) as clip:
        times = [frame.time_s for frame in clip.frames(0)]
    assert len(times) == 90
    assert np.diff(times) == pytest.approx(1 / 30, abs=0.001)
    assert any("start again" in step for step in clip.info.steps)


# Interlaced ---------------------------------------------------------------------------------------------------------------


def woven(index):
    """A frame of two half-pictures of different moments: a bright block that moves by 4 pixels from each to the next."""
    picture = np.full((120, 160, 3), 50, np.uint8)
    left = 10 + 8 * index
    picture[0::2, left : left + 50], picture[1::2, left + 4 : left + 54] = 200, 200
    return picture


def comb(rgb):
    """Mean difference of neighbouring rows."""
    return float(np.abs(np.diff(rgb.astype(int), axis=0)).mean())


@pytest.mark.parametrize(
    ("name", "codec", "options"),
    [
        pytest.param("a.mkv", "mpeg2video", {"flags": "+ildct+ilme"}, id="MPEG-2"),
        pytest.param("a.mp4", "libx264", {"x264-params": "tff=1", "qp": "4"}, id="H.264"),
    ],
)
def test_interlaced_material_loses_its_combs(tmp_path, make, name, codec, options):
    path = make.video(tmp_path / name, [woven(i) for i in range(12)], rate=25, codec=codec, options=options, bit_rate=8_000_000)
    with av.open(str(path)) as container:
        plain = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
    with open_clip(path) as clip:
        frames = list(clip.frames(0))
        assert "deinterlaced" in clip.info.steps
    assert [frame.time_s for frame in frames] == pytest.approx([i / 25 for i in range(12)], abs=0.001)
    assert comb(plain[6]) > 4
    assert comb(frames[6].rgb()) < 0.5
    # The block stays where one of its two half-pictures was.
    bright = np.flatnonzero(frames[6].rgb()[60, :, 0] > 125)
    assert 58 - 1 <= bright.min() <= 62 + 1
    assert 107 - 1 <= bright.max() <= 111 + 1


def test_progressive_material_is_left_alone(tmp_path, make):
    path = make.video(tmp_path / "a.mp4", [woven(i) for i in range(6)])
    with av.open(str(path)) as container:
        plain = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
    with open_clip(path) as clip:
        assert all(np.array_equal(frame.rgb(), other) for frame, other in zip(clip.frames(0), plain, strict=True))
        assert clip.info.steps == ("every frame",)


def test_deinterlacing_begins_in_mid_stream_and_loses_no_frame():
    from posture.clip.deinterlace import Deinterlacer
    from posture.clip.times import ReadLog

    def mark(frame, graph=None):
        graph = Graph()
        source = graph.add_buffer(width=160, height=120, format="yuv420p", time_base=Fraction(1, 25))
        graph.link_nodes(source, graph.add("setfield", "tff"), graph.add("buffersink")).configure()
        graph.push(frame)
        return graph.pull()

    frames = []
    for index in range(9):
        frame = av.VideoFrame.from_ndarray(woven(index), format="rgb24").reformat(format="yuv420p")
        frame.pts, frame.time_base = index, Fraction(1, 25)
        frames.append(mark(frame) if index >= 4 else frame)
    log = ReadLog()
    done = list(Deinterlacer(log).run(iter(frames)))
    assert [float(frame.pts * frame.time_base) for frame in done] == pytest.approx([index / 25 for index in range(9)])
    assert all(done[index] is frames[index] for index in range(4))
    assert log.steps == ["deinterlaced"]


# Damage -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", ["a.mkv", "a.mp4", "a.ts"])
def test_cut_off_film_gives_what_there_is(tmp_path, make, name, capfd):
    front = {"movflags": "+faststart"} if name.endswith("mp4") else {}
    path = make.video(tmp_path / name, make.moving(90), container_options=front)
    data = path.read_bytes()
    path.write_bytes(data[: int(len(data) * 0.6)])
    with open_clip(path) as clip:
        times = [frame.time_s for frame in clip.frames(0)]
        assert 20 <= len(times) < 75
        if name != "a.ts":  # A transport stream declares no duration: its end is where it ends.
            assert clip.damage_note is not None
            assert "the file ends early or is damaged after" in clip.damage_note
            assert clip.info.steps[-1] in clip.damage_note
    assert capfd.readouterr() == ("", "")


def test_film_cut_off_before_its_table_of_contents_is_refused(tmp_path, film):
    path = tmp_path / "a.mp4"
    path.write_bytes(film.read_bytes()[:2000])
    with pytest.raises(ClipError, match="cut off before its table of contents"):
        open_clip(path)


def test_film_without_a_decodable_picture_is_refused(tmp_path, film):
    data = bytearray(film.read_bytes())
    start, end = data.index(b"mdat") + 4, data.index(b"moov") - 4
    data[start:end] = np.random.default_rng(2).integers(0, 256, end - start, dtype=np.uint8).tobytes()
    path = tmp_path / "a.mp4"
    path.write_bytes(data)
    with pytest.raises(ClipError, match=r"no picture of 'a\.mp4' could be decoded"):
        open_clip(path)


def test_change_of_size_ends_with_an_error(tmp_path, make):
    path = tmp_path / "a.ts"
    parts = [make.video(tmp_path / f"{w}.ts", make.moving(20, w, 120)).read_bytes() for w in (160, 200)]
    path.write_bytes(b"".join(parts))
    seen = []
    with open_clip(path) as clip, pytest.raises(ClipError, match=r"change from 160 x 120 to 200 x 120 after 0\.6 s"):
        seen.extend(frame.time_s for frame in clip.frames(0))
    assert reader_threads() == []


# What the container says --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("metadata", "expected"),
    [
        ({"creation_time": "2012-07-15T12:00:00Z"}, "2012-07-15"),
        ({"creation_time": "1904-01-01T00:00:00Z"}, None),
        ({"creation_time": "1970-01-01T00:00:00Z"}, None),
        ({"creation_time": "1980-01-01T12:00:00Z"}, None),
        ({"creation_time": "2035-01-01T12:00:00Z"}, None),
        ({}, None),
    ],
)
@pytest.mark.parametrize("name", ["a.mp4", "a.mkv"])
def test_date_of_the_container(tmp_path, make, name, metadata, expected):
    path = make.video(tmp_path / name, make.moving(3), metadata={**metadata, "title": "Secret", "location": "+47.0+008.0/"})
    with open_clip(path) as clip:
        assert clip.info.filmed_on == expected
        assert clip.info.filmed_on_source == ("the container" if expected else None)
        assert "Secret" not in repr(clip.info)
        assert "+47" not in repr(clip.info)


def test_local_date_is_the_camera_s_own(tmp_path, make):
    """The camera's own local date goes before the UTC one, whatever the zone of this computer."""
    given = {"com.apple.quicktime.creationdate": "2012-07-15T23:30:00-0700", "creation_time": "2012-07-16T06:30:00Z"}
    path = make.video(tmp_path / "a.mov", make.moving(3), metadata=given, container_options={"movflags": "use_metadata_tags"})
    with open_clip(path) as clip:
        assert clip.info.filmed_on == "2012-07-15"


def test_unknown_duration_has_no_progress(tmp_path, make):
    path = make.video(tmp_path / "a.webm", make.moving(5), codec="libvpx", container_options={"live": "1"})
    with open_clip(path) as clip:
        assert clip.info.duration_s is None
        assert clip.progress(1.0) is None
        assert len(list(clip.frames(0))) == 5
        assert clip.damage_note is None


@pytest.mark.parametrize(
    ("name", "codec", "pix_fmt", "size"),
    [
        ("a.mov", "mjpeg", "yuvj422p", (160, 120)),
        ("a.m4v", "mpeg4", "yuv420p", (160, 120)),
        ("a.3gp", "mpeg4", "yuv420p", (176, 144)),
        ("a.mkv", "ffv1", "yuv420p10le", (160, 120)),
        ("a.webm", "libvpx", "yuv420p", (160, 120)),
        ("a.avi", "mpeg4", "yuv420p", (160, 120)),
        ("a.avi", "mjpeg", "yuvj420p", (160, 120)),
        ("a.wmv", "wmv2", "yuv420p", (160, 120)),
        ("a.flv", "flv1", "yuv420p", (160, 120)),
        ("a.mpg", "mpeg1video", "yuv420p", (160, 120)),
        ("a.m2v", "mpeg2video", "yuv420p", (160, 120)),
        ("a.m2ts", "mpeg2video", "yuv422p", (160, 120)),
        ("a.y4m", "wrapped_avframe", "yuv420p", (160, 120)),
        ("a.dv", "dvvideo", "yuv420p", (720, 576)),
    ],
)
def test_kinds_of_video(tmp_path, make, name, codec, pix_fmt, size):
    pictures = [make.blob(30 + 4 * index, 60, *size) for index in range(20)]
    path = make.video(tmp_path / name, pictures, rate=25, codec=codec, pix_fmt=pix_fmt, bit_rate=3_000_000)
    with open_clip(path) as clip:
        frames = list(clip.frames(0))
        assert (clip.damage_note, clip.dropped_frames) == (None, 0)
    assert [frame.time_s for frame in frames] == pytest.approx([index / 25 for index in range(20)], abs=0.0021)
    shape = frames[0].width_px / size[0]
    centres = [make.centre(frame.rgb())[0] for frame in frames[::6]]
    assert centres == pytest.approx([(30 + 4 * index + 0.5) * shape - 0.5 for index in range(0, 20, 6)], abs=1.0)


# The reader thread --------------------------------------------------------------------------------------------------------


def endless(stopping, made):
    picture = ArrayPicture(np.zeros((4, 4, 3), np.uint8))
    index = 0
    while not stopping():
        made.append(index)
        yield Frame(float(index), picture, Upright(4, 4))
        index += 1


def test_reader_stays_a_few_frames_ahead():
    made: list[int] = []
    reader = AheadReader(lambda stopping: endless(stopping, made), 16, "clip-reader")
    time.sleep(0.3)
    assert 1 <= len(made) <= MAX_WAITING + 1
    for _, frame in zip(range(50), reader, strict=False):
        assert len(made) - frame.time_s <= MAX_WAITING + 2
    reader.stop()
    assert reader_threads() == []


def test_large_pictures_wait_in_smaller_numbers():
    made: list[int] = []
    reader = AheadReader(lambda stopping: endless(stopping, made), 33_000_000, "clip-reader")
    time.sleep(0.3)
    assert len(made) <= 3
    reader.stop()


def test_reader_raises_what_the_thread_raised():
    def produce(stopping):
        yield from (frame for frame, _ in zip(endless(stopping, []), range(3), strict=False))
        raise ClipError("told from the thread")

    seen = []
    with pytest.raises(ClipError, match="told from the thread"):  # noqa: PT012
        for frame in AheadReader(produce, 16, "clip-reader"):
            seen.append(frame.time_s)
    assert seen == [0, 1, 2]
    assert reader_threads() == []


@pytest.mark.parametrize("way", ["break", "raise", "close", "leave", "again", "closed clip"])
def test_thread_ends_with_its_consumer(tmp_path, make, way):
    path = make.video(tmp_path / "a.mkv", make.moving(120))
    began = time.monotonic()
    with open_clip(path) as clip:
        frames = clip.frames(0)
        next(frames)
        assert len(reader_threads()) == 1
        if way == "break":
            for _ in frames:
                break
            del frames, _
        elif way == "raise":
            with pytest.raises(ZeroDivisionError):  # noqa: PT012
                for _ in clip.frames(0):
                    raise ZeroDivisionError
        elif way == "close":
            frames.close()
        elif way == "again":
            assert len(list(clip.frames())) == 60
            assert list(frames) == []
        elif way == "closed clip":
            clip.close()
            assert list(frames) == []
            with pytest.raises(ValueError, match="it was closed"):
                clip.frames()
        if way in ("close", "again", "closed clip"):
            assert reader_threads() == []
    assert reader_threads() == []
    assert time.monotonic() - began < 3


def test_clip_can_be_read_twice(film):
    with open_clip(film) as clip:
        first = [frame.time_s for frame in clip.frames()]
        assert [frame.time_s for frame in clip.frames()] == first
        assert len(clip.info.steps) == 1


def test_decode_with_sets_the_threads_of_every_later_video(film):
    source = examine(film)
    decode_with(1)
    try:
        with opened(source, threads=0) as (_, stream):
            assert stream.codec_context.thread_count == 1
    finally:
        decode_with(0)
    with opened(source, threads=3) as (_, stream):
        assert stream.codec_context.thread_count == 3


def test_threads_may_look_at_one_frame_at_once(tmp_path, make):
    """A format that is converted whole: unguarded, the threads stopped for ever after some frames."""
    path = make.video(tmp_path / "a.mkv", [make.blob(480, 270)] * 60, codec="ffv1", pix_fmt="bgr0")
    with open_clip(path) as clip:
        for frame in clip.frames(0):
            together, seen = threading.Barrier(4), []

            def look(frame=frame, together=together, seen=seen):
                together.wait(10)
                seen.append(frame.region_rgb(0, 0, 200, 100))

            threads = [threading.Thread(target=look, daemon=True) for _ in range(4)]
            for thread in threads:
                thread.start()
            for thread in threads:
                thread.join(10)
            assert len(seen) == 4
            assert all((other == seen[0]).all() for other in seen[1:])
