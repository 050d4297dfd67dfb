// The timer of a burst. Without this script the page asks to count, and everything else works the same.
//
// Silent unless somebody asks for sound on this page; then one short tone at the end, made here and fetched from nowhere.
(() => {
  "use strict";

  const TICK_MS = 200;
  const TONE = { hertz: 880, seconds: 0.4, loudness: 0.2 };

  const timer = document.getElementById("burst");
  if (!timer) return;
  const left = document.getElementById("burst-left");
  const says = document.getElementById("burst-says");
  const stop = document.getElementById("burst-stop");
  const sound = document.getElementById("burst-sound");
  let ends = 0;
  let beat = 0;
  let audio = null;

  function say(text) { if (says.textContent !== text) says.textContent = text; }

  function tone() {
    if (!sound.checked || !audio) return;
    const source = audio.createOscillator();
    const volume = audio.createGain();
    source.frequency.value = TONE.hertz;
    volume.gain.value = TONE.loudness;
    source.connect(volume).connect(audio.destination);
    source.start();
    source.stop(audio.currentTime + TONE.seconds);
  }

  function end(text) {
    clearInterval(beat);
    timer.classList.remove("runs");
    stop.disabled = true;
    left.textContent = "0";
    say(text);
  }

  function look() {
    const rest = Math.ceil((ends - performance.now()) / 1000);
    if (rest > 0) { left.textContent = String(rest); return; }
    end(timer.dataset.done);
    timer.classList.add("is-over");
    tone();
  }

  function start(seconds) {
    clearInterval(beat);
    // A browser lets a page make sound only after a hand has touched it, which is now.
    if (sound.checked && !audio && window.AudioContext) audio = new AudioContext();
    ends = performance.now() + seconds * 1000;
    timer.classList.remove("is-over");
    timer.classList.add("runs");
    stop.disabled = false;
    say(`Warming for ${seconds} seconds.`);
    look();
    beat = setInterval(look, TICK_MS);
  }

  for (const key of timer.querySelectorAll("[data-seconds]")) {
    key.addEventListener("click", () => start(Number(key.dataset.seconds)));
  }
  stop.addEventListener("click", () => end("Stopped."));
  timer.hidden = false;

  // The step's button leads to a form that may be folded.
  document.addEventListener("click", (event) => {
    const link = event.target.closest?.(".step-link a");
    const form = link && document.querySelector(link.getAttribute("href"));
    if (form?.tagName === "DETAILS") form.open = true;
  });
})();
