"use strict";
(() => {
const $ = (id) => document.getElementById(id);
const plan = JSON.parse($("plan-data").textContent);
const SVG = "http://www.w3.org/2000/svg";
const WAYS = {"+x": [1, 0, 0], "-x": [-1, 0, 0], "+y": [0, 1, 0], "-y": [0, -1, 0],
  "+z": [0, 0, 1], "-z": [0, 0, -1]};
const add = (a, b, k = 1) => [a[0] + b[0] * k, a[1] + b[1] * k, a[2] + b[2] * k];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const pieces = plan.pieces.map((p) => ({kind: plan.kinds[p[0]], at: [p[1], p[2], p[3]],
  face: p[4] || null, sign: plan.signs[p[5]], unit: plan.units[p[6]], layer: p[7]}));
const tapeCount = plan.tape;
const home = new Map(pieces.slice(0, tapeCount).map((p) => [String(p.at), p.layer]));
const still = matchMedia("(prefers-reduced-motion: reduce)");
document.documentElement.classList.add("ready");

// ---------------------------------------------------------------- what is kept
const store = {
  key: "ringwright " + plan.revision,
  read(name, other) {
    try { return JSON.parse(localStorage.getItem(this.key + name)) ?? other; } catch { return other; }
  },
  write(name, value) {
    try { localStorage.setItem(this.key + name, JSON.stringify(value)); } catch { /* private window */ }
  },
};

// ---------------------------------------------------------------- the state at a half-tick
const trace = plan.trace;
function stateAt(t) {
  const on = new Set(), moving = new Set(), ram = new Map();
  const level = new Map();
  const block = pieces.slice(0, tapeCount).map((p) => p.at);
  for (const [when, what, which, value, x, y, z] of trace.events) {
    if (when > t) break;
    if (what === 0) { if (value) level.set(trace.wires[which], value); else level.delete(trace.wires[which]); }
    else if (what === 1) { if (value) on.add(trace.switches[which]); else on.delete(trace.switches[which]); }
    else if (what === 2) { if (value) ram.set(trace.rams[which], value); else ram.delete(trace.rams[which]); }
    else { block[which] = [x, y, z]; if (value) moving.add(which); else moving.delete(which); }
  }
  const resting = new Set();
  block.forEach((cell, i) => { if (!moving.has(i)) resting.add(String(cell)); });
  const open = [...home.keys()].filter((cell) => !resting.has(cell));
  return {t, on, level, ram, block, moving, open};
}
const tick = (h) => h % 2 ? (h - 1) / 2 + "½" : String(h / 2);
let now = stateAt(0);

function tell(state) {
  const strokes = [...state.ram.values()].filter((v) => v === 1 || v === 3).length;
  return `Tick ${tick(state.t)} of ${tick(trace.n)}: ${strokes} rams in a stroke, ` +
    `${state.moving.size} tape blocks moving, ${state.open.length} surface cells open, ` +
    `${state.on.size} switches and ${state.level.size} wires on.`;
}

// ---------------------------------------------------------------- layers
const figures = [...document.querySelectorAll("figure.layer")];
const layerRange = $("layer-range");
let shown = -1;
function place(layer, cell) {
  const way = add(cell, layer.origin, -1);
  return [dot(way, WAYS[layer.right]), dot(way, WAYS[layer.down])];
}
function inLayer(layer, cell) {
  const way = add(cell, layer.origin, -1);
  const [c, r] = place(layer, cell);
  const off = add(add(way, WAYS[layer.right], -c), WAYS[layer.down], -r);
  return !off[0] && !off[1] && !off[2] && c >= 0 && r >= 0 && c < layer.columns && r < layer.rows;
}
function mark(kind, spot, inset = 1) {
  const rect = document.createElementNS(SVG, "rect");
  rect.setAttribute("class", kind);
  rect.setAttribute("x", spot[0] * 24 + inset);
  rect.setAttribute("y", spot[1] * 24 + inset);
  rect.setAttribute("width", 24 - 2 * inset);
  rect.setAttribute("height", 24 - 2 * inset);
  return rect;
}
function use(sign, surface, spot, faint) {
  const link = document.createElementNS(SVG, "use");
  link.setAttribute("href", `#s-${surface}-${sign}`);
  link.setAttribute("x", spot[0] * 24); link.setAttribute("y", spot[1] * 24);
  link.setAttribute("width", 24); link.setAttribute("height", 24);
  if (faint) link.setAttribute("class", "later");
  return link;
}
// The marks lie in a drawing of their own over the layer, so that the layer is not painted again.
const over = document.createElementNS(SVG, "svg"), live = document.createElementNS(SVG, "g");
over.setAttribute("class", "over"); over.setAttribute("aria-hidden", "true");
live.setAttribute("class", "live");
live.setAttribute("transform", `translate(${plan.sheet.left},${plan.sheet.top})`);
over.append(live);
let inSight = true;
new IntersectionObserver((entries) => {
  inSight = entries.some((entry) => entry.isIntersecting);
  if (inSight) paintLayer();
}, {rootMargin: "100px"}).observe($("layers"));
function paintLayer() {
  const layer = plan.layers[shown], figure = figures[shown];
  if (!figure || !inSight) return;
  if (over.parentNode?.parentNode?.parentNode !== figure) {
    const base = figure.querySelector(".sheet");
    over.setAttribute("viewBox", base.getAttribute("viewBox"));
    base.after(over);
  }
  const marks = [];
  const lit = (index) => {
    const p = pieces[index];
    if (p.layer === shown) marks.push(mark("on", place(layer, p.at), 5));
  };
  if (now.t > 0) {
    for (const cell of now.open) {
      if (home.get(cell) === shown) marks.push(mark("gap", place(layer, cell.split(",").map(Number))));
    }
    now.block.forEach((cell, i) => {
      const away = String(cell) !== String(pieces[i].at) || now.moving.has(i);
      if (away && inLayer(layer, cell)) {
        const face = pieces[i];
        marks.push(mark(now.moving.has(i) ? "mv" : "ring", place(layer, cell), 5), use(
          face.sign, plan.layers[face.layer].surface, place(layer, cell), now.moving.has(i)));
      }
    });
  }
  for (const index of now.level.keys()) lit(index);
  for (const index of now.on) lit(index);
  for (const [index] of now.ram) {
    const p = pieces[index], head = add(p.at, WAYS[p.face]);
    if (p.layer === shown) marks.push(mark("on", place(layer, p.at), 8));
    if (inLayer(layer, head)) marks.push(mark("mv", place(layer, head), 7));
  }
  live.replaceChildren(...marks);
}
function showLayer(index) {
  shown = Math.max(0, Math.min(figures.length - 1, index));
  figures.forEach((figure, i) => figure.classList.toggle("off", i !== shown));
  layerRange.value = shown;
  const name = figures[shown]?.dataset.name ?? "";
  layerRange.setAttribute("aria-valuetext", name);
  $("layer-name").textContent = `${shown + 1} of ${figures.length}: ${name}`;
  $("layer-back").disabled = shown === 0;
  $("layer-on").disabled = shown === figures.length - 1;
  paintLayer();
}

// ---------------------------------------------------------------- the view in three dimensions
const canvas = $("view"), pen = canvas.getContext("2d");
const eye = {yaw: -0.6, pitch: 0.62, zoom: 1, mid: [0, 0, 0], size: 10};
const SHAPE = {wire: [.72, .72, .2, -.36], buffer: [.84, .84, .4, -.26], inverter: [.46, .46, .7, 0],
  button: [.4, .4, .4, 0]};
const colours = {};
let frameAsked = false;
function readColours() {
  const style = getComputedStyle(document.documentElement);
  for (const name of ["paper", "ink", "soft", "faint", "live", "warn", "c-tape", "c-line", "c-ram",
    "c-eye"]) colours[name] = style.getPropertyValue("--" + name).trim();
  colours.hatch = hatch("M0 0L8 8"); colours.cross = hatch("M0 0L8 8M8 0L0 8");
}
function hatch(path) {
  const tile = document.createElement("canvas");
  tile.width = tile.height = 8;
  const ink = tile.getContext("2d");
  ink.fillStyle = colours.paper; ink.fillRect(0, 0, 8, 8);
  ink.strokeStyle = colours.soft; ink.stroke(new Path2D(path));
  return pen.createPattern(tile, "repeat");
}
const LINE = {tape: "c-tape", wire: "c-line", buffer: "c-line", inverter: "c-eye", sensor: "c-eye",
  push_ram: "c-ram", grip_ram: "c-ram"};
function wanted(piece) {
  const level = plan.layers[piece.layer].level;
  const to = +$("slice-to").value, from = +$("slice-from").value;
  return level >= Math.min(from, to) && level <= Math.max(from, to) &&
    (piece.kind !== "cover" || $("with-covers").checked);
}
function faint(piece) {
  const unit = $("fade-unit").value, layer = $("fade-layer").value;
  const role = piece.kind === "tape" ? "tape" : piece.unit;
  return (unit !== "" && role !== unit && role.split(" ")[0] !== unit) ||
    (layer !== "" && String(piece.layer) !== layer);
}
function solids() {
  const list = [];
  pieces.forEach((piece, index) => {
    if (!wanted(piece)) return;
    const live = now.on.has(index) || now.level.has(index);
    const at = piece.kind === "tape" ? now.block[index] : piece.at;
    list.push({at, piece, live, shape: SHAPE[piece.kind] ?? [.88, .88, .88, 0], faint: faint(piece),
      moving: piece.kind === "tape" && now.moving.has(index)});
    const state = now.ram.get(index);
    if (state === 1 || state === 2 || state === 3) {
      const reach = state === 2 ? .55 : .3;
      list.push({at: add(at, WAYS[piece.face], reach), piece, live: false, shape: [.5, .5, .5, 0],
        faint: faint(piece), moving: state !== 2});
    }
  });
  return list;
}
function project() {
  const cy = Math.cos(eye.yaw), sy = Math.sin(eye.yaw), cp = Math.cos(eye.pitch), sp = Math.sin(eye.pitch);
  const scale = Math.min(canvas.width, canvas.height * 1.5) / eye.size * eye.zoom;
  const right = [cy, sy, 0], up = [-sy * sp, cy * sp, cp], near = [sy * cp, -cy * cp, sp];
  const to = (cell) => {
    const way = add(cell, eye.mid, -1);
    return [canvas.width / 2 + dot(way, right) * scale, canvas.height / 2 - dot(way, up) * scale];
  };
  return {to, near, right, up, scale};
}
const SIDES = [[0, 1, 2], [1, 0, 2], [2, 0, 1]];
// Seen from afar all equal solids look alike, so each look is drawn once and copied.
const stamps = new Map();
let stampsFor = "";
function paintView() {
  frameAsked = false;
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.globalAlpha = 1;
  pen.fillStyle = colours.paper;
  pen.fillRect(0, 0, canvas.width, canvas.height);
  const look = project();
  const view = [eye.yaw, eye.pitch, look.scale, colours.paper, colours.ink].join(" ");
  if (view !== stampsFor) { stamps.clear(); stampsFor = view; }
  const list = solids();
  for (const solid of list) solid.depth = dot(solid.at, look.near);
  list.sort((a, b) => a.depth - b.depth);
  for (const solid of list) {
    const image = stamp(solid, look), [x, y] = look.to(solid.at), half = image.width / 2;
    pen.globalAlpha = solid.faint ? .1 : 1;
    pen.drawImage(image, Math.round(x - half), Math.round(y - half));
  }
  paintCompass(look);
}
function stamp(solid, look) {
  const {piece} = solid;
  const key = [piece.kind, piece.sign, solid.live, solid.moving, solid.shape[0], solid.faint].join();
  let image = stamps.get(key);
  if (!image) {
    image = document.createElement("canvas");
    image.width = image.height = 2 * Math.ceil(look.scale * 1.1) + 8;
    const ink = image.getContext("2d"), half = image.width / 2;
    const to = (v) => [half + dot(v, look.right) * look.scale, half - dot(v, look.up) * look.scale];
    stampSolid(ink, solid, look, to);
    stamps.set(key, image);
  }
  return image;
}
function stampSolid(ink, solid, look, to) {
  const {piece, shape} = solid;
  const half = [shape[0] / 2, shape[1] / 2, shape[2] / 2];
  const mid = [0, 0, shape[3]];
  ink.strokeStyle = colours[LINE[piece.kind] ?? "ink"];
  ink.lineWidth = solid.live || solid.moving ? 2.6 : 1.1;
  ink.setLineDash(solid.moving ? [5, 3] : []);
  ink.fillStyle = solid.live ? colours.live : piece.kind === "block" ? colours.hatch :
    piece.kind === "insulator" ? colours.cross : colours.paper;
  ink.beginPath();
  for (const [axis, u, v] of SIDES) {
    const side = look.near[axis] >= 0 ? 1 : -1;
    [[-1, -1], [1, -1], [1, 1], [-1, 1]].forEach(([a, b], i) => {
      const corner = [...mid];
      corner[axis] += side * half[axis]; corner[u] += a * half[u]; corner[v] += b * half[v];
      if (i) ink.lineTo(...to(corner)); else ink.moveTo(...to(corner));
    });
    ink.closePath();
  }
  ink.fill("nonzero"); ink.stroke();
  if (look.scale > 16 && !solid.faint) stampSign(ink, solid, mid, look, to);
}
function stampSign(ink, solid, mid, look, to) {
  const {piece} = solid;
  if (piece.kind === "cover" || piece.kind === "block" || solid.shape[0] === .5) return;
  const [x, y] = to(mid);
  ink.setLineDash([]);
  if (piece.face) {
    const [a, b] = to(add(mid, WAYS[piece.face], .5));
    ink.lineWidth = 2.2;
    ink.beginPath(); ink.moveTo(x, y); ink.lineTo(a, b); ink.stroke();
    ink.fillStyle = ink.strokeStyle; ink.beginPath(); ink.arc(a, b, 3, 0, 7); ink.fill();
  }
  ink.font = `700 ${Math.min(15, look.scale * .36)}px system-ui`;
  ink.textAlign = "center"; ink.textBaseline = "middle";
  ink.lineWidth = 3;
  ink.strokeStyle = colours.paper; ink.strokeText(piece.sign, x, y);
  ink.fillStyle = colours.ink; ink.fillText(piece.sign, x, y);
}
function paintCompass(look) {
  const base = [52, canvas.height - 46];
  pen.globalAlpha = 1; pen.setLineDash([]); pen.lineWidth = 1.6;
  pen.strokeStyle = pen.fillStyle = colours.ink; pen.font = "12px system-ui";
  pen.textAlign = "center"; pen.textBaseline = "middle";
  for (const [way, name] of [["+x", "E"], ["+y", "N"], ["+z", "up"]]) {
    const zero = look.to(eye.mid), tip = look.to(add(eye.mid, WAYS[way]));
    const v = [(tip[0] - zero[0]) / look.scale * 28, (tip[1] - zero[1]) / look.scale * 28];
    pen.beginPath(); pen.moveTo(...base); pen.lineTo(base[0] + v[0], base[1] + v[1]); pen.stroke();
    pen.fillText(name, base[0] + v[0] * 1.35, base[1] + v[1] * 1.35);
  }
}
function ask() {
  if (!frameAsked) { frameAsked = true; requestAnimationFrame(paintView); }
}
function fit() {
  const box = canvas.getBoundingClientRect(), ratio = window.devicePixelRatio || 1;
  canvas.width = Math.max(200, Math.round(box.width * ratio));
  canvas.height = Math.max(160, Math.round(box.height * ratio));
  ask();
}
function centre() {
  const chosen = pieces.filter((p) => p.kind !== "cover");
  const list = chosen.length ? chosen : pieces;
  if (!list.length) return;
  const low = [0, 1, 2].map((i) => list.reduce((m, p) => Math.min(m, p.at[i]), Infinity));
  const high = [0, 1, 2].map((i) => list.reduce((m, p) => Math.max(m, p.at[i]), -Infinity));
  eye.mid = low.map((v, i) => (v + high[i]) / 2);
  eye.size = Math.hypot(...low.map((v, i) => high[i] - v + 1)) * 1.12;
}
function turn(yaw, pitch) {
  eye.yaw += yaw;
  eye.pitch = Math.max(-1.57, Math.min(1.57, eye.pitch + pitch));
  ask();
}
function zoom(by) { eye.zoom = Math.max(.3, Math.min(12, eye.zoom * by)); ask(); }
function listenToView() {
  const held = new Map();
  let spread = 0;
  canvas.addEventListener("pointerdown", (e) => {
    held.set(e.pointerId, [e.clientX, e.clientY]); canvas.setPointerCapture(e.pointerId);
  });
  canvas.addEventListener("pointermove", (e) => {
    const last = held.get(e.pointerId);
    if (!last) return;
    held.set(e.pointerId, [e.clientX, e.clientY]);
    if (held.size === 1) turn((last[0] - e.clientX) / 150, (e.clientY - last[1]) / 150);
    else {
      const [a, b] = [...held.values()];
      const apart = Math.hypot(a[0] - b[0], a[1] - b[1]);
      if (spread) zoom(apart / spread);
      spread = apart;
    }
  });
  for (const end of ["pointerup", "pointercancel"]) {
    canvas.addEventListener(end, (e) => { held.delete(e.pointerId); spread = 0; });
  }
  canvas.addEventListener("wheel", (e) => {
    if (!e.ctrlKey && document.activeElement !== canvas) return;
    e.preventDefault(); zoom(e.deltaY < 0 ? 1.1 : 1 / 1.1);
  }, {passive: false});
  canvas.addEventListener("keydown", (e) => {
    const moves = {ArrowLeft: [.12, 0], ArrowRight: [-.12, 0], ArrowUp: [0, .12], ArrowDown: [0, -.12]};
    if (moves[e.key]) { turn(...moves[e.key]); e.preventDefault(); }
    else if (e.key === "+" || e.key === "=") zoom(1.15);
    else if (e.key === "-") zoom(1 / 1.15);
  });
  const clicks = {"turn-left": () => turn(.3, 0), "turn-right": () => turn(-.3, 0),
    "turn-up": () => turn(0, .2), "turn-down": () => turn(0, -.2),
    "zoom-in": () => zoom(1.25), "zoom-out": () => zoom(.8),
    "from-room": () => { eye.yaw = 0; eye.pitch = 1.57; eye.zoom = 1; ask(); }};
  for (const [id, act] of Object.entries(clicks)) $(id).addEventListener("click", act);
  for (const id of ["slice-from", "slice-to", "with-covers", "fade-unit", "fade-layer"]) {
    for (const when of ["input", "change"]) $(id).addEventListener(when, () => { tellSlice(); ask(); });
  }
}
function tellSlice() {
  const a = Math.min(+$("slice-from").value, +$("slice-to").value);
  const b = Math.max(+$("slice-from").value, +$("slice-to").value);
  $("slice-says").textContent = `levels ${a} to ${b} are shown`;
}

// ---------------------------------------------------------------- the press
const scrub = $("scrub"), cursor = $("cursor");
let timer = 0;
function goTo(t) {
  now = stateAt(Math.max(0, Math.min(trace.n, t)));
  scrub.value = now.t;
  scrub.setAttribute("aria-valuetext", `tick ${tick(now.t)}`);
  const text = tell(now);
  $("state").textContent = text;
  if (!timer) $("state-said").textContent = text;
  if (cursor) {
    const x = plan.wave.left + now.t * plan.wave.step;
    cursor.setAttribute("x1", x); cursor.setAttribute("x2", x);
  }
  paintLayer(); ask();
}
function stop() {
  clearInterval(timer); timer = 0;
  $("play").textContent = "Play";
  $("state-said").textContent = tell(now);
}
function play() {
  if (timer) { stop(); return; }
  if (now.t >= trace.n) goTo(0);
  $("play").textContent = "Pause";
  timer = setInterval(() => { if (now.t >= trace.n) stop(); else goTo(now.t + 1); },
    +$("speed").value);
}
function listenToPress() {
  scrub.addEventListener("input", () => { if (timer) stop(); goTo(+scrub.value); });
  $("play").addEventListener("click", play);
  $("one-back").addEventListener("click", () => { if (timer) stop(); goTo(now.t - 1); });
  $("one-on").addEventListener("click", () => { if (timer) stop(); goTo(now.t + 1); });
  $("speed").addEventListener("change", () => { if (timer) { stop(); play(); } });
  if (still.matches) $("speed").value = "1000";
}

// ---------------------------------------------------------------- building
const order = plan.steps.flatMap((step) => step.pieces.map((piece) => ({piece, step: step.number})));
const boxes = [...document.querySelectorAll("input.step")];
let done = new Set(store.read("done", [])), next = store.read("next", 0);
const WAY_NAME = {"+x": "east", "-x": "west", "+y": "north", "-y": "south", "+z": "up", "-z": "down"};
function describe(piece) {
  const name = piece.kind === "tape" ? "tape block" : piece.kind.replace("_", " ");
  const verb = {tape: "travelling", sensor: "watching the cell", inverter: "mounted on the block",
    button: "hanging on the block", buffer: "output"}[piece.kind] ?? "facing";
  const side = {sensor: " of it", inverter: " of it", button: " of it"}[piece.kind] ?? "";
  const way = WAY_NAME[piece.face];
  const facing = !piece.face ? "" :
    `, ${verb} ${way === "up" && side ? "above" : way === "down" && side ? "below" : way + side}`;
  const number = /\d+$/.exec(piece.sign);
  const extra = !number ? "" : piece.kind === "buffer" ? `, delay ${number[0]} ticks` :
    `, pressed for ${number[0]} ticks`;
  return `${name} at (${piece.at.join(", ")})${facing.replace("above of it", "above it")}${extra}`;
}
function firstOpen() {
  let index = 0;
  while (index < order.length && done.has(order[index].step)) index += 1;
  return index;
}
function paintBuild() {
  for (const box of boxes) {
    box.checked = done.has(+box.value);
    box.closest("li").classList.toggle("done", box.checked);
  }
  const digs = plan.steps.filter((s) => !s.pieces.length && !done.has(s.number));
  const item = digs.length ? null : order[next];
  const count = `${Math.min(next, order.length)} of ${order.length} pieces placed`;
  $("next-what").textContent = digs.length ? `Dig first: step ${digs[0].number}.` : item ?
    `${describe(pieces[item.piece])}` : "All pieces are placed.";
  $("next-where").textContent = item ?
    `Sign ${pieces[item.piece].sign}. Step ${item.step}; ${plan.layerNames[pieces[item.piece].layer]}. ${count}.` : count + ".";
  $("next-done").textContent = digs.length ? "Dug" : "Placed, next";
  $("next-done").disabled = !item && !digs.length;
  $("next-back").disabled = next === 0 || digs.length > 0;
  $("next-step").disabled = !item;
  $("next-layer").disabled = !item;
  paintNear(item);
}
function paintNear(item) {
  const svg = $("near");
  svg.replaceChildren();
  svg.style.display = item ? "" : "none";
  if (!item) return;
  const piece = pieces[item.piece], layer = plan.layers[piece.layer];
  const [c, r] = place(layer, piece.at), parts = [];
  const placed = new Map(order.map((entry, i) => [entry.piece, i]));
  for (let index = 0; index < pieces.length; index += 1) {
    const other = pieces[index];
    if (other.layer !== piece.layer) continue;
    const spot = place(layer, other.at);
    if (Math.abs(spot[0] - c) > 4 || Math.abs(spot[1] - r) > 4) continue;
    parts.push(use(other.sign, layer.surface, spot, placed.get(index) > next));
  }
  parts.push(mark("ring", [c, r], -1));
  svg.setAttribute("viewBox", `${(c - 4) * 24 - 16} ${(r - 4) * 24 - 16} 248 248`);
  const labels = [-4, -2, 0, 2, 4].flatMap((d) => {
    const cell = add(add(piece.at, WAYS[layer.right], d), WAYS[layer.down], d);
    const axis = (way) => Math.abs(dot(cell, WAYS[way])) * Math.sign(dot(cell, WAYS[way])) *
      (way[0] === "-" ? -1 : 1);
    return [label(axis(layer.right), (c + d) * 24 + 12, (r - 4) * 24 - 5),
      label(axis(layer.down), (c - 4) * 24 - 8, (r + d) * 24 + 15)];
  });
  svg.append(...parts, ...labels);
  svg.setAttribute("aria-label", `Surroundings of the ${describe(piece)}`);
}
function label(value, x, y) {
  const text = document.createElementNS(SVG, "text");
  text.setAttribute("x", x); text.setAttribute("y", y);
  text.setAttribute("style", "font:9px system-ui;text-anchor:middle;fill:var(--ink)");
  text.textContent = value || 0;
  return text;
}
function keep() { store.write("done", [...done]); store.write("next", next); paintBuild(); }
function tickPassed() {
  for (const step of plan.steps) {
    const last = order.findLastIndex((entry) => entry.step === step.number);
    if (last >= 0) { if (next > last) done.add(step.number); else done.delete(step.number); }
  }
}
function listenToBuild() {
  for (const box of boxes) {
    box.addEventListener("change", () => {
      if (box.checked) done.add(+box.value); else done.delete(+box.value);
      next = firstOpen();
      keep();
    });
  }
  $("next-done").addEventListener("click", () => {
    const dig = plan.steps.find((s) => !s.pieces.length && !done.has(s.number));
    if (dig) done.add(dig.number); else { next += 1; tickPassed(); }
    keep();
  });
  $("next-back").addEventListener("click", () => { next = Math.max(0, next - 1); tickPassed(); keep(); });
  $("next-step").addEventListener("click", () => {
    const item = order[next];
    if (item) next = order.findLastIndex((entry) => entry.step === item.step) + 1;
    tickPassed(); keep();
  });
  $("next-layer").addEventListener("click", () => {
    if (order[next]) { showLayer(pieces[order[next].piece].layer); $("layers").scrollIntoView(); }
  });
  $("forget").addEventListener("click", () => { done = new Set(); next = 0; keep(); });
}

// ---------------------------------------------------------------- the page as a whole
function listenToPage() {
  layerRange.addEventListener("input", () => showLayer(+layerRange.value));
  $("layer-back").addEventListener("click", () => showLayer(shown - 1));
  $("layer-on").addEventListener("click", () => showLayer(shown + 1));
  const theme = $("theme");
  theme.value = store.read("theme", "");
  const dress = () => {
    if (theme.value) document.documentElement.dataset.theme = theme.value;
    else delete document.documentElement.dataset.theme;
    readColours(); ask();
  };
  theme.addEventListener("change", () => { store.write("theme", theme.value); dress(); });
  matchMedia("(prefers-color-scheme: dark)").addEventListener("change", dress);
  const paper = $("paper");
  paper.addEventListener("change", () => { 
    $("paper-size").textContent = `@page{size:${paper.value}}@page broad{size:${paper.value} landscape}`;
  });
  $("print").addEventListener("click", () => window.print());
  dress();
}
centre();
listenToPage();
if (figures.length) showLayer(Math.max(0, plan.layers.findIndex((layer) => layer.level === 0)));
listenToView();
listenToPress();
listenToBuild();
tellSlice();
next = Math.max(0, Math.min(order.length, next));
paintBuild();
goTo(0);
new ResizeObserver(fit).observe(canvas);
document.documentElement.dataset.loaded = "yes";
})();
