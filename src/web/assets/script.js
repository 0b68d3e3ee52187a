// Counts down and calls, shows the photo before it is sent and how far it is, lets boxes be dragged. Pages work without it.
"use strict";

// Timers. The server tells its time and when they end; the phone's clock is only asked how long ago that was.
for (const timer of document.querySelectorAll(".timer")) {
  const at = (name) => Number(timer.dataset[name]);
  const ahead = at("now") - Date.now();
  const closes = timer.dataset.closes ? at("closes") : Infinity;
  const [state, count, say] = ["state", "count", "say"].map((n) => timer.querySelector(`[data-${n}]`));
  const title = document.title;
  let phase = null;
  let last = null;

  const tick = () => {
    const now = Date.now() + ahead;
    const next = now < at("until") ? "wait" : now <= closes ? "done" : "late";
    const end = next === "wait" ? at("until") : next === "done" ? closes : null;
    const left = end === null || end === Infinity ? null : Math.max(0, Math.ceil((end - now) / 1000));
    if (next !== phase) {
      state.textContent = timer.dataset[next];
      timer.classList.toggle("due", next === "done");
      // Called when it happens, not when the page of a timer that has ended is opened.
      if (phase !== null) {
        say.textContent = timer.dataset[next];
        if (next === "done") call();
      }
      phase = next;
    }
    const shown = left === null ? "" : `${Math.floor(left / 60)}:${String(left % 60).padStart(2, "0")}`;
    if (shown !== last) {
      count.hidden = left === null;
      count.textContent = shown;
      document.title = phase === "wait" ? `${shown} ${title}` : `${timer.dataset[phase]} - ${title}`;
      last = shown;
    }
    if (next !== "late") setTimeout(tick, 200);
  };
  tick();
  document.addEventListener("visibilitychange", () => document.hidden || tick());

  // A page may sound only after a touch: where the one before did not count, a button asks for one.
  let sound = null;
  const button = timer.querySelector("[data-sound]");
  if (window.AudioContext && phase === "wait") {
    sound = new AudioContext();
    button.hidden = sound.state === "running";
    sound.onstatechange = () => { button.hidden = sound.state === "running"; };
    button.addEventListener("click", () => { sound.resume(); beep(0, 0.08); });
  }
  const beep = (after, length) => {
    const [tone, volume] = [sound.createOscillator(), sound.createGain()];
    const from = sound.currentTime + after;
    tone.frequency.value = 880;
    volume.gain.setValueAtTime(0.0001, from);
    volume.gain.exponentialRampToValueAtTime(0.5, from + 0.02);
    volume.gain.exponentialRampToValueAtTime(0.0001, from + length);
    tone.connect(volume).connect(sound.destination);
    tone.start(from);
    tone.stop(from + length);
  };
  function call() {
    if (navigator.vibrate) navigator.vibrate([400, 150, 400, 150, 400]);
    if (sound && sound.state === "running") [0, 0.5, 1].forEach((after) => beep(after, 0.35));
  }
}

// The photos that will be sent.
for (const input of document.querySelectorAll("[data-preview]")) {
  input.addEventListener("change", () => {
    const place = document.getElementById(input.dataset.preview);
    for (const old of place.querySelectorAll("img")) URL.revokeObjectURL(old.src);
    place.replaceChildren();
    for (const other of input.form.querySelectorAll("[data-preview]")) {
      for (const file of other.files) {
        const img = document.createElement("img");
        img.alt = file.name;
        img.src = URL.createObjectURL(file);
        // A format that this browser cannot show is sent all the same.
        img.addEventListener("error", () => img.remove());
        place.append(img);
      }
    }
  });
}

// How far the upload is.
for (const form of document.querySelectorAll("form[data-upload]")) {
  form.addEventListener("submit", (event) => {
    const files = [...form.querySelectorAll("input[type=file]")].flatMap((i) => [...i.files]);
    if (files.length === 0) return;
    event.preventDefault();
    const button = form.querySelector("button");
    const label = button.textContent;
    const bar = document.createElement("progress");
    bar.max = 1;
    bar.setAttribute("aria-label", form.dataset.upload);
    button.before(bar);
    button.disabled = true;
    button.textContent = `${form.dataset.upload} …`;
    const request = new XMLHttpRequest();
    const again = () => { bar.remove(); button.disabled = false; button.textContent = label; };
    request.upload.onprogress = (e) => {
      if (e.lengthComputable) {
        bar.value = e.loaded / e.total;
        button.textContent = `${form.dataset.upload} ${Math.round(100 * bar.value)} %`;
      }
    };
    request.onload = () => {
      if (request.status < 400) { location.assign(request.responseURL); return; }
      const page = new DOMParser().parseFromString(request.responseText, "text/html");
      document.title = page.title;
      document.body.replaceWith(page.body);
      const heading = document.querySelector("h1");
      heading.tabIndex = -1;
      heading.focus();
    };
    // The form as a browser sends it, which tells what went wrong.
    request.onerror = () => { again(); form.submit(); };
    request.open("POST", form.action);
    request.send(new FormData(form));
  });
}
// A page that comes back from the browser's memory is as it was before sending.
addEventListener("pageshow", (e) => { if (e.persisted && document.querySelector("button:disabled")) location.reload(); });

// Boxes on a photo, dragged; their numbers follow, and they follow their numbers.
for (const photo of document.querySelectorAll("[data-boxes]")) {
  const svg = photo.querySelector("svg");
  const [width, height] = svg.getAttribute("viewBox").split(" ").slice(2).map(Number);
  photo.classList.add("live");
  for (const box of svg.querySelectorAll("rect")) {
    const name = box.getAttribute("class");
    const field = (side) => document.getElementById(`${name}-${side}`);
    const of = (side) => Number(box.getAttribute({ w: "width", h: "height" }[side] || side));
    const move = (side, to) => { box.setAttribute(side, to); field(side).value = to; };
    for (const side of ["x", "y", "w", "h"]) {
      field(side).addEventListener("input", () => {
        box.setAttribute({ w: "width", h: "height" }[side] || side, Math.max(0, Number(field(side).value)));
      });
    }
    let from = null;
    box.addEventListener("pointerdown", (e) => {
      from = { x: e.clientX, y: e.clientY, left: of("x"), top: of("y") };
      box.setPointerCapture(e.pointerId);
    });
    box.addEventListener("pointermove", (e) => {
      if (!from) return;
      const scale = width / svg.clientWidth;
      const within = (v, most) => Math.floor(Math.min(Math.max(0, v), most));
      move("x", within(from.left + (e.clientX - from.x) * scale, width - of("w")));
      move("y", within(from.top + (e.clientY - from.y) * scale, height - of("h")));
    });
    for (const end of ["pointerup", "pointercancel"]) box.addEventListener(end, () => { from = null; });
  }
}
