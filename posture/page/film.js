// Films with the camera of this computer. Pieces of a second go to the page's server as they come and are dropped here once they
// are on its disk; the screen that the child sees is dark and holds no picture.

const PIECE_MS = 1000;
const BITS_PER_S = 4e6; // At 720p a blink stays sharp; half an hour is below a gigabyte.
const PART_BYTES = 8190; // A multiple of three, so that the texts of parts can be joined.
const MOST_RECENT = 24; // Memory that is held for a while is counted as old, and makes the browser clear away pieces that are done with.
const MOST_PIECES = 8; // Sent at once, after a pause in the connection.
const MOST_WAITING = 20; // Pieces kept here without an answer; then filming pauses, so that memory does not grow.
const RESUME_BELOW = 4;
const ANSWER_MS = 5000; // Without an answer for so long the same pieces are sent again.
const LOOK_MS = 1000; // How often the light is looked at.
const FACE_MS = 2000; // How often a small picture is sent to be looked at for faces, before filming.
const FACE_PX = 480;
const SLEPT_MS = 6000; // A piece that comes so late: the computer slept.
const FADE_MS = 6000; // The examiner's bar fades when the mouse has rested so long.
const KINDS = ["video/webm;codecs=vp8", "video/webm", "video/mp4"];
const SIZES = { "1280x720": [1280, 720], "854x480": [854, 480], "640x480": [640, 480] };

const ERRORS = {
  NotAllowedError: "The browser may not use the camera. Press the camera sign beside the address above, allow the camera, then press Try again.",
  NotFoundError: "No camera was found. Plug one in, or open its shutter, then press Try again.",
  OverconstrainedError: "That camera is not there any more. Choose another one, then press Try again.",
  NotReadableError: "The camera is in use, perhaps by a program for calls. Close that program, then press Try again.",
  none: "This browser gives no camera to this page. Open the page in a current browser on this computer, by the address 127.0.0.1.",
};
const UNPLUGGED = "The camera was unplugged or taken away. What was recorded until then is kept and can be measured.";
const UNANSWERED = "The program does not answer. Filming goes on; leave this window open, and look whether the program still runs.";
const NO_SPACE = "What was recorded so far is kept and can be measured.";
const LIGHT = new OffscreenCanvas(64, 36).getContext("2d", { willReadFrequently: true });
const recent = [];
const states = new WeakMap();

export default function draw(component) {
  const root = component.parentElement.querySelector(".f-root");
  const data = component.data;
  if (!root || !data) return;
  let state = states.get(root);
  if (!state) {
    state = begin(root);
    states.set(root, state);
  }
  state.send = (value) => component.setTriggerValue("pieces", value);
  state.look = (text) => component.setTriggerValue("look", text);
  state.data = data;
  if (data.run === state.run) answered(state, data);
  drawGuide(state);
  show(state);
}

function begin(root) {
  const find = (name) => root.querySelector(name);
  const names = ["on", "again", "start", "camera", "size", "light", "face", "error", "preview", "child", "target", "bar", "title", "how",
    "time", "main", "skip", "repeat", "jump", "stop", "left", "say", "ready", "off", "peek", "done", "own"];
  const at = Object.fromEntries(names.map((name) => [name, find(`.f-${name}`)]));
  const state = { root, at, phase: "off", stream: null, recorder: null, run: null, data: {}, send: () => {}, queue: [], sent: null,
    next: 0, marks: [], notes: [], error: "", say: "", step: null, at_step: 0, moved: 0, clock: emptyClock(), timer: 0, full: 0 };
  at.on.addEventListener("click", () => turnOn(state));
  at.again.addEventListener("click", () => turnOn(state));
  at.camera.addEventListener("change", () => turnOn(state));
  at.size.addEventListener("change", () => turnOn(state));
  at.start.addEventListener("click", () => start(state));
  at.own.addEventListener("click", () => showApart(state));
  at.main.addEventListener("click", () => goOn(state));
  at.skip.addEventListener("click", () => skip(state));
  at.repeat.addEventListener("click", () => repeat(state));
  at.jump.addEventListener("change", () => choose(state, Number(at.jump.value)));
  at.stop.addEventListener("click", () => finish(state));
  at.child.addEventListener("cancel", (event) => event.preventDefault()); // Escape must not end an examination.
  at.child.addEventListener("pointermove", () => { state.moved = performance.now(); show(state); });
  at.child.addEventListener("keydown", (event) => pressed(state, event));
  window.addEventListener("beforeunload", (event) => { if (state.phase === "filming") event.preventDefault(); });
  state.timer = setInterval(() => tick(state), 250);
  return state;
}

// ---- The camera

async function turnOn(state) {
  letGo(state);
  state.error = "";
  if (!navigator.mediaDevices?.getUserMedia || !window.MediaRecorder) return fail(state, "none");
  const [width, height] = SIZES[state.at.size.value];
  const wanted = { width: { ideal: width }, height: { ideal: height }, frameRate: { ideal: 30, max: 30 } };
  if (state.at.camera.value) wanted.deviceId = { exact: state.at.camera.value };
  try {
    state.stream = await navigator.mediaDevices.getUserMedia({ video: wanted, audio: false });
  } catch (error) {
    return fail(state, error.name === "AbortError" ? "NotReadableError" : error.name);
  }
  const track = state.stream.getVideoTracks()[0];
  track.addEventListener("ended", () => lost(state));
  const devices = (await navigator.mediaDevices.enumerateDevices()).filter((device) => device.kind === "videoinput");
  const used = track.getSettings().deviceId;
  state.at.camera.replaceChildren(...devices.map((device, i) => new Option(device.label || `Camera ${i + 1}`, device.deviceId,
    false, device.deviceId === used)));
  state.at.preview.srcObject = state.stream;
  state.at.peek.srcObject = state.stream;
  for (const video of [state.at.preview, state.at.peek]) video.play().catch(() => {});
  state.phase = "ready";
  show(state);
}

function fail(state, name) {
  state.error = ERRORS[name] || `The camera could not be turned on (${name}). Plug it in anew, then press Try again.`;
  state.phase = "off";
  show(state);
}

function lost(state) {
  if (state.phase === "filming") {
    note(state, UNPLUGGED);
    finish(state);
  } else if (state.phase === "ready") fail(state, "NotFoundError");
}

// For the examiner, on a second screen that the child does not see; not mirrored either.
function showApart(state) {
  const other = window.open("", "posture-picture", "popup,width=420,height=300");
  if (!other) return;
  other.document.title = "Picture of the camera";
  const video = Object.assign(other.document.createElement("video"), { muted: true, autoplay: true, srcObject: state.stream });
  video.style.width = "100%";
  other.document.body.style.background = "#14191b";
  other.document.body.replaceChildren(video);
  state.other = other;
}

function letGo(state) {
  state.other?.close();
  state.stream?.getTracks().forEach((track) => track.stop());
  state.stream = null;
}

// ---- Filming

function start(state) {
  const kind = KINDS.find((name) => MediaRecorder.isTypeSupported(name));
  if (!kind) return fail(state, "none");
  const recorder = new MediaRecorder(state.stream, { mimeType: kind, videoBitsPerSecond: BITS_PER_S });
  Object.assign(state, { recorder, run: crypto.randomUUID(), queue: [], sent: null, next: 0, marks: [], notes: [], say: "", full: 0,
    ended: false, begun: false, step: null, at_step: 0, heard: Date.now(), clock: emptyClock(), phase: "filming", moved: performance.now() });
  recorder.addEventListener("dataavailable", (event) => came(state, event.data));
  recorder.addEventListener("start", () => run(state.clock, recorder.state === "recording")); // Its time is 0 now.
  recorder.addEventListener("error", () => { note(state, `The recording broke off. ${NO_SPACE}`); finish(state); });
  recorder.addEventListener("stop", () => { state.ended = true; pump(state); });
  if (!state.data.plan.length) resume(state); // Of an examination only the steps are filmed.
  navigator.wakeLock?.request("screen").then((lock) => { state.lock = lock; }).catch(() => {});
  document.documentElement.requestFullscreen?.().catch(() => {});
  state.at.child.showModal();
  state.at.main.focus();
  show(state);
}

function finish(state) {
  if (state.phase !== "filming") return;
  endStep(state);
  run(state.clock, false);
  if (!state.data.plan.length) state.marks.push({ step: state.data.alone, start_s: 0, end_s: seconds(state.clock), before_s: 0 });
  state.phase = "sending";
  if (state.recorder.state !== "inactive") state.recorder.stop();
  else state.ended = true;
  letGo(state);
  state.lock?.release().catch(() => {});
  if (document.fullscreenElement) document.exitFullscreen().catch(() => {});
  state.at.child.close();
  pump(state);
  show(state);
}

function note(state, text) {
  state.say = text;
  if (state.notes.length < 50) state.notes.push(`${minutes(seconds(state.clock))}: ${text}`);
}

// ---- Pieces

function came(state, piece) {
  const late = Date.now() - state.heard;
  state.heard = Date.now();
  if (late > SLEPT_MS && state.recorder.state === "recording") {
    note(state, `No picture came for ${Math.round(late / 1000)} s: the computer slept or was very busy. What was recorded is kept. Repeat what was interrupted.`);
  }
  if (piece.size) state.queue.push({ number: state.next++, piece });
  if (state.queue.length > MOST_WAITING && state.recorder.state === "recording") {
    state.full = 1;
    pause(state);
    note(state, "The program does not take the film. Filming waits; what was recorded is kept. Leave this window open.");
  }
  pump(state);
}

async function pump(state) {
  if (state.sent || !(state.queue.length || state.ended) || !state.run) return;
  const batch = state.queue.slice(0, MOST_PIECES);
  const sent = { first: batch.length ? batch[0].number : state.next, since: performance.now(), upTo: 0 };
  sent.upTo = sent.first + batch.length;
  state.sent = sent;
  const texts = await Promise.all(batch.map(({ piece }) => asText(piece)));
  if (state.sent !== sent) return;
  state.send({ run: state.run, first: sent.first, pieces: texts, marks: state.marks, notes: state.notes,
    length_s: seconds(state.clock), last: state.ended && sent.upTo === state.next });
}

function answered(state, data) {
  if (data.trouble) {
    state.queue = [];
    state.sent = null;
    if (state.phase === "filming") finish(state);
    Object.assign(state, { run: null, error: data.trouble, phase: data.done ? "done" : "off" });
    return;
  }
  state.queue = state.queue.filter(({ number }) => number >= data.ack);
  if (state.sent && data.ack >= state.sent.upTo) {
    state.sent = null;
    if (state.say === UNANSWERED) state.say = "";
  }
  if (state.full && state.queue.length < RESUME_BELOW) {
    state.full = 0;
    state.say = "";
    if (state.phase === "filming" && (!state.data.plan.length || state.step?.filming)) resume(state);
  }
  if (data.done) state.phase = "done";
  else pump(state);
}

// In small parts, whose strings the browser counts as memory in use and clears away; those of a FileReader pile up uncounted.
async function asText(piece) {
  const bytes = new Uint8Array(await piece.arrayBuffer());
  recent.push(bytes);
  if (recent.length > MOST_RECENT) recent.shift();
  const parts = [];
  for (let i = 0; i < bytes.length; i += PART_BYTES) parts.push(btoa(String.fromCharCode(...bytes.subarray(i, i + PART_BYTES))));
  return parts.join("");
}

// ---- Steps: each waits for its condition if it has one, is filmed, and leaves a mark

function plan(state) {
  return state.data.plan[state.at_step];
}

function goOn(state) {
  if (!state.step) {
    if (plan(state)) beginStep(state);
    else finish(state);
  } else if (!state.step.filming) filmStep(state);
  else { endStep(state); nextStep(state); }
  show(state);
}

function beginStep(state) {
  state.step = { what: plan(state), since: Date.now(), filming: false, start: 0, before: 0 };
  if (!state.step.what.wait_s) filmStep(state);
}

function filmStep(state) {
  const step = state.step;
  Object.assign(step, { filming: true, before: step.what.wait_s ? (Date.now() - step.since) / 1000 : 0 });
  resume(state);
  step.start = seconds(state.clock);
}

function endStep(state) {
  const step = state.step;
  state.step = null;
  if (!step?.filming) return;
  state.marks.push({ step: step.what.key, start_s: step.start, end_s: seconds(state.clock), before_s: step.before });
  state.recorder.requestData?.();
  pause(state);
}

function nextStep(state) {
  if (state.at_step < state.data.plan.length) state.at_step += 1;
}

function skip(state) {
  if (state.step?.filming) pause(state);
  state.step = null; // Without a mark: what was filmed of it is not read.
  nextStep(state);
  show(state);
}

function repeat(state) {
  if (state.step) endStep(state);
  else if (state.at_step) state.at_step -= 1;
  beginStep(state);
  show(state);
}

function choose(state, index) {
  if (state.step) endStep(state);
  state.at_step = index;
  show(state);
}

function pause(state) {
  if (state.recorder.state === "recording") state.recorder.pause();
  run(state.clock, false);
}

function resume(state) {
  state.heard = Date.now();
  if (!state.begun) {
    state.begun = true;
    state.recorder.start(PIECE_MS);
  } else {
    if (state.recorder.state === "paused") state.recorder.resume();
    run(state.clock, true);
  }
}

function pressed(state, event) {
  if (["SELECT", "BUTTON"].includes(event.target.tagName) && event.key !== "s" && event.key !== "r") return;
  const does = { " ": goOn, Enter: goOn, s: skip, r: repeat }[event.key];
  if (!does || !state.data.plan.length) return;
  event.preventDefault();
  does(state);
}

// ---- Time of the recording, in which pauses do not count

function emptyClock() {
  return { done: 0, since: null };
}

function run(clock, isRunning) {
  const now = performance.now();
  if (clock.since !== null) clock.done += now - clock.since;
  clock.since = isRunning ? now : null;
}

function seconds(clock) {
  return Math.round(clock.done + (clock.since === null ? 0 : performance.now() - clock.since)) / 1000;
}

function minutes(time) {
  const whole = Math.max(0, Math.round(time));
  return `${Math.floor(whole / 60)}:${String(whole % 60).padStart(2, "0")}`;
}

// ---- What is shown

function tick(state) {
  if (!state.root.isConnected) {
    clearInterval(state.timer);
    if (state.recorder && state.recorder.state !== "inactive") state.recorder.stop();
    return letGo(state);
  }
  const now = performance.now();
  if (state.sent && now - state.sent.since > ANSWER_MS) {
    state.sent = null;
    if (state.phase === "filming" && !state.say) state.say = UNANSWERED;
    pump(state);
  }
  if (state.stream && now - (state.looked || 0) > LOOK_MS) {
    state.looked = now;
    put(state.at.light, lightOf(state.at.preview));
  }
  if (state.phase === "ready" && now - (state.asked || 0) > FACE_MS) {
    state.asked = now;
    askForFaces(state);
  }
  if (state.phase === "filming") {
    const { step } = state;
    if (seconds(state.clock) >= state.data.limit_s) {
      note(state, "Half an hour is full.");
      finish(state);
    } else if (step && !step.filming && Date.now() - step.since >= step.what.wait_s * 1000) filmStep(state);
    else if (step?.filming && seconds(state.clock) - step.start >= step.what.film_s) { endStep(state); nextStep(state); }
  }
  show(state);
}

async function askForFaces(state) {
  const video = state.at.preview;
  if (!video.videoWidth) return;
  const canvas = new OffscreenCanvas(FACE_PX, Math.round((FACE_PX * video.videoHeight) / video.videoWidth));
  canvas.getContext("2d").drawImage(video, 0, 0, canvas.width, canvas.height);
  const text = await asText(await canvas.convertToBlob({ type: "image/jpeg", quality: 0.7 }));
  if (state.phase === "ready") state.look(text);
}

function lightOf(video) {
  if (!video.videoWidth) return "";
  const pen = LIGHT;
  pen.drawImage(video, 0, 0, 64, 36);
  const { data } = pen.getImageData(0, 0, 64, 36);
  const sums = { all: 0, square: 0, middle: 0, inMiddle: 0 };
  for (let i = 0; i < 64 * 36; i += 1) {
    const grey = 0.3 * data[4 * i] + 0.59 * data[4 * i + 1] + 0.11 * data[4 * i + 2];
    sums.all += grey;
    sums.square += grey * grey;
    const [x, y] = [i % 64, Math.floor(i / 64)];
    if (x > 20 && x < 43 && y > 6) { sums.middle += grey; sums.inMiddle += 1; }
  }
  const mean = sums.all / 2304;
  const spread = Math.sqrt(Math.max(0, sums.square / 2304 - mean * mean));
  const middle = sums.middle / sums.inMiddle;
  const around = (sums.all - sums.middle) / (2304 - sums.inMiddle);
  if (spread < 8) return "Hardly anything can be told apart in the picture: is the lens covered?";
  if (mean < 45) return "It is too dark: turn on a light, or open a curtain beside the camera.";
  if (mean > 225) return "It is too bright: draw a curtain, or turn a lamp away.";
  if (around - middle > 60) return "The light comes from behind the child: turn the camera away from the window.";
  return "The light is good.";
}

function show(state) {
  const { at, phase, step, data } = state;
  const camera = phase === "off" || phase === "ready";
  at.off.hidden = phase !== "off";
  at.ready.hidden = phase !== "ready";
  at.done.hidden = camera || phase === "filming";
  at.on.hidden = Boolean(state.error);
  at.again.hidden = !state.error;
  put(at.error, state.error);
  put(at.face, data.face || "");
  put(at.done, state.phase === "sending" && !data.trouble ? "Keeping the rest of the film." : state.say);
  placeGuide(state);
  if (phase !== "filming") return;
  const exam = data.plan?.length > 0;
  const between = exam && !step;
  const filming = !exam || step?.filming;
  const next = plan(state);
  at.child.classList.toggle("f-between", between || Boolean(step && !step.filming));
  at.child.classList.toggle("f-faded", Boolean(filming) && performance.now() - state.moved > FADE_MS && !state.say);
  at.child.classList.toggle("f-no-target", !data.target);
  for (const name of ["skip", "repeat", "jump", "main"]) at[name].hidden = !exam;
  put(at.say, state.say);
  if (!exam) {
    put(at.title, "Filming");
    put(at.how, "");
    put(at.time, minutes(seconds(state.clock)));
    put(at.left, `${minutes(data.limit_s - seconds(state.clock))} left`);
    return;
  }
  put(at.title, between ? (next ? `Next: ${next.title}` : "All steps are done") : step.what.title);
  put(at.how, between ? next?.instruction || "Stop now, and the film is measured; or choose a step to repeat." : step.what.instruction);
  if (between) put(at.time, next ? `${step_length(next)}` : "");
  else if (step.filming) put(at.time, minutes(step.what.film_s - seconds(state.clock) + step.start));
  else put(at.time, `filming in ${minutes(step.what.wait_s - (Date.now() - step.since) / 1000)}`);
  put(at.left, `${minutes(data.limit_s - seconds(state.clock))} of film left`);
  put(at.main, between ? (next ? "Begin" : "Stop and measure") : step.filming ? "Done" : "Film now");
  at.skip.hidden = between && !next;
  at.repeat.hidden = between && !state.at_step;
  const choices = data.plan.map((item, i) => `${i + 1}. ${item.title}`).join("|");
  if (at.jump.dataset.choices !== choices) {
    at.jump.dataset.choices = choices;
    at.jump.replaceChildren(...choices.split("|").map((text, i) => new Option(text, i)), new Option("All done", data.plan.length));
  }
  if (state.root.getRootNode().activeElement !== at.jump) at.jump.value = String(state.at_step);
}

function step_length(what) {
  const wait = what.wait_s ? `${minutes(what.wait_s)} before, then ` : "";
  return `${wait}${minutes(what.film_s)} of film`;
}

function put(place, text) {
  if (place.textContent !== text) place.textContent = text;
}
