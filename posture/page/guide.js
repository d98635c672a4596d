// The live guide: the tilt now, as figures and as a drawing, and how long it has been held. It stands before film.js in one script.
// Pictures go to a process on this computer one at a time, the newest only, and nothing of them is kept.

const GUIDE_MS = 60; // From one picture to the next, if the answer has come by then.
const GUIDE_PX = 480;
const GUIDE_QUALITY = 0.7;
const GUIDE_PATIENCE_MS = 1000; // For an answer; then the next picture is sent.
const GUIDE_LATE_MS = 100; // Of the camera's next picture.
const GUIDE_HERE_MS = 20000; // How often it is told that the page is still there, while no tilt is shown.
const GUIDE_STARTING = "The guide is starting.";
const GUIDE_UNKNOWN = "The tilt is not known just now.";
const GUIDE_HTML = `
<section class="g-guide" aria-label="The tilt now" hidden>
  <svg class="g-drawing" viewBox="-130 -120 260 216" aria-hidden="true">
    <line class="g-level" x1="-120" x2="120" y1="-24" y2="-24" />
    <g class="g-head"><path d="M-62 -22 C-64 -84 -34 -104 0 -104 C34 -104 64 -84 62 -22 C60 28 34 66 0 66 C-34 66 -60 28 -62 -22 Z" />
      <path d="M-62 -34 c-14 -4 -16 30 -2 34 M62 -34 c14 -4 16 30 2 34" />
      <line class="g-eyes" x1="-46" x2="46" y1="-24" y2="-24" /><circle cx="-27" cy="-24" r="5" /><circle cx="27" cy="-24" r="5" /></g>
    <text x="-128" y="90">child's right</text><text x="128" y="90" text-anchor="end">child's left</text>
  </svg>
  <div class="g-told"><p class="g-figure"></p><p class="g-say"></p><p class="g-held"></p><p class="g-beyond"></p><p class="g-how"></p></div>
</section>`;

// Once for every run of the component: takes in what the server says, and begins with the first that asks for it.
function drawGuide(state) {
  if (!state.data.guide || state.guide) return;
  state.root.insertAdjacentHTML("beforeend", GUIDE_HTML);
  const root = state.root.querySelector(".g-guide");
  const names = ["head", "drawing", "figure", "say", "held", "beyond", "how"];
  const at = Object.fromEntries(names.map((name) => [name, root.querySelector(`.g-${name}`)]));
  state.guide = { root, at, canvas: Object.assign(document.createElement("canvas"), { width: GUIDE_PX }), taken: -Infinity, told: -Infinity, known: null,
    track: null, frame: null };
  followGuide(state);
}

// Where it stands: with the camera before filming, on the examiner's screen in the steps that tilt the head.
function placeGuide(state) {
  const { guide, data } = state;
  if (!guide) return;
  const isFilmed = state.phase === "filming" && data.guide?.steps.includes(state.step?.what.key);
  const place = state.phase === "filming" ? state.at.child : state.at.ready;
  if (guide.root.parentNode !== place) place.prepend(guide.root);
  guide.root.hidden = !data.guide || !(isFilmed || state.phase === "ready");
}

async function followGuide(state) {
  const { guide } = state;
  while (state.root.isConnected) {
    if (guide.frame && !guide.root.hidden) await nextPicture(guide);
    const began = performance.now();
    try {
      if (state.data.guide?.address && state.stream) await askGuide(state, began);
    } catch {
      // No answer: what was known grows old and is taken away.
    }
    tellGuide(state);
    const left = GUIDE_MS - (performance.now() - began);
    await new Promise((done) => { setTimeout(done, Math.max(guide.root.hidden ? 250 : 0, left)); });
  }
}

async function askGuide(state, began) {
  const { guide } = state;
  watchTrack(guide, state.stream.getVideoTracks()[0]);
  const source = guide.frame || state.at.preview;
  const isShown = !guide.root.hidden && (source.displayWidth || source.videoWidth) > 0;
  if (!isShown && began - guide.told < GUIDE_HERE_MS) return;
  guide.told = began;
  const body = isShown ? pictureOf(guide.canvas, source) : "";
  const answer = await fetch(`${state.data.guide.address}?at=${began / 1000}`, { method: "POST", body, cache: "no-store",
    credentials: "omit", referrerPolicy: "no-referrer", headers: { "Content-Type": "image/jpeg" },
    signal: AbortSignal.timeout(GUIDE_PATIENCE_MS) });
  if (answer.status === 200) Object.assign(guide, { known: await answer.json(), taken: began });
}

// Keeps the camera's newest picture, where the browser gives it as it comes; elsewhere it is taken from the video element.
async function watchTrack(guide, track) {
  if (guide.track === track || !window.MediaStreamTrackProcessor) return;
  guide.track = track;
  const pictures = new MediaStreamTrackProcessor({ track, maxBufferSize: 1 }).readable.getReader();
  for (;;) {
    const { value, done } = await pictures.read().catch(() => ({ done: true }));
    if (guide.track !== track) return value?.close();
    guide.frame?.close();
    guide.frame = done ? null : value;
    guide.came?.();
    if (done) return undefined;
  }
}

// Waits for the next picture: what is sent has then just come.
function nextPicture(guide) {
  return Promise.race([new Promise((came) => { guide.came = came; }), new Promise((late) => { setTimeout(late, GUIDE_LATE_MS); })]);
}

// Made into a JPEG at once: what makes one in the background waits until the browser has nothing else to do, and it films.
function pictureOf(canvas, source) {
  canvas.height = Math.round((GUIDE_PX * (source.displayHeight || source.videoHeight)) / (source.displayWidth || source.videoWidth));
  canvas.getContext("2d", { willReadFrequently: true }).drawImage(source, 0, 0, canvas.width, canvas.height);
  const letters = atob(canvas.toDataURL("image/jpeg", GUIDE_QUALITY).split(",")[1]);
  return new Blob([Uint8Array.from(letters, (letter) => letter.charCodeAt(0))]);
}

function tellGuide(state) {
  const { guide, data } = state;
  if (guide.root.hidden || !data.guide) return;
  const { at, known, taken } = guide;
  const isNew = performance.now() - taken <= 1000 * data.guide.old_s;
  const tilt = isNew ? known.tilt_deg : null;
  const isSeen = tilt !== null;
  at.drawing.classList.toggle("g-unknown", !isSeen);
  at.head.setAttribute("transform", `rotate(${isSeen ? -tilt : 0} 0 66)`); // Rightwards is to the left as one looks at the child.
  put(at.figure, isSeen ? `${Math.round(Math.abs(tilt))}°` : "–");
  const waits = data.guide.address ? GUIDE_UNKNOWN : GUIDE_STARTING;
  put(at.say, isNew ? known.say : waits);
  put(at.held, isSeen ? `held ${Math.floor(known.held_s)} s, within 3 degrees` : "");
  put(at.beyond, isSeen ? known.beyond : "");
  put(at.how, data.guide.level);
  clearTimeout(guide.ageing);
  if (isNew) guide.ageing = setTimeout(() => tellGuide(state), 1000 * data.guide.old_s + 20 - (performance.now() - taken));
}
