// The curve under the hand: a cross-hair that tells the values, drag to zoom, and the same by keyboard. The server draws;
// this asks it for the curve at the wanted span and at the width that the page has, and puts it in its place. Without
// this script every control is a link that does the same through a whole page.
(() => {
  "use strict";

  /** How often a curve that moves on with the time is drawn again. */
  const REDRAW_MS = 5_000;
  /** A drag of fewer pixels is a touch. */
  const SMALLEST_DRAG = 8;
  /** Another width than this much off is worth a new drawing. */
  const WIDTH_STEP = 24;

  const section = document.querySelector("[data-curve]");
  if (!section) return;
  const plot = section.querySelector(".plot");
  const part = (name, root = section) => root.querySelector(`[data-curve-part="${name}"]`);
  const make = (tag, className) => Object.assign(document.createElement(tag), { className });

  const line = make("div", "cross-hair");
  const picked = make("div", "picked");
  const readout = make("output", "readout");
  const handle = make("div", "plot-handle");
  Object.assign(handle, { tabIndex: 0 });
  for (const [name, value] of Object.entries({
    role: "slider", "aria-label": "Time on the curve", "aria-valuemin": 0, "aria-valuemax": 1000, "aria-valuenow": 1000,
    "aria-describedby": "curve-keys",
  })) handle.setAttribute(name, value);
  const keys = Object.assign(make("p", "soft keys"), {
    id: "curve-keys",
    textContent: "Point or use the arrow keys to read the values. Drag, or press + and −, to zoom; Page Up and Page Down move along; Escape goes back.",
  });
  line.hidden = picked.hidden = true;
  readout.textContent = "\u00a0";
  plot.append(line, picked, handle);
  plot.before(readout);
  section.querySelector("figcaption").before(keys);

  let view = location.pathname + location.search;
  let home = null;
  let share = null;
  let values = null;
  let asked = null;
  let drawing = false;
  let lastDrawn = Date.now();
  let dragFrom = null;
  let clock = new Intl.DateTimeFormat("en-GB", { timeZone: section.dataset.zone, hour: "2-digit", minute: "2-digit", second: "2-digit" });

  /** Pixels to ask for: letters grow with those of the page, as on a wall screen. */
  function roomFor() {
    const letters = parseFloat(getComputedStyle(document.documentElement).fontSize) / 16;
    return Math.min(3840, Math.max(280, Math.round(plot.clientWidth / letters)));
  }

  const svg = () => part("drawing").querySelector("svg");
  /** Where the plot lies in its box, in CSS pixels, and what time it covers. */
  function frame() {
    const data = svg().dataset;
    const scale = plot.clientWidth / svg().viewBox.baseVal.width;
    const panels = data.panels.split(";").map((panel) => panel.split(",").map(Number));
    return {
      left: data.left * scale, right: data.right * scale, from: Number(data.from), to: Number(data.to),
      top: panels[0][0] * scale, bottom: panels.at(-1)[1] * scale,
    };
  }

  function layOut() {
    const { left, right, top, bottom } = frame();
    Object.assign(handle.style, { left: `${left}px`, width: `${right - left}px`, top: `${top}px`, height: `${bottom - top}px` });
    point(share);
  }

  const timeAt = (at) => { const { from, to } = frame(); return from + at * (to - from); };

  function say() {
    if (share === null) return;
    const told = [clock.format(timeAt(share))];
    if (values) {
      const at = (list) => {
        const place = Math.min(list.length - 1, Math.floor((timeAt(share) - values.from) / (values.to - values.from) * list.length));
        // A column without a reading has one next to it, or there is a gap.
        return list[place] ?? list[place - 1] ?? list[place + 1] ?? list[place - 2] ?? null;
      };
      for (const { name, unit, values: list } of values.series) {
        const value = at(list);
        told.push(value === null ? `${name}: no reading` : `${name} ${value.toFixed(unit.startsWith("°") ? 1 : 2)}\u00a0${unit}`);
      }
      if (values.usual) {
        const [low, high] = [at(values.usual.low), at(values.usual.high)];
        if (low !== null && high !== null) told.push(`usual ${low.toFixed(1)}–${high.toFixed(1)}`);
      }
    }
    const text = told.join(" · ");
    readout.textContent = text;
    handle.setAttribute("aria-valuetext", text);
    handle.setAttribute("aria-valuenow", Math.round(share * 1000));
  }

  function point(at) {
    share = at;
    line.hidden = at === null;
    if (at === null) { readout.textContent = "\u00a0"; return; }
    const { left, right, top, bottom } = frame();
    Object.assign(line.style, { left: `${left + at * (right - left)}px`, top: `${top}px`, height: `${bottom - top}px` });
    say();
    ask();
  }

  /** Fetches the values once a drawing, when somebody points for the first time. */
  async function ask() {
    const href = section.dataset.values;
    if (asked === href) return;
    asked = href;
    try {
      const answer = await fetch(`${href}&width=${roomFor()}`);
      if (answer.ok && asked === href) { values = await answer.json(); say(); }
    } catch { asked = null; }
  }

  /** Puts the curve of `href` in its place, drawn for the width of the page. */
  async function show(href, { keepsPlace = false } = {}) {
    if (drawing) return;
    drawing = true;
    lastDrawn = Date.now();
    const wanted = new URL(href, location.href);
    wanted.searchParams.delete("entered");
    wanted.hash = "";
    const address = wanted.pathname + wanted.search;
    wanted.searchParams.set("part", "curve");
    wanted.searchParams.set("width", String(roomFor()));
    plot.setAttribute("aria-busy", "true");
    try {
      const answer = await fetch(wanted);
      if (!answer.ok) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html").querySelector("[data-curve]");
      const focused = section.contains(document.activeElement) ? document.activeElement.dataset.key : undefined;
      for (const name of ["spans", "drawing", "controls"]) part(name).replaceChildren(...part(name, fresh).childNodes);
      Object.assign(section.dataset, fresh.dataset);
      if (focused) section.querySelector(`[data-key="${CSS.escape(focused)}"]`)?.focus({ preventScroll: true });
      if (view !== address) {
        view = address;
        history.replaceState(null, "", address);
      }
      values = asked = null;
      layOut();
      if (!keepsPlace) point(handle === document.activeElement ? 0.5 : null);
    } catch { /* The live line says that the service is gone; the old drawing stays. */ } finally {
      drawing = false;
      plot.removeAttribute("aria-busy");
    }
  }

  function zoom(from, to) {
    if (to - from < 120_000) {
      const middle = (from + to) / 2;
      [from, to] = [middle - 60_000, middle + 60_000];
    }
    home ??= view;
    const wanted = new URL(view, location.href);
    wanted.searchParams.delete("span");
    const moment = (at) => new Date(Math.round(at / 1000) * 1000).toISOString().replace(".000", "");
    wanted.searchParams.set("from", moment(from));
    wanted.searchParams.set("to", moment(to));
    show(wanted.href);
  }

  function goBack() {
    if (!home) return;
    const back = home;
    home = null;
    show(back);
  }

  function shareOf(event) {
    const box = handle.getBoundingClientRect();
    return Math.min(1, Math.max(0, (event.clientX - box.left) / box.width));
  }

  handle.addEventListener("pointermove", (event) => {
    point(shareOf(event));
    if (dragFrom === null) return;
    const { left, right, top, bottom } = frame();
    const [a, b] = [dragFrom, share].sort((x, y) => x - y);
    picked.hidden = false;
    Object.assign(picked.style, { left: `${left + a * (right - left)}px`, width: `${(b - a) * (right - left)}px`, top: `${top}px`, height: `${bottom - top}px` });
  });
  handle.addEventListener("pointerdown", (event) => {
    if (event.button !== 0) return;
    dragFrom = shareOf(event);
    handle.setPointerCapture(event.pointerId);
    point(dragFrom);
  });
  handle.addEventListener("pointerup", (event) => {
    if (dragFrom === null) return;
    const [a, b] = [dragFrom, shareOf(event)].sort((x, y) => x - y);
    dragFrom = null;
    picked.hidden = true;
    if ((b - a) * handle.clientWidth >= SMALLEST_DRAG) zoom(timeAt(a), timeAt(b));
  });
  handle.addEventListener("pointercancel", () => { dragFrom = null; picked.hidden = true; });
  handle.addEventListener("pointerleave", () => { if (dragFrom === null && document.activeElement !== handle) point(null); });
  handle.addEventListener("dblclick", goBack);
  handle.addEventListener("focus", () => { if (share === null) point(1); });
  handle.addEventListener("blur", () => point(null));
  handle.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const step = event.shiftKey ? 0.1 : 0.005;
    const at = share ?? 1;
    const { from, to } = frame();
    const length = to - from;
    const deeds = {
      ArrowLeft: () => point(Math.max(0, at - step)),
      ArrowRight: () => point(Math.min(1, at + step)),
      Home: () => point(0),
      End: () => point(1),
      "+": () => zoom(timeAt(at) - length / 4, timeAt(at) + length / 4),
      "=": () => zoom(timeAt(at) - length / 4, timeAt(at) + length / 4),
      "-": () => zoom(timeAt(at) - length, timeAt(at) + length),
      PageUp: () => zoom(from - length / 2, to - length / 2),
      PageDown: () => zoom(from + length / 2, to + length / 2),
      Escape: goBack,
    };
    if (!deeds[event.key]) return;
    event.preventDefault();
    deeds[event.key]();
  });

  section.addEventListener("click", (event) => {
    const link = event.target.closest("nav a");
    if (!link || event.ctrlKey || event.metaKey || event.shiftKey || event.button !== 0) return;
    event.preventDefault();
    if (link.closest("[data-curve-part='spans']")) home = null; else if (link.href.includes("from=")) home ??= view;
    show(link.href);
  });

  document.addEventListener("halfdegree:news", () => {
    const isLooking = dragFrom !== null || handle.matches(":hover");
    if (section.dataset.follows === "yes" && !isLooking && !drawing && Date.now() - lastDrawn >= REDRAW_MS) {
      show(view, { keepsPlace: true });
    }
  });

  let drawnFor = svg().viewBox.baseVal.width;
  new ResizeObserver(() => {
    layOut();
    if (Math.abs(roomFor() - drawnFor) < WIDTH_STEP || drawing) return;
    drawnFor = roomFor();
    show(view, { keepsPlace: true });
  }).observe(plot);
  layOut();
})();
