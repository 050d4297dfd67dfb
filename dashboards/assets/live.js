// Keeps a page alive: takes the parts that the server sends, puts each in its place, and says when what stands there is
// old. Everything works without this script too; the page then stands still until it is loaded again.
(() => {
  "use strict";

  /** The server sends at least every 5 s; after this long without a word the page is not live. */
  const SILENCE_MS = 12_000;
  /** How long to wait before a new try, where the browser does not try by itself. */
  const RETRY_MS = 3_000;
  /** How often a curve is drawn again. */
  const CURVE_MS = 5_000;
  /** A lane does not change its place while a hand is on the page. */
  const HAND_MS = 5_000;

  const address = document.body.dataset.live;
  if (!address) return;
  const stateLine = document.getElementById("live-state");
  const clock = document.getElementById("live-at");
  let stream = null;
  let watchdog = 0;
  let lastHand = 0;
  let lastCurve = Date.now();
  let drawing = false;

  const find = (part) => document.querySelector(`[data-part="${CSS.escape(part)}"]`);

  function say(live) {
    const words = live ? "Live," : "Not live, trying again; as of";
    document.body.classList.toggle("is-live", live);
    document.body.classList.toggle("is-silent", !live);
    if (stateLine.textContent !== words) stateLine.textContent = words;
  }

  function place(part, html) {
    const holder = document.createElement("template");
    holder.innerHTML = html;
    const fresh = holder.content.firstElementChild;
    const old = find(part);
    if (!old) {
      if (part.startsWith("lane-")) document.querySelector("[data-order]")?.append(fresh);
      return;
    }
    const focused = old.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
    const opened = [...old.querySelectorAll("details[open]")].map((one) => one.closest("[id]")?.id);
    for (const id of opened) {
      if (id) fresh.querySelector(`#${CSS.escape(id)} details`)?.setAttribute("open", "");
    }
    if (old.hasAttribute("aria-live")) {
      // A region that is read out must stay the same element, or nobody hears of the change.
      old.className = fresh.className;
      old.replaceChildren(...fresh.childNodes);
      return;
    }
    old.replaceWith(fresh);
    if (focused) fresh.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
  }

  function order(ids) {
    const list = document.querySelector("[data-order]");
    if (!list || list.contains(document.activeElement) || Date.now() - lastHand < HAND_MS) return;
    const wanted = ids.map((id) => find(`lane-${id}`)).filter(Boolean);
    if (wanted.every((lane, index) => list.children[index] === lane)) return;
    list.append(...wanted);
  }

  function drawCurve() {
    const picture = document.querySelector("img[data-live]");
    if (!picture || drawing || Date.now() - lastCurve < CURVE_MS) return;
    drawing = true;
    lastCurve = Date.now();
    const fresh = new Image();
    fresh.onload = () => {
      drawing = false;
      for (const source of picture.parentElement.querySelectorAll("source")) source.remove();
      picture.src = fresh.src;
    };
    fresh.onerror = () => { drawing = false; };
    const shown = new URL(picture.currentSrc || picture.src);
    shown.searchParams.set("at", String(lastCurve));
    fresh.src = shown.href;
  }

  function heard() {
    clearTimeout(watchdog);
    watchdog = setTimeout(() => { close(); say(false); open(); }, SILENCE_MS);
  }

  function take(event) {
    heard();
    say(true);
    const news = JSON.parse(event.data);
    clock.textContent = news.at;
    clock.dateTime = news.exact;
    for (const [part, html] of Object.entries(news.parts)) place(part, html);
    if (news.order) order(news.order);
    drawCurve();
  }

  function close() {
    clearTimeout(watchdog);
    if (stream) stream.close();
    stream = null;
  }

  function open() {
    close();
    heard();
    stream = new EventSource(address);
    stream.addEventListener("parts", take);
    stream.onerror = () => {
      say(false);
      if (stream && stream.readyState === EventSource.CLOSED) {
        close();
        watchdog = setTimeout(open, RETRY_MS);
      }
    };
  }

  // A page that nobody sees holds no connection: a browser keeps only a handful of them for one address.
  const wake = () => (document.hidden ? close() : open());
  document.addEventListener("visibilitychange", wake);
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", (event) => { if (event.persisted) wake(); });
  for (const kind of ["pointerdown", "touchstart", "keydown"]) {
    document.addEventListener(kind, () => { lastHand = Date.now(); }, { passive: true });
  }
  wake();
})();
