"use strict";
// Looks five times a second at what the bench sees, and shows it. Everything from outside goes in as text.
const SVG = "http://www.w3.org/2000/svg";
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
  // In the window's own dots, so that letters keep their shape.
  const width = Math.max(svg.clientWidth, 300), height = Math.max(svg.clientHeight, 150);
  const letter = Math.max(14, Math.min(width / 40, height / 14));
  const left = 2.6 * letter, right = width - letter, top = 1.8 * letter, bottom = height - 1.8 * letter;
  svg.setAttribute("viewBox", "0 0 " + width + " " + height);
  svg.setAttribute("font-size", letter.toFixed(1));
  const x = (hz) => left + Math.log(hz / FROM_HZ) / Math.log(TO_HZ / FROM_HZ) * (right - left);
  const y = (db) => top + (high - db) / (high - LOW_DB) * (bottom - top);
  for (const [hz, label] of TICKS) {
    put(svg, "line", { class: "grid", x1: x(hz), x2: x(hz), y1: top, y2: bottom }, undefined, SVG);
    put(svg, "text", { x: x(hz), y: bottom + 1.3 * letter, "text-anchor": hz === TO_HZ ? "end" : "middle" }, label, SVG);
  }
  for (let db = -18; db <= high; db += 6) {
    put(svg, "line", { class: "grid", x1: left, x2: right, y1: y(db), y2: y(db) }, undefined, SVG);
    put(svg, "text", { x: left - 0.4 * letter, y: y(db) + 0.35 * letter, "text-anchor": "end" }, (db > 0 ? "+" : "") + db, SVG);
  }
  put(svg, "text", { x: left - 0.4 * letter, y: 0.9 * letter, "text-anchor": "end" }, "dB", SVG);
  // What lies below the picture is not drawn; a gap begins anew.
  const path = (line) => {
    let pen = "M", d = "";
    line.hz.forEach((hz, i) => {
      if (line.db[i] >= LOW_DB) d += pen + x(hz).toFixed(1) + " " + y(line.db[i]).toFixed(1);
      pen = line.db[i] >= LOW_DB ? "L" : "M";
    });
    return d;
  };
  for (const held of view.held) {
    put(svg, "path", { class: held.mark, d: path(held.curve) }, undefined, SVG);
    const at = held.curve.db.indexOf(Math.max(...held.curve.db));
    if (at >= 0) {
      const place = { x: x(held.curve.hz[at]), y: y(held.curve.db[at]) - 0.4 * letter, "text-anchor": "middle" };
      put(svg, "text", { class: "mark", ...place }, held.mark, SVG);
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

let last = "", seen = null;
async function look() {
  try {
    const answer = await fetch("now.json", { cache: "no-store" });
    // Nothing is seen yet.
    if (answer.status === 503) return;
    if (!answer.ok) throw new Error(String(answer.status));
    const text = await answer.text();
    if (text !== last) show(seen = JSON.parse(text));
    last = text;
  } catch (e) {
    document.body.className = "trouble";
    by("state").textContent = "the bench has stopped";
    last = "";
  } finally {
    setTimeout(look, EVERY_MS);
  }
}
// The window was drawn wider, or something else takes its room.
new ResizeObserver(() => seen && picture(seen)).observe(by("picture"));
look();
