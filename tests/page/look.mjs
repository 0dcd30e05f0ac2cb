// Looks at pages in a browser: node look.mjs TOOLS PAGE... prints one JSON document with what was found on each.
// The browser is spoken to over two pipes, each message ended by a zero byte; nothing listens on a port.
import { spawn } from "node:child_process";
import { createRequire } from "node:module";
import { copyFileSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

const [tools, ...files] = process.argv.slice(2);
const require = createRequire(resolve(tools, "package.json"));
const { HtmlValidate, StaticConfigLoader } = require("html-validate");
const axe = readFileSync(require.resolve("axe-core/axe.min.js"), "utf8");

// Lines, quotes and letters as maud writes them are not looked at; all that the standard asks for is.
const checker = new HtmlValidate(new StaticConfigLoader({
  root: true,
  extends: ["html-validate:standard", "html-validate:a11y"],
  rules: { "doctype-style": "off", "long-title": "off", "no-raw-characters": "off" },
}));

const profile = mkdtempSync(join(tmpdir(), "page-"));
const browser = spawn("chromium", [
  "--headless", "--no-sandbox", "--disable-gpu", "--disable-dev-shm-usage", "--no-first-run", "--disable-extensions",
  "--remote-debugging-pipe", `--user-data-dir=${profile}`, "about:blank",
], { stdio: ["ignore", "ignore", "ignore", "pipe", "pipe"] });
const [, , , to, from] = browser.stdio;
let next = 1, rest = "";
const waiting = new Map(), heard = [];
from.on("data", (chunk) => {
  const parts = (rest + chunk).split("\0");
  rest = parts.pop();
  for (const part of parts) {
    const message = JSON.parse(part);
    if (!message.id) { heard.push(message); continue; }
    const { done, fail } = waiting.get(message.id);
    waiting.delete(message.id);
    message.error ? fail(new Error(JSON.stringify(message.error))) : done(message.result);
  }
});
function send(method, params = {}, sessionId) {
  const id = next++;
  to.write(JSON.stringify({ id, method, params, sessionId }) + "\0");
  return new Promise((done, fail) => waiting.set(id, { done, fail }));
}

async function look(file) {
  const { targetId } = await send("Target.createTarget", { url: "about:blank" });
  const { sessionId } = await send("Target.attachToTarget", { targetId, flatten: true });
  const s = (method, params) => send(method, params, sessionId);
  for (const domain of ["Page", "Runtime", "Network", "Log"]) await s(domain + ".enable");
  const run = async (expression) => {
    const r = await s("Runtime.evaluate", { expression, awaitPromise: true, returnByValue: true });
    if (r.exceptionDetails) throw new Error(JSON.stringify(r.exceptionDetails));
    return r.result.value;
  };
  heard.length = 0;
  const url = pathToFileURL(resolve(file)).href;
  await s("Page.navigate", { url });
  for (let i = 0; (await run("document.readyState")) !== "complete" && i < 600; i++) await new Promise((r) => setTimeout(r, 50));
  const found = { file, axe: [] };
  found.wrong = (await checker.validateString(readFileSync(file, "utf8"), "page.html")).results
    .flatMap((r) => r.messages.map((m) => `${m.ruleId} ${m.line}:${m.column} ${m.message}`));
  found.mode = await run("document.compatMode");
  found.elements = await run("Object.fromEntries(['script','style','img','iframe','link','object','a','table','figure','article','svg'].map(n => [n, document.getElementsByTagName(n).length]))");
  found.title = await run("document.title");
  await run(axe);
  const tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"];
  for (const scheme of ["light", "dark"]) {
    await s("Emulation.setEmulatedMedia", { features: [{ name: "prefers-color-scheme", value: scheme }] });
    found.axe.push(...await run(`axe.run(document, { runOnly: ${JSON.stringify(tags)} }).then(r => r.violations.map(v => "${scheme} " + v.id + ": " + v.nodes.slice(0, 3).map(n => n.html.slice(0, 120)).join(" | ")))`));
  }
  // The keys that a person has: to the slider, one step on, and to a column's head.
  const key = async (name, code) => {
    for (const type of ["rawKeyDown", "keyUp"]) await s("Input.dispatchKeyEvent", { type, key: name, code: name, windowsVirtualKeyCode: code });
  };
  found.pointer = null;
  if (await run("!!document.querySelector('.pointer input')")) {
    await run("document.querySelector('.pointer input').focus()");
    await key("Home", 36);
    const low = await run("document.querySelector('.pointer p').textContent");
    await key("End", 35);
    for (let i = 0; i < 100; i++) await key("ArrowLeft", 37);
    found.pointer = {
      low,
      at: Number(await run("document.querySelector('.pointer input').value")),
      told: await run("document.querySelector('.pointer p').textContent"),
      aria: await run("document.querySelector('.pointer input').getAttribute('aria-valuetext')"),
      line: await run("document.querySelector('.at').getAttribute('visibility')"),
    };
  }
  found.sorted = null;
  if (await run("!!document.querySelector('table.sorts')")) {
    const column = "Math.max(0, [...document.querySelectorAll('table.sorts')[0].tHead.rows[0].cells].findIndex(c => c.textContent === 'peak'))";
    const values = `[...document.querySelectorAll('table.sorts')[0].tBodies[0].rows].map(r => r.cells[${column}].dataset.value ?? null)`;
    await run(`document.querySelectorAll('table.sorts')[0].tHead.rows[0].cells[${column}].querySelector('button').focus()`);
    const press = async () => { await s("Input.dispatchKeyEvent", { type: "keyDown", key: "Enter", code: "Enter", windowsVirtualKeyCode: 13, text: "\r" }); await s("Input.dispatchKeyEvent", { type: "keyUp", key: "Enter", code: "Enter", windowsVirtualKeyCode: 13 }); };
    await press();
    const up = await run(values), aria = await run(`document.querySelectorAll('table.sorts')[0].tHead.rows[0].cells[${column}].getAttribute('aria-sort')`);
    await press();
    found.sorted = { up, aria, down: await run(values) };
  }
  await s("Emulation.setEmulatedMedia", { features: [] });
  found.pages = {};
  for (const [paper, w, h] of [["a4", 8.27, 11.69], ["letter", 8.5, 11]]) {
    const { data } = await s("Page.printToPDF", { paperWidth: w, paperHeight: h, preferCSSPageSize: false });
    found.pages[paper] = (Buffer.from(data, "base64").toString("latin1").match(/\/Type\s*\/Page\b/g) ?? []).length;
    if (process.env.PAGE_PICTURES) writeFileSync(join(process.env.PAGE_PICTURES, `${file}-${paper}.pdf`), Buffer.from(data, "base64"));
  }
  if (process.env.PAGE_PICTURES) {
    copyFileSync(file, join(process.env.PAGE_PICTURES, file));
    for (const scheme of ["light", "dark"]) {
      await s("Emulation.setEmulatedMedia", { features: [{ name: "prefers-color-scheme", value: scheme }] });
      const shot = await s("Page.captureScreenshot", { captureBeyondViewport: true });
      writeFileSync(join(process.env.PAGE_PICTURES, `${file}-${scheme}.png`), Buffer.from(shot.data, "base64"));
    }
  }
  // What the browser was asked for besides the page, and all that it complained of.
  found.fetched = heard.filter((m) => m.method === "Network.requestWillBeSent" && m.params.request.url !== url).map((m) => m.params.request.url);
  found.complaints = heard.filter((m) => ["Log.entryAdded", "Runtime.exceptionThrown", "Runtime.consoleAPICalled"].includes(m.method)).map((m) => JSON.stringify(m.params).slice(0, 400));
  await send("Target.closeTarget", { targetId });
  return found;
}

let status = 0;
try {
  const all = [];
  for (const file of files) all.push(await look(file));
  process.stdout.write(JSON.stringify(all));
} catch (e) {
  process.stderr.write(String(e.stack ?? e));
  status = 1;
}
browser.once("exit", () => { rmSync(profile, { recursive: true, force: true }); process.exit(status); });
send("Browser.close").catch(() => {});
setTimeout(() => browser.kill("SIGKILL"), 5000).unref();
