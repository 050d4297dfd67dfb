// Looks at every page as people do, and says what is wrong with it:
//
// - axe-core finds nothing against WCAG 2.2 A and AA, by day and by night;
// - no page scrolls sideways at 360, 820, 1440 or 3840 px, folded or unfolded;
// - no request leaves the host, and nothing is refused by the content security policy or written to the console;
// - a page is answered within 150 ms (median of five) and weighs no more than 300 kB with everything it needs;
// - the curve can be read and zoomed by keyboard, and the floor stays live and says so when the service is not heard.
//
// Prints a line a check that fails, figures for all, and ends with 1 if anything failed.
import { connect, createServer } from "node:net";
import { createRequire } from "node:module";
import { mkdirSync, readFileSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";

const BASE = process.env.REACH_URL;
const PICTURES = process.env.PICTURES;
const WIDTHS = [360, 820, 1440, 3840];
const SERVER_MS = 150;
const PAGE_BYTES = 300_000;
const AXE = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");
const RULES = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa"];

let checks = 0;
const faults = [];
function check(holds, says) {
  checks += 1;
  if (!holds) { faults.push(says); console.log(`FAULT ${says}`); }
}

/** Every page, with a machine and a batch that exist now. */
async function addresses() {
  const read = async (path) => (await fetch(BASE + path)).json();
  const { machines } = await read("/api/v1/machines");
  const { batches } = await read("/api/v1/batches?open=no&limit=4");
  const { batches: open } = await read("/api/v1/batches?open=yes&limit=1");
  const pages = [
    "/", `/machines/${machines[0].id}`, `/machines/${machines[0].id}?span=24h&channels=room,chocolate`,
    "/findings", "/findings?open=yes", "/display", "/handbook", "/sign-in", "/nowhere",
  ];
  for (const batch of [batches[0], open[0]]) if (batch) pages.push(`/batches/${batch.id}`);
  for (const { id } of machines.filter(({ style }) => style === "bench")) pages.push(`/bench/${id}`, `/machines/${id}`);
  // A day and a week that are over, and batches laid over each other.
  const day = new Date(new Date(batches[0].start) - 2 * 86_400_000).toISOString().slice(0, 10);
  pages.push(`/days/${day}`, `/weeks/${weekOf(new Date(new Date(batches[0].start) - 7 * 86_400_000))}`);
  pages.push(`/compare?${batches.map(({ id }) => `batch=${encodeURIComponent(id)}`).join("&")}`);
  // Pages that the navigation names, whatever they are.
  const floor = await (await fetch(BASE + "/")).text();
  const named = [...floor.matchAll(/<nav aria-label="Pages">([\s\S]*?)<\/nav>/g)].flatMap(([, nav]) => [...nav.matchAll(/href="([^"]+)"/g)].map(([, href]) => href));
  return [...new Set([...pages, ...named])];
}

/** The ISO week of a day: that of its Thursday. */
function weekOf(day) {
  const thursday = new Date(Date.UTC(day.getUTCFullYear(), day.getUTCMonth(), day.getUTCDate() + 4 - (day.getUTCDay() || 7)));
  const week = Math.ceil(((thursday - Date.UTC(thursday.getUTCFullYear(), 0, 1)) / 86_400_000 + 1) / 7);
  return `${thursday.getUTCFullYear()}-W${String(week).padStart(2, "0")}`;
}

async function open(browser, options = {}) {
  const context = await browser.newContext({ bypassCSP: false, ...options });
  const page = await context.newPage();
  const seen = { foreign: [], told: [], bytes: 0 };
  page.on("request", (request) => {
    const { origin, protocol } = new URL(request.url());
    if (origin !== BASE && !["data:", "blob:"].includes(protocol)) seen.foreign.push(request.url());
  });
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) seen.told.push(message.text()); });
  page.on("pageerror", (error) => seen.told.push(String(error)));
  const session = await context.newCDPSession(page);
  await session.send("Network.enable");
  session.on("Network.dataReceived", ({ dataLength }) => { seen.bytes += dataLength; });
  return { context, page, seen };
}

async function sideways(page, where) {
  const { wide, told } = await page.evaluate(() => {
    const wide = document.documentElement.scrollWidth - document.documentElement.clientWidth;
    const beyond = [...document.querySelectorAll("body *")].filter((one) => one.getBoundingClientRect().right > innerWidth + 1 && !one.closest(".scroll, svg, .hidden"));
    return { wide, told: beyond.slice(0, 3).map((one) => `${one.tagName}.${one.className}`) };
  });
  check(wide <= 0, `${where}: scrolls sideways by ${wide} px (${told})`);
}

async function look(browser, address, width, scheme) {
  const height = { 360: 780, 820: 1180, 1440: 900, 3840: 2160 }[width];
  const { context, page, seen } = await open(browser, { viewport: { width, height }, colorScheme: scheme });
  await page.goto(BASE + address, { waitUntil: "load" });
  await page.waitForTimeout(700);
  const where = `${address} at ${width} px, ${scheme}`;
  await sideways(page, where);
  check(seen.foreign.length === 0, `${where}: asks elsewhere: ${seen.foreign}`);
  const complaints = seen.told.filter((text) => !(address === "/nowhere" && text.includes("404")));
  check(complaints.length === 0, `${where}: the console says ${complaints}`);
  check(seen.bytes <= PAGE_BYTES, `${where}: weighs ${Math.round(seen.bytes / 1000)} kB`);
  const small = await page.evaluate(() => [...document.querySelectorAll("a, button, input, select, summary")].filter((one) => {
    const box = one.getBoundingClientRect();
    return box.width > 0 && box.height > 0 && box.height < 24 && !one.closest("p, .hidden, label") && getComputedStyle(one).position !== "absolute";
  }).map((one) => one.outerHTML.slice(0, 80)));
  check(small.length === 0, `${where}: targets under 24 px: ${small.slice(0, 3)}`);
  // axe is put in by the debugger, which no content security policy binds.
  await page.evaluate(AXE);
  const { violations } = await page.evaluate((rules) => globalThis.axe.run(document, { runOnly: { type: "tag", values: rules } }), RULES);
  check(violations.length === 0, `${where}: ${violations.map((one) => `${one.id}: ${one.nodes.slice(0, 2).map((node) => `${node.html.slice(0, 120)} (${node.failureSummary.split("\n")[1] ?? ""})`).join(" | ")}`).join("; ")}`);
  if (PICTURES) {
    mkdirSync(PICTURES, { recursive: true });
    const name = `${address.replaceAll(/[^a-z0-9-]+/gi, "_").slice(0, 40) || "_"}-${width}-${scheme}.png`;
    await page.screenshot({ path: join(PICTURES, name), fullPage: width < 3840 });
  }
  await page.evaluate(() => document.querySelectorAll("details").forEach((one) => { one.open = true; }));
  await sideways(page, `${where}, unfolded`);
  await context.close();
  return seen.bytes;
}

/** A checker that finds nothing must first be seen to find something. */
async function theCheckerSees(browser) {
  const { context, page } = await open(browser, { viewport: { width: 1440, height: 900 } });
  await page.goto(BASE + "/display", { waitUntil: "load" });
  await page.evaluate(() => document.querySelector("main").append(new Image(), document.createElement("button")));
  await page.evaluate(AXE);
  const { violations } = await page.evaluate((rules) => globalThis.axe.run(document, { runOnly: { type: "tag", values: rules } }), RULES);
  const seen = violations.map((one) => one.id);
  check(seen.includes("image-alt") && seen.includes("button-name"), `axe-core does not see planted faults, only ${seen}`);
  await context.close();
}

async function serverTime(address) {
  const times = [];
  for (let round = 0; round < 5; round += 1) {
    const began = performance.now();
    await (await fetch(BASE + address)).text();
    times.push(performance.now() - began);
  }
  return times.sort((a, b) => a - b)[2];
}

async function paint(browser, address) {
  const { context, page } = await open(browser, { viewport: { width: 1440, height: 900 } });
  await page.goto(BASE + address, { waitUntil: "load" });
  const entry = () => performance.getEntriesByName("first-contentful-paint")[0]?.startTime;
  const first = await (await page.waitForFunction(entry, null, { timeout: 10_000 })).jsonValue();
  await context.close();
  return first;
}

async function curveByKeyboard(browser, address) {
  const { context, page } = await open(browser, { viewport: { width: 1440, height: 900 } });
  await page.goto(BASE + address, { waitUntil: "load" });
  const handle = page.getByRole("slider", { name: "Time on the curve" });
  await handle.focus();
  await page.keyboard.press("Home");
  for (let step = 0; step < 40; step += 1) await page.keyboard.press("ArrowRight");
  await page.waitForTimeout(600);
  const told = await handle.getAttribute("aria-valuetext");
  check(/\d\d:\d\d:\d\d · chocolate/.test(told ?? ""), `${address}: the cross-hair tells nothing by keyboard: ${told}`);
  const span = () => page.evaluate(() => { const { from, to } = document.querySelector(".plot svg").dataset; return to - from; });
  const before = await span();
  const edge = () => page.evaluate(() => Number(document.querySelector(".plot svg").dataset.to));
  const first = await edge();
  await page.waitForTimeout(9_000);
  check(await edge() > first, `${address}: the curve does not move on with the time`);
  await page.keyboard.press("+");
  await page.waitForTimeout(800);
  check(await span() < before * 0.6, `${address}: + does not zoom`);
  check(page.url().includes("from="), `${address}: a zoomed view is not in the address`);
  await page.keyboard.press("Escape");
  await page.waitForTimeout(800);
  check(Math.abs(await span() - before) < before * 0.2, `${address}: Escape does not go back`);
  const box = await handle.boundingBox();
  await page.mouse.move(box.x + box.width * 0.3, box.y + 40);
  await page.mouse.down();
  await page.mouse.move(box.x + box.width * 0.6, box.y + 60, { steps: 4 });
  await page.mouse.up();
  await page.waitForTimeout(800);
  const zoomed = await span();
  check(zoomed > before * 0.25 && zoomed < before * 0.35, `${address}: a drag over 30 % shows ${zoomed / before} of the time`);
  const points = await page.evaluate(() => Math.max(...[...document.querySelectorAll(".plot svg polyline")].map((line) => line.points.numberOfItems)));
  const pixels = await page.evaluate(() => document.querySelector(".plot svg").viewBox.baseVal.width);
  check(points <= pixels, `${address}: a line of ${points} points on ${pixels} pixels`);
  await context.close();
  return told;
}

/** A door to the service that can be shut, as if its machine had lost power. */
async function door() {
  const { hostname, port } = new URL(BASE);
  const held = new Set();
  const server = createServer((near) => {
    const far = connect(Number(port), hostname);
    for (const [one, other] of [[near, far], [far, near]]) {
      held.add(one);
      one.pipe(other);
      one.on("error", () => other.destroy());
      one.on("close", () => held.delete(one));
    }
  });
  const listen = (at) => new Promise((done) => { server.listen(at, "127.0.0.1", done); });
  await listen(0);
  const at = server.address().port;
  return {
    address: `http://127.0.0.1:${at}`,
    shut: () => { server.close(); for (const one of held) one.destroy(); },
    open: () => listen(at),
  };
}

async function floorSaysWhenItIsOld(browser) {
  const way = await door();
  const { context, page } = await open(browser, { viewport: { width: 1440, height: 900 } });
  await page.goto(way.address + "/", { waitUntil: "load" });
  await page.waitForSelector("body.is-live", { timeout: 10_000 });
  const nodes = () => page.evaluate(() => document.querySelectorAll("*").length);
  const before = await nodes();
  await page.waitForTimeout(8_000);
  check(Math.abs(await nodes() - before) < 200, `/: the page grows: ${before} elements, then ${await nodes()}`);
  way.shut();
  await page.waitForSelector("#old-data:not([hidden])", { timeout: 30_000 });
  check(/Nothing is heard from the service/.test(await page.textContent("#old-data")), "/: old data is not said to be old");
  await way.open();
  await page.waitForSelector("body.is-live", { timeout: 30_000 });
  check(await page.isHidden("#old-data"), "/: the page does not come back to life");
  await context.close();
  way.shut();
}

async function readInFahrenheit(browser) {
  const { context, page } = await open(browser, { viewport: { width: 1440, height: 900 } });
  await page.goto(`${BASE}/display?degrees=F&zone=Asia/Kolkata`);
  await page.goto(BASE + "/");
  const floor = await page.textContent("main");
  check(floor.includes("°F") && !floor.includes("°C"), "/: does not read in °F throughout");
  check((await page.textContent(".reads")).includes("Asia/Kolkata"), "/: does not say on which clock");
  await context.close();
}

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox", "--disable-gpu"] });
try {
  await theCheckerSees(browser);
  const pages = await addresses();
  const bytes = new Map();
  for (const address of pages) {
    for (const width of WIDTHS) bytes.set(address, Math.max(bytes.get(address) ?? 0, await look(browser, address, width, "light")));
    await look(browser, address, 1440, "dark");
  }
  console.log("page | server time, ms | first contentful paint, ms | weight, kB");
  for (const address of pages) {
    const time = await serverTime(address);
    check(time <= SERVER_MS, `${address}: answered in ${Math.round(time)} ms`);
    console.log(`${address} | ${time.toFixed(0)} | ${(await paint(browser, address)).toFixed(0)} | ${Math.round(bytes.get(address) / 1000)}`);
  }
  const machine = pages.find((address) => address.startsWith("/machines/"));
  console.log(`cross-hair: ${await curveByKeyboard(browser, machine)}`);
  await floorSaysWhenItIsOld(browser);
  await readInFahrenheit(browser);
} finally {
  await browser.close();
}
console.log(`${checks - faults.length} passed, ${faults.length} failed`);
process.exitCode = faults.length === 0 ? 0 : 1;
