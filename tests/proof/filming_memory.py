"""Memory and disk while the page films: ``python -m tests.proof.filming_memory [--minutes 10]``.

Headless Chromium films the drawn child at 720p from a fake camera, with the noise of a webcam; every ten seconds the resident memory of the page's server, of the tab
and of the whole browser is printed, and the size of the film on disk. At the end the recording is erased on the page, and what is
left in its folder is told.
"""

from __future__ import annotations

import argparse
import os
import tempfile
import time
from pathlib import Path
from typing import Any, NamedTuple

import numpy as np
from numpy.typing import NDArray

from posture.samples import render_child
from tests.proof.browsers import browser_with, click, inside, page_in, press, text_of, until, write_camera

EVERY_S = 10.0

SETTLED_S = 180.0
"""Memory is compared from then on: until about then the tab grows to what it works in."""

DRAWN = 40
"""Different pictures that the camera's film goes to and fro between."""

NOISE = 4.0
"""Standard deviation of the noise, in steps of grey: what is drawn plainly would make a film a tenth of the usual size."""

PORT = 8613


class Row(NamedTuple):
    """Megabytes at a time of the recording."""

    time_s: float
    server_mb: float
    tab_mb: float
    browser_mb: float
    film_mb: float


def main() -> None:
    """Film, print the rows, erase, and say what is left."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, default=10.0)
    parser.add_argument("--port", type=int, default=PORT)
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_camera(folder / "child.mjpeg", noisy_pictures())
        with page_in(folder, arguments.port) as (address, server), browser_with(folder, folder / "child.mjpeg") as browser:
            rows = film(browser, address, server, folder, 60 * arguments.minutes)
            left = sorted(str(p.relative_to(folder)) for p in recordings(folder).iterdir())
            served = server_mb(server)
        kept = sorted(str(p.relative_to(folder)) for p in (folder / "data").rglob("*") if p.is_file())
    tell(rows)
    print(
        f"after erasing: server {served:.0f} MB; left in the folder of the recordings: {left or 'nothing'}; files left: {kept or 'none'}"
    )


def noisy_pictures() -> list[NDArray[np.uint8]]:
    """The drawn child swaying to and fro, 720p."""
    chance = np.random.default_rng(1)
    made = []
    for tilt_deg in np.linspace(-12, 12, DRAWN):
        picture = render_child(tilt_deg, tilt_deg / 2, 0, width_px=1280, height_px=720, focal_px=1150.0)
        made.append(np.clip(picture + chance.normal(0, NOISE, picture.shape), 0, 255).astype(np.uint8))
    return made + made[-2:0:-1]


def film(browser: Any, address: str, server: int, folder: Path, length_s: float) -> list[Row]:
    """Film for so long and erase it; a row every `EVERY_S`."""
    browser.get(address)
    until(lambda: "Choose a clip" in text_of(browser), "the first view")
    until(lambda: browser.find_elements("xpath", "//*[self::label or self::button][normalize-space(.)='Film now']"), "Film now")
    click(browser, "*[self::label or self::button]", "Film now")
    press(browser, "f-on")
    press(browser, "f-start")
    until(lambda: list(recordings(folder).glob("*/film.webm")), "the first piece")
    (path,) = recordings(folder).glob("*/film.webm")
    tab = tab_of(browser)
    began_s, rows = time.monotonic(), []
    size = inside(browser, "const v = h.querySelector('.f-preview'); return `${v.videoWidth} x ${v.videoHeight}`")
    print(f"the camera's picture: {size}")
    print("time_s  server  tab  browser  film  (MB)", flush=True)
    while (now_s := time.monotonic() - began_s) < length_s:
        size_mb = path.stat().st_size / 1e6
        rows.append(Row(now_s, server_mb(server), rss_mb(tab), sum(map(rss_mb, family(browser.service.process.pid))), size_mb))
        print("{:6.0f} {:7.0f} {:5.0f} {:7.0f} {:6.1f}".format(*rows[-1]), flush=True)
        time.sleep(max(0.0, began_s + EVERY_S * len(rows) - time.monotonic()))
    press(browser, "f-stop")
    until(lambda: "Recorded:" in text_of(browser), "the recording")
    print("the page says:", next(line for line in text_of(browser).splitlines() if line.startswith("Recorded:")))
    print("trouble told while filming:", inside(browser, "return h.querySelector('.f-say').innerText") or "none")
    click(browser, "button", "Erase it and film anew")
    until(lambda: not list(recordings(folder).iterdir()), "the recording to be erased")
    return rows


def tell(rows: list[Row]) -> None:
    """The slope of each kind of memory once it has settled."""
    settled = np.array([row for row in rows if row.time_s >= SETTLED_S] or rows)
    for name, column in (("server", 1), ("tab", 2), ("browser", 3)):
        values = settled[:, column]
        slope = np.polyfit(settled[:, 0] / 60, values, 1)[0] if len(settled) > 1 else float("nan")
        print(f"{name}: {values[0]:.0f} MB after {SETTLED_S / 60:.0f} minutes, {values[len(values) // 2]:.0f} in the middle, {values[-1]:.0f} at the end;"
              f" least {values.min():.0f}, most {values.max():.0f}; slope {slope:+.2f} MB a minute")  # fmt: skip


def recordings(folder: Path) -> Path:
    """Where recordings lie."""
    return folder / "data" / "posture" / "recordings"


def server_mb(pid: int) -> float:
    """Of the page's process alone."""
    return rss_mb(pid)


def rss_mb(pid: int) -> float:
    """Resident memory of a process; 0 of one that has ended."""
    try:
        return int(Path(f"/proc/{pid}/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE") / 1e6
    except OSError:
        return 0.0


def family(pid: int) -> list[int]:
    """All processes below one."""
    parents: dict[int, list[int]] = {}
    for stat in Path("/proc").glob("[0-9]*/stat"):
        try:
            text = stat.read_text()
        except OSError:
            continue
        parents.setdefault(int(text.rpartition(")")[2].split()[1]), []).append(int(stat.parent.name))
    found, waiting = [], [pid]
    while waiting:
        children = parents.get(waiting.pop(), [])
        found += children
        waiting += children
    return found


def tab_of(browser: Any) -> int:
    """The process of the tab: the largest of the browser's renderers."""
    renderers = [
        pid for pid in family(browser.service.process.pid) if b"--type=renderer" in Path(f"/proc/{pid}/cmdline").read_bytes()
    ]
    return max(renderers, key=rss_mb)


if __name__ == "__main__":
    main()
