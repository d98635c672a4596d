"""How far the live guide is behind the camera: ``python -m tests.proof.guide_delay [--seconds 20]``.

The fake camera of headless Chromium plays a drawn child that tilts its head to and fro; in a corner of every picture stands its
number, in black and white blocks. The number is read from the camera's own pictures as they come, with their time, and again from
the small pictures that are sent to be looked at. Delay: from when the camera gave the picture to when the page has drawn the tilt
that was read from it. A second measure needs no number: the lag by which the tilt shown fits the true tilt best.
"""

from __future__ import annotations

import argparse
import json
import os
import tempfile
import time
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from posture.samples import render_child
from tests.proof.browsers import browser_with, inside, open_guide, page_in, press, until, write_camera

N_PICTURES, RATE_HZ = 240, 30.0
"""Eight seconds, again and again: every number stands for one picture of these."""

SWING_DEG = 20.0

BITS, BLOCK_PX = 8, 40
"""Of the number, the lowest at the left; a block is 15 px in the small picture."""

PORT = 8614

STEP = "tilt-right"

OBSERVE = """
window.seen = { frames: [], posts: [], shown: [] };
const log = window.seen;
const stream = h.querySelector('.f-preview').srcObject;
const pictures = new MediaStreamTrackProcessor({ track: stream.getVideoTracks()[0].clone() }).readable.getReader();
(async () => {
  const rect = { x: 0, y: 0, width: BITS * BLOCK, height: BLOCK };
  let buffer = null;
  for (;;) {
    const { value: frame, done } = await pictures.read();
    if (done) return;
    const came = performance.now();
    buffer ??= new Uint8Array(frame.allocationSize({ rect }));
    const [{ offset, stride }] = await frame.copyTo(buffer, { rect });
    const wide = frame.format.startsWith('RGB') || frame.format.startsWith('BGR') ? 4 : 1;
    let number = 0;
    for (let i = 0; i < BITS; i += 1) if (buffer[offset + stride * BLOCK / 2 + wide * (BLOCK * i + BLOCK / 2)] > 128) number += 1 << i;
    log.frames.push([number, frame.timestamp / 1000, came]);
    frame.close();
  }
})();
const real = window.fetch.bind(window);
window.fetch = async (address, how) => {
  const post = { blob: how?.body, sent: performance.now(), answered: 0 };
  const answer = await real(address, how);
  if (post.blob instanceof Blob && answer.status === 200) { post.answered = performance.now(); log.posts.push(post); }
  return answer;
};
const head = h.querySelector('.g-head');
new MutationObserver(() => {
  const entry = { post: log.posts.length - 1, deg: -parseFloat(head.getAttribute('transform').slice(7)) };
  requestAnimationFrame(() => setTimeout(() => { entry.at = performance.now(); log.shown.push(entry); }, 0));
}).observe(head, { attributes: true, attributeFilter: ['transform'] });
return true;
""".replace("BITS", str(BITS)).replace("BLOCK", str(BLOCK_PX))

TAKE = """
const done = arguments[arguments.length - 1];
(async () => {
  const log = window.seen;
  window.seen = { ...log };
  const pen = new OffscreenCanvas(480, 270).getContext('2d', { willReadFrequently: true });
  const posts = [];
  for (const { blob, sent, answered } of log.posts) {
    pen.drawImage(await createImageBitmap(blob), 0, 0);
    const side = SIDE, row = pen.getImageData(0, side / 2 | 0, 480, 1).data;
    let number = 0;
    for (let i = 0; i < BITS; i += 1) if (row[4 * (side * i + (side / 2 | 0))] > 128) number += 1 << i;
    posts.push([number, sent, answered]);
  }
  const shown = log.shown.filter((e) => e.post >= 0).map((e) => [e.post, e.deg, e.at]);
  const out = { frames: log.frames.slice(), posts, shown };
  log.frames.length = log.posts.length = log.shown.length = 0;
  done(JSON.stringify(out));
})();
""".replace("BITS", str(BITS)).replace("SIDE", str(BLOCK_PX * 480 // 1280))


def main() -> None:
    """Film, measure before and while filming, print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=20.0)
    parser.add_argument("--port", type=int, default=PORT)
    parser.add_argument("--screenshots", type=Path, help="folder for a picture of the page in either state")
    arguments = parser.parse_args()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        write_camera(folder / "child.mjpeg", [numbered(i) for i in range(N_PICTURES)])
        with page_in(folder, arguments.port) as (address, _), browser_with(folder, folder / "child.mjpeg") as browser:
            open_guide(browser, address)
            inside(browser, OBSERVE)
            time.sleep(2)  # Until connections are made and what runs first has run.
            browser.execute_async_script(TAKE)
            before = watch(browser, arguments.seconds)
            if arguments.screenshots:
                browser.save_screenshot(str(arguments.screenshots / "guide-ready.png"))
            press(browser, "f-start")
            inside(
                browser,
                f"const s = h.querySelector('.f-jump'); s.value = {jump_to(browser)}; s.dispatchEvent(new Event('change'))",
            )
            until(lambda: "Tilt to the right" in inside(browser, "return h.querySelector('.f-title').innerText"), "the step")
            press(browser, "f-main")
            until(lambda: not inside(browser, "return h.querySelector('.g-guide').hidden"), "the guide in the step")
            browser.execute_async_script(TAKE)
            while_filming = watch(browser, 6.5)
            if arguments.screenshots:
                browser.save_screenshot(str(arguments.screenshots / "guide-filming.png"))
            version = browser.capabilities["browserVersion"]
    load = os.getloadavg()[0]
    print(f"headless Chromium {version}, 1280 x 720 at 30 a second, {os.cpu_count()} cores, load {load:.1f}")
    tell("camera on, nothing filmed", before)
    tell("while a step is filmed", while_filming)


def numbered(number: int) -> NDArray[np.uint8]:
    """A picture of the drawn child with its number in the corner."""
    picture = np.array(render_child(float(tilt_of(number)), 0, 0, width_px=1280, height_px=720, focal_px=1150.0))
    for bit in range(BITS):
        picture[:BLOCK_PX, BLOCK_PX * bit : BLOCK_PX * (bit + 1)] = 255 * (number >> bit & 1)
    return picture


def tilt_of(number: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """True tilt of the picture with this number, degrees."""
    return SWING_DEG * np.sin(2 * np.pi * np.asarray(number) / N_PICTURES)


def watch(browser: Any, length_s: float) -> dict[str, NDArray[np.float64]]:
    """What was seen and shown in so many seconds."""
    time.sleep(length_s)
    browser.set_script_timeout(120)
    return {name: np.array(rows, float) for name, rows in json.loads(browser.execute_async_script(TAKE)).items()}


def jump_to(browser: Any) -> int:
    """The place of the step in the list of the recorder."""
    return int(
        inside(browser, "return [...h.querySelector('.f-jump').options].findIndex(o => o.text.includes('Tilt to the right'))")
    )


def tell(what: str, log: dict[str, NDArray[np.float64]]) -> None:
    """Print the delays of one state."""
    delays_ms, error_deg = delays(log)
    kept = np.diff(log["shown"][:, 2])
    print(f"{what}: {len(delays_ms)} values, {1000 / np.median(kept):.1f} a second; delay median {np.median(delays_ms):.0f} ms,"
          f" 95 % {np.percentile(delays_ms, 95):.0f} ms, longest {delays_ms.max():.0f} ms; within 150 ms {np.mean(delays_ms < 150):.0%}")  # fmt: skip
    came, age = log["frames"][:, 2] - capture_times(log), ages(log)
    drawn = log["shown"][:, 2] - log["posts"][log["shown"][:, 0].astype(int), 2]
    for stage, times_ms in (
        ("the page has a picture", came),
        ("it is taken to be sent", age),
        ("drawn after the answer", drawn),
    ):
        print(f"    {stage}: median {np.median(times_ms):.0f} ms, 95 % {np.percentile(times_ms, 95):.0f} ms")
    spent = log["posts"][:, 2] - log["posts"][:, 1]
    print(f"    of which from sending to the answer: median {np.median(spent):.0f} ms, 95 % {np.percentile(spent, 95):.0f} ms")
    print(
        f"    tilt shown against the tilt of its picture: mean size of the difference {np.mean(np.abs(error_deg)):.2f} degrees"
    )
    print(f"    without numbers: the tilt shown fits the true tilt {best_lag_ms(log):.0f} ms earlier best")


def delays(log: dict[str, NDArray[np.float64]]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Delay (ms) of every value shown, and its difference from the truth (degrees)."""
    captured_ms = capture_times(log)
    out = []
    for post, deg, at_ms in log["shown"]:
        number, sent_ms, _ = log["posts"][int(post)]
        before = (log["frames"][:, 0] == number) & (captured_ms <= sent_ms)
        if before.any():
            out.append((at_ms - captured_ms[before].max(), deg - float(tilt_of(number))))
    made = np.array(out)
    return made[:, 0], made[:, 1]


def ages(log: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """How old (ms) the pictures were when they were taken to be sent."""
    captured_ms = capture_times(log)
    out = [
        sent - captured_ms[(log["frames"][:, 0] == number) & (captured_ms <= sent)].max(initial=-np.inf)
        for number, sent, _ in log["posts"]
    ]
    return np.array([age for age in out if np.isfinite(age)])


def capture_times(log: dict[str, NDArray[np.float64]]) -> NDArray[np.float64]:
    """When the camera gave its pictures, on the page's clock (ms): their own times, moved to the picture that came soonest."""
    _, stamp_ms, came_ms = log["frames"].T
    return np.asarray(stamp_ms + (came_ms - stamp_ms).min())


def best_lag_ms(log: dict[str, NDArray[np.float64]]) -> float:
    """The lag at which the tilts shown are nearest to the true ones."""
    captured_ms, truth_deg = capture_times(log), tilt_of(log["frames"][:, 0])
    order = np.argsort(captured_ms)
    _, deg, at_ms = log["shown"].T
    lags_ms = np.arange(0, 600, 5.0)
    misses = [np.abs(np.interp(at_ms - lag, captured_ms[order], truth_deg[order]) - deg).mean() for lag in lags_ms]
    return float(lags_ms[int(np.argmin(misses))])


if __name__ == "__main__":
    main()
