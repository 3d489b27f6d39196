// The live lanes: readings and marks as they come over one stream of server-sent events, drawn on canvases.
// Time runs left to right, newest at the right edge. Everything shown here stands on the page without it, too, as a still.

const STEP_S = 0.1;
const SLOTS = 6000;
const METEORIC = new Set(["underdense", "overdense", "head", "unknown"]);
const MARKS = new Set(["underdense", "overdense", "head", "unknown"]);
const LONG_ENOUGH_S = 4;
const SPECTRUM_PX = 96;
const FULL_INK_DB = 15;
const SILENT_MS = 3000;
const PASSES_MS = 60_000;

const lanesBox = document.querySelector(".lanes");
const topDb = Number(lanesBox.dataset.topDb);
const overlay = document.body.classList.contains("overlay");
const calm = matchMedia("(prefers-reduced-motion: reduce)");
const byId = (id) => document.getElementById(id);
const pad = (n) => String(n).padStart(2, "0");

let endUnix = 0;
let heardAt = 0;
let ink = {};
let hatch = null;

function windowS() {
  return overlay ? 120 : lanesBox.clientWidth > 700 ? 600 : 240;
}

function clock(unix, withSeconds) {
  const moment = new Date(unix * 1000);
  const minutes = `${pad(moment.getUTCHours())}:${pad(moment.getUTCMinutes())}`;
  return withSeconds ? `${minutes}:${pad(moment.getUTCSeconds())}` : minutes;
}

function readInk() {
  const style = getComputedStyle(document.documentElement);
  for (const name of ["trace", "fill", "line", "hatch", "ink", "soft", "paper"]) ink[name] = style.getPropertyValue(`--${name}`).trim();
  const tile = document.createElement("canvas");
  tile.width = tile.height = 6;
  const pen = tile.getContext("2d");
  pen.strokeStyle = ink.hatch;
  pen.lineWidth = 1.3;
  pen.beginPath();
  for (const shift of [-6, 0, 6]) {
    pen.moveTo(shift - 1, 7);
    pen.lineTo(shift + 7, -1);
  }
  pen.stroke();
  hatch = pen.createPattern(tile, "repeat");
}

class Lane {
  constructor(row) {
    this.row = row;
    this.name = row.dataset.channel;
    this.levels = new Float32Array(SLOTS).fill(NaN);
    this.marks = new Map();
    this.paper = row.querySelector(".paper");
    this.still = this.paper.firstElementChild;
    this.height = this.still ? this.still.getBoundingClientRect().height - 16 : 60;
    this.spectrum = null;
  }

  begin() {
    this.canvas = document.createElement("canvas");
    this.canvas.className = "strip-canvas";
    this.canvas.style.height = `${this.height}px`;
    this.canvas.setAttribute("role", "img");
    this.canvas.setAttribute("aria-label", `${this.name}: power over the floor, live`);
    this.shelf = document.createElement("div");
    this.shelf.className = "shelf";
    this.paper.replaceChildren(this.shelf, this.canvas);
    this.canvas.addEventListener("pointermove", (event) => this.read(event));
    this.canvas.addEventListener("pointerleave", () => say(""));
    if (overlay) return;
    this.button = document.createElement("button");
    this.button.type = "button";
    this.button.className = "link";
    this.button.textContent = "spectrogram";
    this.button.setAttribute("aria-expanded", "false");
    this.button.setAttribute("aria-label", `spectrogram of ${this.name}`);
    this.button.addEventListener("click", () => this.toggleSpectrum());
    this.row.querySelector(".who").append(this.button);
  }

  read(event) {
    const box = this.canvas.getBoundingClientRect();
    const unix = endUnix - windowS() * (1 - (event.clientX - box.left) / box.width);
    const level = this.levels[((Math.round(unix / STEP_S) % SLOTS) + SLOTS) % SLOTS];
    const words = Number.isNaN(level) ? "not watched" : `${level.toFixed(1)}\u202fdB over the floor`;
    say(`${this.name}, ${clock(unix, true)} UTC: ${words}`);
  }

  put(firstSlot, lastSlot, level) {
    for (let slot = firstSlot; slot < lastSlot; slot += 1) this.levels[slot % SLOTS] = level === null ? NaN : level;
  }

  draw() {
    const width = this.canvas.clientWidth;
    const ratio = devicePixelRatio || 1;
    if (this.canvas.width !== Math.round(width * ratio)) this.canvas.width = Math.round(width * ratio);
    if (this.canvas.height !== Math.round(this.height * ratio)) this.canvas.height = Math.round(this.height * ratio);
    const pen = this.canvas.getContext("2d");
    pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    pen.clearRect(0, 0, width, this.height);
    const slots = Math.round(windowS() / STEP_S);
    const last = Math.round(endUnix / STEP_S);
    // Columns stand on whole multiples of their width, so that peaks do not flicker as the paper moves.
    const each = Math.max(1, Math.ceil(slots / width));
    const first = Math.ceil((last - slots) / each) * each;
    const x = (slot) => (width * (slot - last + slots)) / slots;
    const y = (level) => this.height * (1 - Math.min(Math.max(level, 0), topDb) / topDb);
    this.rules(pen, width, x, last, slots);
    let run = [];
    for (let slot = first; slot < last; slot += each) {
      let best = NaN;
      for (let one = slot; one < Math.min(slot + each, last); one += 1) {
        const level = this.levels[((one % SLOTS) + SLOTS) % SLOTS];
        if (!(level <= best)) best = Number.isNaN(level) ? best : level;
      }
      if (Number.isNaN(best)) {
        this.ink(pen, run);
        run = [];
        pen.fillStyle = hatch;
        pen.fillRect(x(slot), 0, x(slot + each) - x(slot) + 0.5, this.height);
      } else run.push([x(slot + each / 2), y(best)]);
    }
    this.ink(pen, run);
    this.labels(pen);
    this.moveMarks();
    if (this.spectrum) this.drawSpectrum(x, last, slots);
  }

  rules(pen, width, x, last, slots) {
    pen.strokeStyle = ink.line;
    pen.lineWidth = 1;
    pen.beginPath();
    for (const level of [10, 20]) {
      const at = Math.round(this.height * (1 - level / topDb)) + 0.5;
      pen.moveTo(0, at);
      pen.lineTo(width, at);
    }
    for (const unix of ticks()) {
      const at = Math.round(x(unix / STEP_S)) + 0.5;
      pen.moveTo(at, 0);
      pen.lineTo(at, this.height);
    }
    pen.stroke();
  }

  labels(pen) {
    pen.font = "11px system-ui, sans-serif";
    pen.lineWidth = 3;
    pen.strokeStyle = ink.paper;
    pen.fillStyle = ink.soft;
    for (const [level, text] of this.height > 50 ? [[10, "10"], [20, "20\u202fdB"]] : [[20, "20\u202fdB"]]) {
      const at = this.height * (1 - level / topDb) - 3;
      pen.strokeText(text, 2, at);
      pen.fillText(text, 2, at);
    }
  }

  ink(pen, run) {
    if (!run.length) return;
    pen.beginPath();
    pen.moveTo(run[0][0], this.height);
    for (const [x, y] of run) pen.lineTo(x, y);
    pen.lineTo(run[run.length - 1][0], this.height);
    pen.fillStyle = ink.fill;
    pen.fill();
    pen.beginPath();
    run.forEach(([x, y], index) => (index ? pen.lineTo(x, y) : pen.moveTo(x, y)));
    pen.strokeStyle = ink.trace;
    pen.lineWidth = 1;
    pen.stroke();
  }

  mark(echo) {
    const key = Math.round(echo.start_unix * 10);
    if (this.marks.has(key) || this.marks.has(key + 1) || this.marks.has(key - 1)) return false;
    begin();
    const link = document.createElement("a");
    link.href = `/live/echo?channel=${encodeURIComponent(this.name)}&start_unix=${echo.start_unix}`;
    const kind = MARKS.has(echo.class) ? echo.class : "other";
    const peak = echo.peak_snr_db === null ? "" : `, ${echo.peak_snr_db.toFixed(1)}\u202fdB`;
    link.title = `${echo.class}, ${this.name}, ${clock(echo.start_unix, true)} UTC${peak}, ${echo.duration_s.toFixed(2)}\u202fs`;
    link.setAttribute("aria-label", link.title);
    const counts = METEORIC.has(echo.class) && this.row.classList.contains("target");
    link.className = counts || overlay ? "mark-at" : "mark-at dim";
    if (kind === "overdense" && echo.duration_s > LONG_ENOUGH_S) link.classList.add("as-long");
    else link.innerHTML = `<svg class="mark" viewBox="-7 -6 14 12" aria-hidden="true"><use href="#mark-${kind}"/></svg>`;
    this.shelf.append(link);
    this.marks.set(key, { link, echo });
    return true;
  }

  moveMarks() {
    const span = windowS();
    for (const [key, { link, echo }] of this.marks) {
      const share = 1 - (endUnix - echo.start_unix) / span;
      if (share < 0) {
        link.remove();
        this.marks.delete(key);
        continue;
      }
      link.style.left = `${(100 * Math.min(share, 1)).toFixed(3)}%`;
      if (link.classList.contains("as-long")) link.style.width = `${((100 * echo.duration_s) / span).toFixed(3)}%`;
    }
  }

  toggleSpectrum() {
    if (this.spectrum) {
      this.spectrum.canvas.remove();
      this.spectrum = null;
    } else {
      const canvas = document.createElement("canvas");
      canvas.className = "spectrum-canvas";
      canvas.setAttribute("role", "img");
      canvas.setAttribute("aria-label", `${this.name}: spectrogram, lowest frequency at the bottom`);
      this.paper.append(canvas);
      this.spectrum = { canvas, store: null };
      this.loadSpectrum();
    }
    this.button.setAttribute("aria-expanded", String(Boolean(this.spectrum)));
    listen();
  }

  putSpectrum(unix, text) {
    if (!this.spectrum) return;
    const levels = Uint8Array.from(atob(text), (letter) => letter.charCodeAt(0));
    const slot = Math.round(unix / STEP_S);
    this.inkColumn(levels, slot - 2, slot);
  }

  async loadSpectrum() {
    const answer = await fetch(`/api/v1/live/spectrogram?channel=${encodeURIComponent(this.name)}`);
    if (!answer.ok || !this.spectrum) return;
    const told = await answer.json();
    const levels = Uint8Array.from(atob(told.levels), (letter) => letter.charCodeAt(0));
    const each = Math.round(told.step_s / STEP_S);
    const columns = told.bins ? levels.length / told.bins : 0;
    const first = Math.round(told.end_unix / STEP_S) - columns * each;
    for (let index = 0; index < columns; index += 1) {
      const column = levels.subarray(index * told.bins, (index + 1) * told.bins);
      this.inkColumn(column, first + index * each, first + (index + 1) * each);
    }
    redraw();
  }

  inkColumn(levels, firstSlot, lastSlot) {
    let { store } = this.spectrum;
    if (!store || store.height !== levels.length) {
      store = document.createElement("canvas");
      store.width = SLOTS;
      store.height = levels.length;
      this.spectrum.store = store;
    }
    const width = lastSlot - firstSlot;
    const image = new ImageData(width, levels.length);
    levels.forEach((level, bin) => {
      const alpha = Math.min(255, (255 * level) / 4 / FULL_INK_DB);
      const row = levels.length - 1 - bin;
      for (let one = 0; one < width; one += 1) image.data[4 * (row * width + one) + 3] = alpha;
    });
    const at = ((firstSlot % SLOTS) + SLOTS) % SLOTS;
    const pen = store.getContext("2d");
    pen.putImageData(image, at, 0);
    if (at + width > SLOTS) pen.putImageData(image, at - SLOTS, 0);
  }

  drawSpectrum(x, last, slots) {
    const { canvas, store } = this.spectrum;
    const width = canvas.clientWidth;
    canvas.width = width;
    canvas.height = SPECTRUM_PX;
    const pen = canvas.getContext("2d");
    if (!store) {
      pen.fillStyle = ink.soft;
      pen.font = "12px system-ui, sans-serif";
      pen.fillText("The spectrogram begins now; a busy computer leaves it out first.", 4, 16);
      return;
    }
    const first = last - slots;
    pen.imageSmoothingEnabled = true;
    for (let slot = first; slot < last; ) {
      const at = slot % SLOTS;
      const run = Math.min(last - slot, SLOTS - at);
      pen.drawImage(store, at, 0, run, store.height, x(slot), 0, x(slot + run) - x(slot), SPECTRUM_PX);
      slot += run;
    }
    pen.globalCompositeOperation = "source-in";
    pen.fillStyle = ink.ink;
    pen.fillRect(0, 0, width, SPECTRUM_PX);
    pen.globalCompositeOperation = "source-over";
    this.drawCurves(pen, x, width);
  }

  // Predicted, not measured: a broken line, each satellite with its own dashes and its name; what was measured shows
  // through the gaps.
  drawCurves(pen, x, width) {
    const half = Number(this.row.dataset.bandHz) / 2;
    if (!half) return;
    const dashes = [[8, 8], [2, 6], [9, 6, 2, 6]];
    const names = [];
    passes.forEach((one, index) => {
      const curve = one.curves.find((each) => each.channel === this.name);
      if (!curve) return;
      const line = new Path2D();
      let at = null;
      let drawing = false;
      curve.unix.forEach((unix, k) => {
        const shift = curve.doppler_hz[k];
        const place = x(unix / STEP_S);
        const inside = shift !== null && Math.abs(shift) <= half && place <= width;
        const y = SPECTRUM_PX * (0.5 - shift / half / 2);
        if (inside && drawing) line.lineTo(place, y);
        else if (inside) line.moveTo(place, y);
        if (inside && place >= 0) at = [place, y];
        drawing = inside;
      });
      if (!at) return;
      names.push(one.name);
      for (const [style, thick] of [[ink.paper, 4], [ink.ink, 1.5]]) {
        pen.setLineDash(dashes[index % dashes.length]);
        pen.globalAlpha = thick > 2 ? 0.6 : 1;
        pen.strokeStyle = style;
        pen.lineWidth = thick;
        pen.stroke(line);
      }
      pen.globalAlpha = 1;
      pen.setLineDash([]);
      pen.font = "11px system-ui, sans-serif";
      const room = pen.measureText(one.name).width + 6;
      const left = Math.min(Math.max(at[0] - room, 2), width - room);
      const base = at[1] > SPECTRUM_PX / 2 ? at[1] - 8 : at[1] + 16;
      pen.lineWidth = 3;
      pen.strokeStyle = ink.paper;
      pen.strokeText(one.name, left, base);
      pen.fillStyle = ink.ink;
      pen.fillText(one.name, left, base);
    });
    const words = names.length ? `; broken, where ${names.join(", ")} should stand` : "";
    const label = `${this.name}: spectrogram, lowest frequency at the bottom${words}`;
    const { canvas } = this.spectrum;
    if (canvas.getAttribute("aria-label") !== label) canvas.setAttribute("aria-label", label);
  }
}

let passes = [];
async function loadPasses() {
  if (!("passes" in lanesBox.dataset) || overlay) return;
  const answer = await fetch("/api/v1/live/passes");
  if (!answer.ok) return;
  passes = (await answer.json()).passes;
  if (endUnix) redraw();
}

const lanes = new Map([...lanesBox.querySelectorAll(".row")].map((row) => [row.dataset.channel, new Lane(row)]));

function say(words) {
  const box = byId("reading");
  if (box) box.textContent = words;
}

function ticks() {
  const step = windowS() > 300 ? 120 : windowS() > 150 ? 60 : 30;
  const found = [];
  for (let at = Math.ceil((endUnix - windowS()) / step) * step; at < endUnix; at += step) found.push(at);
  return found;
}

function drawAxis() {
  const axis = document.querySelector(".live-axis div");
  if (!axis) return;
  const labels = ticks().map((unix) => [1 - (endUnix - unix) / windowS(), clock(unix, false)]);
  const shown = labels.filter(([share]) => share > 20 / axis.clientWidth && share < 1 - 60 / axis.clientWidth);
  shown.push([1, "now"]);
  while (axis.children.length > shown.length) axis.lastElementChild.remove();
  while (axis.children.length < shown.length) axis.append(document.createElement("span"));
  shown.forEach(([share, text], index) => {
    const label = axis.children[index];
    label.className = share === 1 ? "last" : "inner";
    label.style.left = `${(100 * share).toFixed(2)}%`;
    if (label.textContent !== text) label.textContent = text;
  });
}

let waiting = false;
let drawnAt = 0;
function redraw() {
  if (waiting) return;
  waiting = true;
  requestAnimationFrame((now) => {
    waiting = false;
    if (calm.matches && now - drawnAt < 1000) return;
    drawnAt = now;
    begin();
    for (const lane of lanes.values()) lane.draw();
    drawAxis();
  });
}

let begun = false;
function begin() {
  if (begun) return;
  begun = true;
  for (const lane of lanes.values()) lane.begin();
  const tools = document.querySelector(".tools");
  if (tools) tools.hidden = false;
}

async function loadRecent() {
  const answer = await fetch("/api/v1/live/recent");
  if (!answer.ok) return;
  const told = await answer.json();
  const end = Math.round(told.end_unix / STEP_S);
  const each = Math.round(told.step_s / STEP_S);
  for (const [name, levels] of Object.entries(told.power_db)) {
    const lane = lanes.get(name);
    const first = end - levels.length * each;
    levels.forEach((level, index) => {
      const slot = first + index * each;
      for (let one = slot; lane && one < slot + each; one += 1) {
        const at = one % SLOTS;
        if (Number.isNaN(lane.levels[at]) && level !== null) lane.levels[at] = level;
      }
    });
  }
  for (const echo of told.echoes) lanes.get(echo.channel)?.mark(echo);
  endUnix = Math.max(endUnix, told.end_unix);
  if (endUnix) redraw();
}

function takeReading(told) {
  const last = Math.round(told.end_unix / STEP_S);
  const first = Math.min(last - 1, Math.round((told.end_unix - told.step_s) / STEP_S));
  const behind = Math.round(endUnix / STEP_S);
  // A jump either way empties the paper: what was drawn belongs to another time.
  const jumped = Math.abs(last - behind) >= SLOTS || last < behind - 20;
  for (const [name, lane] of lanes) {
    if (jumped) lane.levels.fill(NaN);
    else lane.put(behind, first, null);
    lane.put(first, last, told.power_db[name] ?? null);
  }
  endUnix = told.end_unix;
  heardAt = performance.now();
  connected(true);
  redraw();
}

function takeEcho(echo) {
  const lane = lanes.get(echo.channel);
  if (!lane || !lane.mark(echo)) return;
  const meteor = METEORIC.has(echo.class) && lane.row.classList.contains("target");
  const log = byId("fell");
  if (log) log.textContent = `${echo.class} on ${echo.channel}, ${clock(echo.start_unix, true)} UTC`;
  if (overlay && METEORIC.has(echo.class)) showLast(echo);
  if (meteor) ring(echo);
  refreshSoon();
}

function showLast(echo) {
  const peak = echo.peak_snr_db === null ? "" : `, ${echo.peak_snr_db.toFixed(1)}\u202fdB`;
  byId("last").textContent = `Last: ${echo.class}, ${clock(echo.start_unix, true)} UTC${peak}`;
  const total = document.querySelector("[data-total]");
  total.textContent = String(Number(total.textContent) + 1);
}

let refresh = 0;
function refreshSoon() {
  if (overlay || refresh) return;
  // Spread over the viewers, and after the echo has reached the database.
  refresh = setTimeout(async () => {
    refresh = 0;
    const answer = await fetch("/live/tonight");
    if (!answer.ok) return;
    const box = byId("tonight");
    box.innerHTML = await answer.text();
    const counts = box.querySelector("[data-counts]").dataset.counts.split(" ");
    document.querySelectorAll("[data-count]").forEach((place, index) => (place.textContent = counts[index]));
  }, 1500 + 2500 * Math.random());
}

function connected(yes, words) {
  const box = byId("connection");
  if (!box) return;
  const text = words || (yes ? "Live" : "Connecting again");
  if (box.textContent !== text) box.textContent = text;
  box.parentElement.classList.toggle("on", yes);
}

let stream = null;
function listen() {
  if (stream) stream.close();
  const wanted = [...lanes.values()].filter((lane) => lane.spectrum).map((lane) => `spectra=${encodeURIComponent(lane.name)}`);
  stream = new EventSource(`/api/v1/live${wanted.length ? `?${wanted.join("&")}` : ""}`);
  const on = (name, take) => stream.addEventListener(name, (event) => take(JSON.parse(event.data)));
  on("reading", takeReading);
  on("echo", takeEcho);
  on("station", (told) => {
    const box = byId("sentence");
    if (box) box.textContent = told.sentence;
  });
  on("spectrum", (told) => lanes.get(told.channel)?.putSpectrum(told.end_unix, told.levels));
  stream.addEventListener("open", () => loadRecent());
  stream.addEventListener("error", () => connected(false));
}

setInterval(() => {
  if (heardAt && performance.now() - heardAt > SILENT_MS && stream.readyState === EventSource.OPEN) {
    connected(false, `No readings since ${clock(endUnix, true)} UTC`);
  }
}, 1000);

let audio = null;
const soundButton = byId("sound");
soundButton?.addEventListener("click", () => {
  const on = soundButton.getAttribute("aria-pressed") !== "true";
  soundButton.setAttribute("aria-pressed", String(on));
  soundButton.textContent = on ? "Sound: on" : "Sound: off";
  if (on) {
    audio = audio || new AudioContext();
    audio.resume();
  } else if (audio) audio.suspend();
});

function ring(echo) {
  if (!audio || soundButton.getAttribute("aria-pressed") !== "true") return;
  // One note a lane, as long as the echo within reason, louder for a stronger one.
  const lane = [...lanes.keys()].indexOf(echo.channel);
  const note = audio.createOscillator();
  const volume = audio.createGain();
  const now = audio.currentTime;
  const length = Math.min(3, Math.max(0.35, echo.duration_s));
  const loud = Math.min(0.3, 0.06 + 0.008 * Math.max(0, Math.min(echo.peak_snr_db ?? 0, 30)));
  note.frequency.value = 392 * 2 ** ([0, 3, 7, 10, 12, 15][lane % 6] / 12);
  volume.gain.setValueAtTime(0, now);
  volume.gain.linearRampToValueAtTime(loud, now + 0.008);
  volume.gain.exponentialRampToValueAtTime(0.0005, now + length);
  note.connect(volume).connect(audio.destination);
  note.start(now);
  note.stop(now + length);
}

// The table of passes moves on though nothing falls, and a pass begins.
setInterval(() => {
  if (document.visibilityState !== "visible") return;
  loadPasses();
  if (document.querySelector(".passes-card")) refreshSoon();
}, PASSES_MS);

readInk();
loadPasses();
matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => {
  readInk();
  if (endUnix) redraw();
});
addEventListener("resize", () => endUnix && redraw());
listen();
