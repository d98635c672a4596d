"""The elements of the recorder, which film.js fills and shows."""

from __future__ import annotations

RECORDER = """
<div class="f-root">
  <div class="f-off">
    <p class="f-error" role="alert"></p>
    <button type="button" class="f-on">Turn the camera on</button>
    <button type="button" class="f-again">Try again</button>
  </div>
  <div class="f-ready">
    <div class="f-ways">
      <label>Camera <select class="f-camera"></select></label>
      <label>Picture <select class="f-size">
        <option value="1280x720" selected>1280 x 720, best</option>
        <option value="854x480">854 x 480, for a slow computer</option>
        <option value="640x480">640 x 480, older cameras</option>
      </select></label>
    </div>
    <p class="f-light" role="status"></p>
    <p class="f-face" role="status"></p>
    <details><summary>Show the picture, to set the camera up (not mirrored; close it before the child looks)</summary>
      <video class="f-preview" muted playsinline></video>
      <button type="button" class="f-own">In a window of its own, for a second screen</button></details>
    <button type="button" class="f-start">Start filming</button>
  </div>
  <p class="f-done" role="status"></p>
  <dialog class="f-child" aria-label="Filming">
    <div class="f-target"></div>
    <div class="f-bar">
      <p class="f-say" role="alert"></p>
      <div class="f-heads"><p class="f-title"></p><p class="f-time"></p><p class="f-left"></p></div>
      <p class="f-how"></p>
      <div class="f-buttons">
        <button type="button" class="f-main"></button>
        <button type="button" class="f-repeat" title="r">Again</button>
        <button type="button" class="f-skip" title="s">Skip</button>
        <select class="f-jump" aria-label="Go to a step"></select>
        <button type="button" class="f-stop">Stop</button>
        <details><summary>Picture</summary><video class="f-peek" muted playsinline></video></details>
      </div>
    </div>
  </dialog>
</div>
"""
