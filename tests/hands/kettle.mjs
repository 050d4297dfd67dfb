// A worker and the person in charge of quality take a kettle through charge, seed, a passed test, a release, a top-up, a failed test and
// the decision to hold it, at the width of a tablet and by the pages alone. Then the report and its history of changes have to have it.
//
// The night's readings come as a gateway would bring them in the morning, those of the landing as they are measured. Prints a line a
// step, and ends with 1 if anything was not as it should be.
import { spawn } from "node:child_process";
import { mkdirSync, writeFileSync } from "node:fs";
import { join } from "node:path";
import { chromium } from "playwright-core";

const BASE = process.env.HANDS_URL;
const { PICTURES, PROGRAM, BROKER } = process.env;
const PASSWORD = "a-long-pass-phrase-of-one-day";
/** Of the night: hours of melt, and minutes of cooling that are over when the browser opens. */
const NIGHT_H = 7;
const COOLED_MIN = 70;
/** The landing and the hold that are measured while we look, minutes. */
const LIVE_MIN = 25;
const EVERY_S = 5;

let picture = 0;
let faults = 0;
function check(holds, says) { if (!holds) { faults += 1; console.log(`FAULT ${says}`); } }

async function shot(page, name) {
  if (!PICTURES) return;
  mkdirSync(PICTURES, { recursive: true });
  picture += 1;
  await page.screenshot({ path: join(PICTURES, `kettle-${String(picture).padStart(2, "0")}-${name}.png`), fullPage: true });
}

/** Made up after Newton: heated to 46 °C, held, cooled by a jacket of 18 °C, seeded at 34 °C with a dip, and held at 31.5 °C. */
function celsius(minute) {
  const flutter = 0.03 * Math.sin(minute * 7) + 0.02 * Math.cos(minute * 31);
  const start = -NIGHT_H * 60;
  const rise = Math.min(46, 20 + (26 * (minute - start)) / 150);
  const cooled = 18 + 28 * Math.exp(-(minute + COOLED_MIN) / 125);
  const landing = minute < -COOLED_MIN ? rise : cooled;
  const seeded = minute > 1 ? Math.max(31.5, cooled - 2 * Math.min(1, (minute - 1) / 2)) : landing;
  return seeded + flutter;
}

/** Lines as `mosquitto_sub -F %J` prints them, each with the reading's own time. */
function stream(start, from, to) {
  const lines = [];
  for (let second = from * 60; second < to * 60; second += EVERY_S) {
    const at = new Date(start + second * 1000);
    const payload = [{ n: "chocolate", u: "Cel", t: at.getTime() / 1000, v: Number(celsius(second / 60).toFixed(2)) }];
    lines.push(JSON.stringify({ tst: at.toISOString(), topic: "works/alder", qos: 1, retain: 0, payload }));
  }
  return lines.join("\n");
}

function replay(name, text, speed) {
  writeFileSync(name, text);
  const child = spawn(PROGRAM, ["replay", name, "--to", BROKER, "--speed", speed], { stdio: "ignore" });
  return { child, ended: new Promise((done) => { child.on("exit", done); }) };
}

const browser = await chromium.launch({ executablePath: process.env.CHROMIUM, args: ["--no-sandbox"] });
const told = [];

async function signedIn(name) {
  const context = await browser.newContext({ viewport: { width: 820, height: 1180 }, hasTouch: true });
  const page = await context.newPage();
  page.on("console", (message) => { if (message.type() === "error") told.push(message.text()); });
  page.on("pageerror", (error) => told.push(String(error)));
  await page.goto(`${BASE}/sign-in`);
  await page.fill('input[name="name"]', name);
  await page.fill('input[name="password"]', PASSWORD);
  await page.locator("main form button").first().click();
  await page.waitForURL((url) => !url.pathname.startsWith("/sign-in"));
  return page;
}

/** What the service says of the kettle. */
async function alder(page) {
  const answer = await page.request.get(`${BASE}/api/v1/machines`);
  return (await answer.json()).machines[0];
}

async function until(page, what, holds, minutes) {
  for (const end = Date.now() + minutes * 60_000; Date.now() < end;) {
    const machine = await alder(page);
    if (holds(machine)) { console.log(`${machine.phase}: ${what}`); return machine; }
    await page.waitForTimeout(2_000);
  }
  throw new Error(`waited in vain: ${what}`);
}

/** Opens one of the entries, fills it in, and sends it. */
async function enter(page, title, fields, button) {
  await page.goto(`${BASE}/machines/alder`);
  const entry = page.locator("details.entry", { has: page.getByText(title, { exact: true }) });
  await entry.locator("summary").click();
  for (const [name, value] of Object.entries(fields)) await entry.locator(`[name="${name}"]`).fill(value);
  await entry.getByRole("button", { name: button }).click();
  await page.locator(".message[role=status]").waitFor();
  console.log(`${title}: ${await page.locator(".message[role=status]").innerText()}`);
}

async function judge(page, grade, minutes) {
  await page.goto(`${BASE}/machines/alder`);
  await page.getByRole("button", { name: "Smear taken" }).click();
  await page.locator(".smear").waitFor();
  await shot(page, `smear-${grade}`);
  const entry = page.locator("details.entry", { has: page.getByText("Enter the result", { exact: true }) });
  if (!(await entry.getAttribute("open"))) await entry.locator("summary").click();
  for (const property of ["gloss", "contraction", "snap"]) await entry.locator(`input[name="${property}"][value="${grade}"]`).check({ force: true });
  await entry.locator('input[name="minutes"]').fill(minutes);
  await entry.getByRole("button", { name: "Enter the temper test" }).click();
  await page.locator(".message[role=status]").waitFor();
}

async function decide(page, href, decision, reason) {
  await page.goto(BASE + href);
  const section = page.locator("section", { has: page.locator("#decision-title") });
  await section.locator("summary").click();
  await section.locator(`input[name="decision"][value="${decision}"]`).check({ force: true });
  await section.locator('textarea[name="reason"]').fill(reason);
  await section.getByRole("button", { name: "Decide" }).click();
  await page.getByText(reason).first().waitFor();
}

let measuring;
try {
  const start = Date.now();
  await replay("night.ndjson", stream(start, -NIGHT_H * 60, 0), "0").ended;
  measuring = replay("morning.ndjson", stream(start, 0, LIVE_MIN), "1").child;
  const marta = await signedIn("marta");
  const quality = await signedIn("ines");
  const cooling = await until(marta, "the night has come in", (machine) => machine.phase === "cooling", 2);
  const href = `/batches/${encodeURIComponent(cooling.batch.id)}`;
  await enter(marta, "Charge", { mass_kg: "48", lot: "L2207" }, "Enter the charge");
  await enter(marta, "Seed", { mass_kg: "12", temperature: "20", lot: "S118" }, "Enter the seed");
  await shot(marta, "seeded");
  const working = await until(marta, "it has landed", (machine) => machine.phase === "working", 15);
  check(working.batch.standing === "unproven", `without a test it stands as ${working.batch.standing}`);
  await judge(marta, "good", "4");
  await until(marta, "the smear passed", (machine) => machine.batch.standing === "in-temper", 2);
  await decide(quality, href, "release", "Gloss and snap as on the sheet.");
  await enter(marta, "Top-up", { mass_kg: "4", temperature: "20", lot: "L2208" }, "Enter the top-up");
  await judge(marta, "poor", "12");
  await until(marta, "the smear failed", (machine) => machine.batch.standing === "off-temper", 2);
  await marta.goto(`${BASE}/machines/alder`);
  await shot(marta, "failed");
  check(/since|back to|concern|question/i.test(await marta.locator("main").innerText()), "the machine page does not say which product is in question");
  await decide(marta, href, "hold", "Smear soft after the top-up.");

  await marta.goto(BASE + href);
  const report = (await marta.locator("main").innerText()).replaceAll("\u00a0", " ");
  const expected = [
    "L2207", "S118", "L2208", "Gloss and snap as on the sheet.", "Smear soft after the top-up.", "a later decision took its place",
    "Temperature alone never proves temper",
  ];
  for (const words of expected) check(report.includes(words), `the report lacks "${words}"`);
  const history = await marta.locator("section", { has: marta.locator("#history-title") }).innerText();
  for (const words of ["marta", "ines", "temper test", "top-up", "seed"]) {
    check(history.toLowerCase().includes(words), `the history of changes lacks "${words}": ${history}`);
  }
  await shot(marta, "report");
  check(told.length === 0, `the browser says: ${told.join("; ")}`);
} finally {
  measuring?.kill();
  await browser.close();
}
console.log(faults === 0 ? "All as it should be." : `${faults} faults`);
process.exit(faults === 0 ? 0 : 1);
