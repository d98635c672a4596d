// Lines dragged over a picture along something plumb or level, and the picture straightened by them.
// Places are shares of the picture, from its top left corner, so that they hold at every size of the window.

const MOST = { plumb: 2, level: 1 };
const LOUPE_ZOOM = 3.5;
const KEY_PX = 1; // A press of an arrow key moves an end by so much of the shown picture; with Shift by ten times that.
const KEY_REST_MS = 600; // Presses of keys count as one movement until they have rested so long.
const SVG = "http://www.w3.org/2000/svg";
const ENDS = { plumb: ["upper end", "lower end"], level: ["left end", "right end"] };
const states = new WeakMap();

export default function draw(component) {
  const { data, parentElement, setStateValue } = component;
  const root = parentElement.querySelector(".m-root");
  if (!root || !data) return;
  let state = states.get(root);
  if (!state) {
    state = begin(root);
    states.set(root, state);
  }
  state.send = (lines) => setStateValue("lines", lines);
  if (state.key !== data.key || state.picture !== data.picture) open(state, data);
  state.data = data;
  refresh(state);
}

// ---- Once for every place on the page

function begin(root) {
  const find = (name) => root.querySelector(name);
  const state = {
    root, lines: [], drag: null, key: null, picture: null, data: null, send: null, said: "", rest: 0, groups: [],
    svg: find(".m-lines"), frame: find(".m-draw .m-frame"), loupe: find(".m-loupe"), first: find(".m-first"),
    turn: find(".m-turn"), copies: find(".m-copies"), by: find(".m-by"), say: find(".m-say"), clear: find(".m-clear"),
    add: { plumb: find(".m-add-plumb"), level: find(".m-add-level") },
  };
  const grid = find(".m-grid");
  for (let x = 5; x < 100; x += 10) {
    for (const look of ["m-shade", ""]) grid.append(made("line", { class: look, x1: `${x}%`, x2: `${x}%`, y1: 0, y2: "100%" }));
  }
  state.svg.addEventListener("pointerdown", (event) => press(state, event));
  state.svg.addEventListener("pointermove", (event) => move(state, event));
  state.svg.addEventListener("pointerup", (event) => release(state, event));
  state.svg.addEventListener("pointercancel", (event) => giveUp(state, event));
  state.svg.addEventListener("keydown", (event) => pressKey(state, event));
  for (const kind of ["plumb", "level"]) state.add[kind].addEventListener("click", () => addLine(state, kind));
  state.clear.addEventListener("click", () => {
    state.lines = [];
    build(state);
    tell(state);
    state.add.plumb.focus();
  });
  return state;
}

function open(state, data) {
  clearTimeout(state.rest);
  Object.assign(state, { key: data.key, picture: data.picture, drag: null, said: "", rest: 0 });
  state.lines = (data.lines || []).map((line) => ({ kind: line.kind, at: [...line.at], fresh: false }));
  for (const img of state.root.querySelectorAll("img")) img.src = data.picture;
  state.loupe.style.backgroundImage = `url("${data.picture}")`;
  state.root.style.setProperty("--aspect", data.width / data.height);
  state.root.classList.toggle("m-tall", data.width < data.height);
  state.data = data;
  build(state);
}

// ---- Dragging

function place(state, event) {
  const box = state.svg.getBoundingClientRect();
  return [(event.clientX - box.left) / box.width, (event.clientY - box.top) / box.height];
}

function press(state, event) {
  if (state.drag || (event.pointerType === "mouse" && event.button !== 0)) return;
  const [x, y] = place(state, event);
  const held = event.target.closest("[data-line]");
  settleKeys(state);
  state.said = "";
  if (held) {
    const line = state.lines[Number(held.dataset.line)];
    state.drag = { line, end: held.dataset.end ?? "both", from: [x, y], was: [...line.at], isNew: false, moved: false };
    if (held.classList.contains("m-end")) held.focus({ preventScroll: true });
  } else {
    event.preventDefault();
    const line = { kind: "plumb", at: [x, y, x, y], fresh: false };
    state.drag = { line, end: "1", from: [x, y], was: [...line.at], isNew: true, moved: false };
    state.lines.push(line);
    build(state);
  }
  state.drag.pointer = event.pointerId;
  state.svg.setPointerCapture(event.pointerId);
  refresh(state);
}

function move(state, event) {
  const drag = state.drag;
  if (!drag || event.pointerId !== drag.pointer) return;
  const [x, y] = place(state, event);
  shift(drag.line, drag.was, drag.end, x - drag.from[0], y - drag.from[1]);
  drag.moved = drag.moved || x !== drag.from[0] || y !== drag.from[1];
  if (drag.moved) drag.line.fresh = false;
  if (drag.isNew) {
    const kind = kindOf(state, drag.line);
    if (kind !== drag.line.kind) {
      drag.line.kind = kind;
      build(state);
    }
  }
  refresh(state);
}

function release(state, event) {
  const drag = state.drag;
  if (!drag || event.pointerId !== drag.pointer) return;
  move(state, event); // A busy browser may have left out the last movements.
  state.drag = null;
  if (drag.isNew) {
    const tooMany = state.lines.filter((line) => line.kind === drag.line.kind).length > MOST[drag.line.kind];
    if (tooMany || shareOf(state, drag.line) < state.data.shortest) {
      state.lines.pop();
      if (!tooMany) state.said = "Too short. Press at one end of the edge, keep pressed, and drag to its other end.";
      else if (drag.line.kind === "plumb") state.said = "Two plumb lines are enough. Move the ends, or take all lines back.";
      else state.said = "One level line is enough. Move its ends, or take all lines back.";
      build(state);
      refresh(state);
      return;
    }
  }
  if (!drag.isNew && !drag.moved) return refresh(state);
  const [x, y] = drag.line.at.slice(drag.end === "0" ? 0 : 2);
  tell(state);
  // The end that was held has the focus, so that arrow keys move it on; the ends may have changed names.
  const end = drag.line.at[0] === x && drag.line.at[1] === y ? 0 : 1;
  state.groups[state.lines.indexOf(drag.line)].ends[end].focus({ preventScroll: true });
}

function giveUp(state, event) {
  const drag = state.drag;
  if (!drag || event.pointerId !== drag.pointer) return;
  state.drag = null;
  if (drag.isNew) state.lines = state.lines.filter((line) => line !== drag.line);
  else drag.line.at = drag.was;
  build(state);
  refresh(state);
}

function shift(line, was, end, dx, dy) {
  const inside = (value) => Math.min(1, Math.max(0, value));
  line.at = was.map((value, i) => {
    const isHeld = end === "both" || Math.floor(i / 2) === Number(end);
    return isHeld ? inside(value + (i % 2 ? dy : dx)) : value;
  });
}

// ---- Keys and buttons

function pressKey(state, event) {
  const held = event.target.closest(".m-end");
  if (!held) return;
  const line = state.lines[Number(held.dataset.line)];
  if (event.key === "Delete" || event.key === "Backspace") {
    event.preventDefault();
    state.lines = state.lines.filter((other) => other !== line);
    build(state);
    tell(state);
    (state.svg.querySelector(".m-end") ?? state.add[line.kind]).focus();
    return;
  }
  const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (!(event.key in steps) || state.drag) return;
  event.preventDefault();
  const box = state.svg.getBoundingClientRect();
  const [dx, dy] = steps[event.key].map((step) => step * KEY_PX * (event.shiftKey ? 10 : 1));
  shift(line, line.at, held.dataset.end, dx / box.width, dy / box.height);
  line.fresh = false;
  state.byKey = { line, end: held.dataset.end };
  clearTimeout(state.rest);
  state.rest = setTimeout(() => settleKeys(state), KEY_REST_MS);
  refresh(state);
}

function settleKeys(state) {
  if (!state.rest) return;
  clearTimeout(state.rest);
  Object.assign(state, { rest: 0, byKey: null });
  tell(state);
}

function addLine(state, kind) {
  const isSecond = state.lines.some((line) => line.kind === kind);
  const x = isSecond ? 0.7 : 0.3;
  const at = kind === "plumb" ? [x, 0.2, x, 0.8] : [0.3, 0.5, 0.7, 0.5];
  state.lines.push({ kind, at, fresh: true });
  state.said = `Move both ends onto an edge that is ${kind}: by dragging, or with the arrow keys.`;
  build(state);
  refresh(state);
  state.svg.querySelectorAll(".m-end")[2 * (state.lines.length - 1)].focus({ preventScroll: true });
}

// Python hears of the lines when a movement ends. A line that was only put in lies along nothing yet, and is not told.
function tell(state) {
  state.said = "";
  for (const line of state.lines) {
    const [x0, y0, x1, y1] = line.at;
    // The upper and the left end come first, as their names say; an end in the hand of the keyboard keeps its place.
    if (!state.rest && (line.kind === "plumb" ? y1 < y0 : x1 < x0)) line.at = [x1, y1, x0, y0];
  }
  state.send(state.lines.filter((line) => !line.fresh).map(({ kind, at }) => ({ kind, at })));
  refresh(state);
}

// ---- What a line says

function across(state, line) {
  const [x0, y0, x1, y1] = line.at;
  return [(x1 - x0) * state.data.width, (y1 - y0) * state.data.height];
}

function kindOf(state, line) {
  const [dx, dy] = across(state, line);
  return Math.abs(dy) >= Math.abs(dx) ? "plumb" : "level";
}

function shareOf(state, line) {
  return Math.hypot(...across(state, line)) / Math.max(state.data.width, state.data.height);
}

function rollOf(state, line) {
  let [dx, dy] = across(state, line);
  if (line.kind === "level") [dx, dy] = [-dy, dx];
  return (Math.atan(dx / (dy || 1e-9)) * 180) / Math.PI;
}

// The roll that the lines show: the mean of the plumb ones by their length, or else that of the level one.
function rollNow(state) {
  const used = state.lines.filter((line) => !line.fresh && shareOf(state, line) > 0.02);
  const plumb = used.filter((line) => line.kind === "plumb");
  const lines = plumb.length ? plumb : used;
  if (!lines.length) return null;
  const whole = lines.reduce((sum, line) => sum + shareOf(state, line), 0);
  return lines.reduce((sum, line) => sum + (shareOf(state, line) / whole) * rollOf(state, line), 0);
}

// ---- Showing

function made(name, attributes) {
  const element = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) element.setAttribute(key, value);
  return element;
}

// The elements of every line, anew when lines come or go; they only change their places afterwards, so that focus stays.
function build(state) {
  const counted = { plumb: 0, level: 0 };
  state.groups = state.lines.map((line, number) => {
    counted[line.kind] += 1;
    const group = made("g", { class: `m-${line.kind}` });
    const strokes = ["m-under", "m-over", "m-catch"].map((look) => made("line", { class: look }));
    strokes[2].dataset.line = number;
    const ends = [0, 1].map((end) => {
      const name = `${line.kind === "plumb" ? "Plumb" : "Level"} line ${counted[line.kind]}, ${ENDS[line.kind][end]}`;
      const handle = made("svg", { class: "m-end", overflow: "visible", tabindex: 0, role: "slider", "aria-label": name,
        "aria-valuemin": 0, "aria-valuemax": 100, "aria-roledescription": "end of a line" });
      Object.assign(handle.dataset, { line: number, end });
      handle.append(made("circle", { class: "m-hit", r: 24 }));
      // Round for plumb, square for level.
      for (const look of ["m-rim", "m-ring"]) {
        handle.append(line.kind === "plumb" ? made("circle", { class: look, r: 10 })
          : made("rect", { class: look, x: -9, y: -9, width: 18, height: 18 }));
      }
      return handle;
    });
    const word = made("text", { class: "m-word" });
    word.textContent = line.kind;
    group.append(...strokes, word, ...ends);
    const copy = made("g", { class: `m-${line.kind}` });
    const copied = ["m-under", "m-over"].map((look) => made("line", { class: look }));
    copy.append(...copied);
    return { group, copy, strokes: [...strokes, ...copied], ends, word };
  });
  state.svg.replaceChildren(...state.groups.map((one) => one.group));
  state.copies.replaceChildren(...state.groups.map((one) => one.copy));
}

function refresh(state) {
  if (!state.data) return;
  state.lines.forEach((line, i) => {
    const [x0, y0, x1, y1] = line.at.map((value) => `${100 * value}%`);
    const { strokes, ends, word } = state.groups[i];
    for (const stroke of strokes) {
      for (const [name, value] of Object.entries({ x1: x0, y1: y0, x2: x1, y2: y1 })) stroke.setAttribute(name, value);
    }
    [[x0, y0, 0], [x1, y1, 2]].forEach(([x, y, at], end) => {
      ends[end].setAttribute("x", x);
      ends[end].setAttribute("y", y);
      ends[end].setAttribute("aria-valuenow", Math.round(100 * line.at[at]));
      ends[end].setAttribute("aria-valuetext",
        `${(100 * line.at[at]).toFixed(1)} percent from the left, ${(100 * line.at[at + 1]).toFixed(1)} from the top`);
    });
    const middle = [(line.at[0] + line.at[2]) / 2, (line.at[1] + line.at[3]) / 2];
    const isRight = line.kind === "plumb" && middle[0] > 0.85;
    word.setAttribute("x", `${100 * middle[0]}%`);
    word.setAttribute("y", `${100 * middle[1]}%`);
    word.setAttribute("dx", line.kind === "level" ? 0 : isRight ? -12 : 12);
    word.setAttribute("dy", line.kind === "level" ? (middle[1] < 0.1 ? 24 : -12) : 5);
    word.setAttribute("text-anchor", line.kind === "level" ? "middle" : isRight ? "end" : "start");
  });
  state.first.hidden = state.lines.length > 0;
  for (const kind of ["plumb", "level"]) {
    state.add[kind].disabled = state.lines.filter((line) => line.kind === kind).length >= MOST[kind];
  }
  state.clear.disabled = !state.lines.length;
  if (state.say.textContent !== state.said) state.say.textContent = state.said;
  straighten(state);
  magnify(state);
}

// Python's answer, with the pitch, when it is about these lines; while they move, the roll that they show.
function straighten(state) {
  const told = JSON.stringify(state.lines.filter((line) => !line.fresh).map((line) => line.at));
  const { stand, lines } = state.data;
  const isAnswer = !state.drag && stand && told === JSON.stringify((lines || []).map((line) => line.at));
  const roll = rollNow(state);
  if (isAnswer) state.turn.style.transform = levelled(state, stand.roll_deg, stand.pitch_deg);
  else state.turn.style.transform = roll === null ? "none" : `rotate(${roll}deg)`;
  const shown = isAnswer ? stand.roll_deg : roll;
  if (shown === null) state.by.textContent = "once a line is drawn";
  else state.by.textContent = `turned back by ${Math.abs(shown).toFixed(1)}°`;
}

// The picture as a level camera at the same place had seen it: the plane of the picture, turned and laid down again.
function levelled(state, rollDeg, pitchDeg) {
  const [r, p] = [rollDeg, pitchDeg].map((angle) => (angle * Math.PI) / 180);
  const [cr, sr, cp, sp] = [Math.cos(r), Math.sin(r), Math.cos(p), Math.sin(p)];
  const f = state.data.focal * state.turn.clientWidth;
  // Rows of the rotation from the camera to the level frame: the transpose of Rz(-roll) Rx(pitch).
  const rows = [[cr, -sr, 0], [sr * cp, cr * cp, sp], [-sr * sp, -cr * sp, cp]];
  const [a, b, c] = rows.map(([x, y, z]) => [x / cp, y / cp, (f * z) / cp]);
  const h = [a, b, [c[0] / f, c[1] / f, 1]];
  // The middle of the picture stays where it is: moving the levelled picture keeps plumb what is plumb.
  const lift = h[1][2];
  for (let i = 0; i < 3; i += 1) h[1][i] -= lift * h[2][i];
  return `matrix3d(${h[0][0]},${h[1][0]},0,${h[2][0]},${h[0][1]},${h[1][1]},0,${h[2][1]},0,0,1,0,${h[0][2]},${h[1][2]},0,1)`;
}

function magnify(state) {
  const held = state.drag && state.drag.end !== "both" ? state.drag : state.rest ? state.byKey : null;
  state.loupe.hidden = !held;
  if (!held) return;
  const [x, y] = held.line.at.slice(2 * Number(held.end));
  const box = state.svg.getBoundingClientRect();
  // In the other upper corner, where no hand covers it.
  state.loupe.style[x < 0.5 ? "right" : "left"] = "8px";
  state.loupe.style[x < 0.5 ? "left" : "right"] = "auto";
  const half = [state.loupe.clientWidth / 2, state.loupe.clientHeight / 2];
  const [wide, high] = [box.width * LOUPE_ZOOM, box.height * LOUPE_ZOOM];
  state.loupe.style.backgroundSize = `${wide}px ${high}px`;
  state.loupe.style.backgroundPosition = `${half[0] - x * wide}px ${half[1] - y * high}px`;
  const [x0, y0, x1, y1] = held.line.at;
  const inLoupe = ([u, v]) => [half[0] + (u - x) * wide, half[1] + (v - y) * high];
  const [from, to] = [inLoupe([x0, y0]), inLoupe([x1, y1])];
  const ends = { x1: from[0], y1: from[1], x2: to[0], y2: to[1] };
  const parts = ["m-under", "m-over"].map((look) => made("line", { class: look, ...ends }));
  for (const look of ["m-dark", "m-light"]) parts.push(made("circle", { class: look, cx: half[0], cy: half[1], r: 9 }));
  const view = state.loupe.querySelector("svg");
  view.setAttribute("class", `m-${held.line.kind}`);
  view.replaceChildren(...parts);
}
