"use strict";
// Looks five times a second at what the bench sees, and shows it. Everything from outside goes in as text.
const SVG = "http://www.w3.org/2000/svg";
const WIDTH = 1600, HEIGHT = 620, LEFT = 90, BOTTOM = 50, TOP = 46;
const FROM_HZ = 200, TO_HZ = 20000, LOW_DB = -20, HIGH_DB = 12;
const EVERY_MS = 200;
const TICKS = [[200, "200"], [500, "500"], [1000, "1k"], [2000, "2k"], [3000, "3k"], [4000, "4k"], [5000, "5k"],
  [7000, "7k"], [10000, "10k"], [20000, "20k Hz"]];

const by = (id) => document.getElementById(id);

function put(parent, name, attributes, text, space) {
  const node = space ? document.createElementNS(space, name) : document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) node.setAttribute(key, value);
  if (text !== undefined) node.textContent = text;
  parent.appendChild(node);
  return node;
}

function picture(view) {
  const svg = by("picture");
  svg.replaceChildren();
  const lines = view.held.map((h) => h.curve).concat(view.curve ? [view.curve] : []);
  const high = Math.ceil(lines.reduce((m, l) => l.db.reduce((a, b) => Math.max(a, b), m), HIGH_DB) / 4) * 4;
  const x = (hz) => LEFT + Math.log(hz / FROM_HZ) / Math.log(TO_HZ / FROM_HZ) * (WIDTH - LEFT - 20);
  const y = (db) => TOP + (high - Math.max(db, LOW_DB)) / (high - LOW_DB) * (HEIGHT - BOTTOM - TOP);
  for (const [hz, label] of TICKS) {
    put(svg, "line", { class: "grid", x1: x(hz), x2: x(hz), y1: TOP, y2: HEIGHT - BOTTOM }, undefined, SVG);
    put(svg, "text", { x: x(hz), y: HEIGHT - 12, "text-anchor": hz === TO_HZ ? "end" : "middle" }, label, SVG);
  }
  for (let db = -18; db <= high; db += 6) {
    put(svg, "line", { class: "grid", x1: LEFT, x2: WIDTH - 20, y1: y(db), y2: y(db) }, undefined, SVG);
    put(svg, "text", { x: LEFT - 10, y: y(db) + 10, "text-anchor": "end" }, (db > 0 ? "+" : "") + db, SVG);
  }
  put(svg, "text", { x: LEFT - 10, y: 30, "text-anchor": "end" }, "dB", SVG);
  const path = (line) => line.hz.map((hz, i) => (i ? "L" : "M") + x(hz).toFixed(1) + " " + y(line.db[i]).toFixed(1)).join("");
  for (const held of view.held) {
    put(svg, "path", { class: held.mark, d: path(held.curve) }, undefined, SVG);
    const top = held.curve.db.indexOf(Math.max(...held.curve.db));
    if (top >= 0) {
      put(svg, "text", { class: "mark", x: x(held.curve.hz[top]), y: y(held.curve.db[top]) - 10, "text-anchor": "middle" }, held.mark, SVG);
    }
  }
  if (view.curve) put(svg, "path", { class: "now", d: path(view.curve) }, undefined, SVG);
}

function show(view) {
  document.body.className = view.state;
  document.title = view.title;
  by("title").textContent = view.title;
  if (by("state").textContent !== view.state_words) by("state").textContent = view.state_words;
  const figures = by("figures");
  figures.replaceChildren();
  for (const f of view.figures) {
    const cell = put(figures, "div", {});
    put(cell, "dt", {}, f.unit ? f.label + ", " + f.unit : f.label);
    const dd = put(cell, "dd", {});
    put(dd, "div", { class: "value" }, f.value);
    put(dd, "div", { class: "within" }, f.within);
  }
  const held = by("held");
  held.replaceChildren();
  for (const h of view.held) {
    const item = put(held, "li", { class: h.mark });
    put(item, "b", {}, h.mark);
    put(item, "span", {}, h.name + ": " + (h.apart ? "now " + h.apart : h.figures));
  }
  picture(view);
  const words = view.figures.map((f) => f.label + " " + f.value + " " + f.unit).join(", ");
  by("picture").setAttribute("aria-label", "Response over frequency. " + words);
}

let last = "";
async function look() {
  try {
    const answer = await fetch("now.json", { cache: "no-store" });
    // Nothing is seen yet.
    if (answer.status === 503) return;
    if (!answer.ok) throw new Error(String(answer.status));
    const text = await answer.text();
    if (text !== last) show(JSON.parse(text));
    last = text;
  } catch (e) {
    document.body.className = "trouble";
    by("state").textContent = "the bench has stopped";
    last = "";
  } finally {
    setTimeout(look, EVERY_MS);
  }
}
look();
