// The pictures of the README; see run.

import { join } from "node:path";
import { chromium } from "playwright-core";

const { DEMO_URL, OUT, CHROMIUM } = process.env;

const browser = await chromium.launch({ executablePath: CHROMIUM, args: ["--no-sandbox"] });
const context = await browser.newContext({ viewport: { width: 1000, height: 760 }, colorScheme: "light" });
const page = await context.newPage();

async function take(name, address, from = "body") {
  await page.goto(DEMO_URL + address, { waitUntil: "load" });
  await page.waitForTimeout(1_000);
  await page.locator(from).first().evaluate((one) => one.scrollIntoView());
  const path = join(OUT, `${name}.png`);
  await page.screenshot({ path });
  console.log(path);
}

await take("floor", "/");
// The kettle that needs somebody first stands first.
const kettle = await page.locator(".lane-name a").first().getAttribute("href");
await take("machine", kettle, ".curve");
// A batch that has ended, with its tests.
await page.goto(`${DEMO_URL}/machines/alder`, { waitUntil: "load" });
const batches = await page.locator('table a[href^="/batches/"]').evaluateAll((links) => links.map((link) => link.getAttribute("href")));
await take("batch", batches[0]);
await take("week", "/weeks");
await browser.close();
