// Keeps a page alive: takes the parts that the server sends, puts each in its place, and says when what stands there is
// old. Everything works without this script too; the page then stands still until it is loaded again.
//
// Made to stand on a wall for a month: nothing is added that is not taken away again, a lost connection is sought with
// growing patience, and data that is old is said to be old, also when the server itself is gone.
(() => {
  "use strict";

  /** The server sends at least every 5 s; after this long without a word the page is not live. */
  const SILENCE_MS = 12_000;
  /** Between two tries: doubled each time up to the longest, and shaken so that a hundred screens do not knock at once. */
  const FIRST_RETRY_MS = 1_000;
  const LONGEST_RETRY_MS = 60_000;
  /** A lane does not change its place while a hand is on the page. */
  const HAND_MS = 5_000;
  /** A page that was made from older files loads itself anew, but not over and over. */
  const RELOAD_MS = 10_000;

  const address = document.body.dataset.live;
  if (!address) return;
  const stateLine = document.getElementById("live-state");
  const clock = document.getElementById("live-at");
  const banner = document.getElementById("old-data");
  const loaded = Date.now();
  let stream = null;
  let timer = 0;
  let retry = FIRST_RETRY_MS;
  let lastHand = 0;
  let lastHeard = Date.now();
  /** The lanes in their order, as it was told last. */
  let ids = [];

  const find = (part) => document.querySelector(`[data-part="${CSS.escape(part)}"]`);
  const setText = (node, text) => { if (node.textContent !== text) node.textContent = text; };

  function say(live) {
    document.body.classList.toggle("is-live", live);
    document.body.classList.toggle("is-silent", !live);
    setText(stateLine, live ? "Live," : "Not live, trying again; as of");
    banner.hidden = live;
    if (!live) sayHowOld();
  }

  /** Counts up while nothing is heard, in whole minutes, so that a screen reader is not told each second. */
  function sayHowOld() {
    const minutes = Math.floor((Date.now() - lastHeard) / 60_000);
    const since = minutes < 1 ? "" : minutes < 120 ? ` for ${minutes} min` : ` for ${Math.floor(minutes / 60)} h`;
    setText(banner, `Nothing is heard from the service${since}. What stands here is from ${clock.textContent}; do not work by it.`);
  }

  function place(part, html) {
    const holder = document.createElement("template");
    holder.innerHTML = html;
    const fresh = holder.content.firstElementChild;
    const old = find(part);
    if (!old) {
      if (part.startsWith("lane-")) [...document.querySelectorAll("[data-order]")].at(-1)?.append(fresh);
      return;
    }
    const focused = old.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
    for (const opened of old.querySelectorAll("details[open]")) {
      const id = opened.closest("[id]")?.id;
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

  /** Each area keeps its own lanes, in the order of the whole. */
  function order() {
    if (Date.now() - lastHand < HAND_MS) return;
    for (const list of document.querySelectorAll("[data-order]")) {
      if (list.contains(document.activeElement)) continue;
      const wanted = ids.map((id) => find(`lane-${id}`)).filter((lane) => lane && list.contains(lane));
      if (!wanted.every((lane, index) => list.children[index] === lane)) list.append(...wanted);
    }
  }

  function isWriting() {
    return document.activeElement?.matches("input, textarea, select") ?? false;
  }

  function take(event) {
    const news = JSON.parse(event.data);
    if (news.version !== document.body.dataset.version && !isWriting() && Date.now() - loaded > RELOAD_MS) {
      location.reload();
      return;
    }
    lastHeard = Date.now();
    retry = FIRST_RETRY_MS;
    wait(SILENCE_MS, again);
    setText(clock, news.at);
    clock.dateTime = news.exact;
    say(true);
    for (const [part, html] of Object.entries(news.parts)) place(part, html);
    // Told when it changes, and kept to whenever no hand is on the page.
    if (news.order) ids = news.order;
    order();
    document.dispatchEvent(new CustomEvent("halfdegree:news"));
  }

  function wait(length, then) {
    clearTimeout(timer);
    timer = setTimeout(then, length);
  }

  function close() {
    clearTimeout(timer);
    if (stream) stream.close();
    stream = null;
  }

  function open() {
    close();
    stream = new EventSource(address);
    stream.addEventListener("parts", take);
    // The browser's own tries do not back off, so that ours take their place.
    stream.onerror = again;
    wait(SILENCE_MS, again);
  }

  function again() {
    close();
    say(false);
    wait(retry * (0.75 + Math.random() / 2), open);
    retry = Math.min(retry * 2, LONGEST_RETRY_MS);
  }

  // A page that nobody sees holds no connection: a browser keeps only a handful of them for one address.
  const wake = () => { if (document.hidden) { close(); } else { retry = FIRST_RETRY_MS; open(); } };
  document.addEventListener("visibilitychange", wake);
  window.addEventListener("online", wake);
  window.addEventListener("pagehide", close);
  window.addEventListener("pageshow", (event) => { if (event.persisted) wake(); });
  for (const kind of ["pointerdown", "touchstart", "keydown"]) {
    document.addEventListener(kind, () => { lastHand = Date.now(); }, { passive: true });
  }
  setInterval(() => { if (!banner.hidden) sayHowOld(); }, 15_000);
  wake();
})();
