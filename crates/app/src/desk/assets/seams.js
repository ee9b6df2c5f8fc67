// The seam of a joint take in, a picture that can be moved, magnified and marked out. The server gives numbers for a stretch
// (`/wave`, `/instant`); the view stands in the address, so that loading the page again loses nothing.
//
// The canvas has the role of an image whose label says in words what is seen; keys work on it as soon as it has the focus, and
// every key has a button beside it.

import { draw, place, RULER } from "./drawing.js";
import { moved, time, width, within, zoomed } from "./scale.js";

/** @typedef {import("./scale.js").View} View */
/** @typedef {import("./drawing.js").Heard} Heard */
/** @typedef {import("./drawing.js").Lane} Lane */
/** @typedef {import("./drawing.js").Marked} Marked */
/** @typedef {{ unit: string, channel: string, how: string }} Source */
/** @typedef {{ key: string, heard: Heard }} Layer */

/** Stretches that are kept, and stretches that are asked for at once. */
const KEPT = 60;
const AT_ONCE = 4;
/** How much more than the view is asked for on either side, of its width. */
const AROUND = 1;
/** Until a sketch is asked for again, milliseconds. */
const AGAIN = 700;
/** How far a pointer may move and still have chosen a place, pixels. */
const STILL = 4;

class Seams {
  /** @param {HTMLElement} home */
  constructor(home) {
    this.home = home;
    this.canvas = /** @type {HTMLCanvasElement} */ (home.querySelector("canvas"));
    this.reading = /** @type {HTMLElement} */ (home.querySelector("output"));
    this.form = /** @type {HTMLFormElement} */ (home.querySelector("form"));
    this.pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    const data = home.dataset;
    this.take = data.take ?? "";
    this.lead = data.lead ?? "";
    this.rate = Number(data.rate);
    /** @type {View} */
    this.all = { from: Number(data.from), to: Number(data.until) };
    /** @type {View} */
    this.view = { ...this.all };
    /** @type {number | null} */
    this.cursor = null;
    /** @type {Marked[]} */
    this.marks = [];
    /** Which mark is wanted next: none, the lead's or the follower's. @type {0 | 1 | 2} */
    this.marking = 0;
    /** @type {Layer[]} */
    this.layers = [];
    /** @type {Map<string, AbortController>} */
    this.asked = new Map();
    this.failure = "";
    this.due = false;
    /** How long the last pictures took, milliseconds. @type {number[]} */
    this.times = [];
    this.canvas.setAttribute("role", "img");
    this.restore();
    this.listen();
    this.resize();
  }

  // ---- what is chosen

  /** @param {string} name */
  chosen(name) {
    return String(new FormData(this.form).get(name) ?? "");
  }

  /** @returns {Source[]} */
  sources() {
    const how = this.chosen("how") || "after";
    return [
      { unit: this.lead, channel: this.chosen("lead-channel"), how },
      { unit: this.chosen("follower"), channel: this.chosen("follower-channel"), how },
    ];
  }

  /** The follower's channels alone can be chosen. */
  fitChannels() {
    const unit = this.chosen("follower");
    const select = this.form.elements.namedItem("follower-channel");
    if (!(select instanceof HTMLSelectElement)) return;
    for (const option of select.options) {
      const own = option.dataset.unit === unit;
      option.hidden = !own;
      option.disabled = !own;
    }
    const now = select.selectedOptions[0];
    if (!now || now.disabled) {
      const first = [...select.options].find((option) => !option.disabled);
      if (first) first.selected = true;
    }
  }

  // ---- the address

  restore() {
    const known = new URLSearchParams(location.hash.slice(1));
    for (const name of ["lead-channel", "follower", "how", "view"]) this.set(name, known.get(name));
    this.fitChannels();
    const channel = known.get("follower-channel");
    const select = this.form.elements.namedItem("follower-channel");
    if (channel && select instanceof HTMLSelectElement) {
      const option = [...select.options].find((one) => !one.disabled && one.value === channel);
      if (option) option.selected = true;
    }
    const [from, to] = [Number(known.get("from") ?? Number.NaN), Number(known.get("to") ?? Number.NaN)];
    if (Number.isFinite(from) && Number.isFinite(to) && from < to) this.view = within({ from, to }, this.all);
  }

  /** @param {string} name @param {string | null} value */
  set(name, value) {
    if (!value) return;
    const field = this.form.elements.namedItem(name);
    if (field instanceof HTMLSelectElement) {
      if ([...field.options].some((option) => option.value === value)) field.value = value;
    } else if (field instanceof RadioNodeList) {
      field.value = value;
    }
  }

  keep() {
    const all = new URLSearchParams();
    all.set("from", String(Math.round(this.view.from)));
    all.set("to", String(Math.round(this.view.to)));
    for (const name of ["lead-channel", "follower", "follower-channel", "how", "view"]) all.set(name, this.chosen(name));
    history.replaceState(null, "", `#${all}`);
  }

  // ---- seeing

  /** @param {View} view */
  show(view) {
    this.view = within(view, this.all);
    this.change();
  }

  change() {
    clearTimeout(this.keeping);
    this.keeping = setTimeout(() => this.keep(), 150);
    this.wish();
    this.redraw();
  }

  redraw() {
    if (this.due) return;
    this.due = true;
    requestAnimationFrame(() => {
      this.due = false;
      this.paint();
    });
  }

  paint() {
    const began = performance.now();
    const style = getComputedStyle(this.home);
    const ink = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
    const inks = {
      ink: ink("--ink"),
      soft: ink("--soft"),
      rule: ink("--rule"),
      second: ink("--second"),
      paper: ink("--paper"),
      margin: ink("--margin"),
    };
    const lanes = this.sources().map((source, number) => this.lane(source, number === 0));
    const empty = lanes.every((lane) => lane.heard.length === 0);
    draw(
      this.pen,
      { width: this.canvas.clientWidth, height: this.canvas.clientHeight },
      {
        view: this.view,
        rate: this.rate,
        lanes,
        over: this.chosen("view") === "over",
        cursor: this.cursor,
        marks: this.marks,
        words: this.failure || (empty ? "reading the sound …" : ""),
      },
      inks,
    );
    this.tell();
    this.times.push(performance.now() - began);
    if (this.times.length > 120) this.times.shift();
  }

  /** @param {Source} source @param {boolean} filled @returns {Lane} */
  lane(source, filled) {
    const key = this.key(source);
    const own = this.layers.filter((layer) => layer.key === key).map((layer) => layer.heard);
    const fineness = (/** @type {Heard} */ heard) => (heard.to - heard.from) / heard.values.length;
    const covers = own.filter((heard) => heard.from <= this.view.from + 1 && heard.to >= this.view.to - 1);
    covers.sort((a, b) => fineness(a) - fineness(b));
    const best = covers[0];
    return { name: `${source.unit} ${source.channel}`, heard: best ? [best] : [], filled };
  }

  tell() {
    const middle = (this.view.from + this.view.to) / 2;
    const at = this.cursor ?? middle;
    const where = `${time(at / this.rate, 0.001)} from ${this.lead}'s start, its sample ${Math.round(at)}`;
    const next = ["", ` · now choose the instant on ${this.lead}`, ` · now choose the same instant on ${this.chosen("follower")}`];
    const words = `${where} · ${width(this.view.to - this.view.from, this.rate)} across${next[this.marking]}`;
    if (this.reading.textContent !== words) this.reading.textContent = words;
    const label = `${this.lead} over ${this.chosen("follower")}: from ${time(this.view.from / this.rate, 0.001)} to ${time(this.view.to / this.rate, 0.001)}`;
    if (this.canvas.getAttribute("aria-label") !== label) this.canvas.setAttribute("aria-label", label);
  }

  // ---- asking

  /** @param {Source} source */
  key(source) {
    return `${source.unit}:${source.channel}:${source.how}`;
  }

  /** Asks for what is not there yet as fine as the screen shows it. */
  wish() {
    const columns = Math.max(64, Math.round(this.canvas.clientWidth));
    const length = this.view.to - this.view.from;
    const wanted = within({ from: this.view.from - AROUND * length, to: this.view.to + AROUND * length }, this.all);
    /** @type {Set<string>} */
    const wishes = new Set();
    for (const source of this.sources()) {
      for (const [view, many] of /** @type {[View, number][]} */ ([
        [this.all, columns],
        [wanted, Math.round((columns * (wanted.to - wanted.from)) / length)],
      ])) {
        const from = Math.floor(view.from);
        const to = Math.ceil(view.to);
        if (this.isKnown(source, from, to, many)) continue;
        const key = `${this.key(source)}:${from}:${to}:${many}`;
        wishes.add(key);
        void this.ask(source, { from, to }, many, key);
      }
    }
    for (const [key, one] of this.asked) {
      if (wishes.has(key)) continue;
      one.abort();
      this.asked.delete(key);
    }
  }

  /** Whether it is there as fine as that over the view. @param {Source} source @param {number} from @param {number} to @param {number} columns */
  isKnown(source, from, to, columns) {
    const key = this.key(source);
    const wanted = (to - from) / columns;
    const needed = to - from > 2 * (this.view.to - this.view.from) + 2 && from <= this.view.from && to >= this.view.to;
    const [first, end] = needed && !(from <= this.all.from && to >= this.all.to) ? [this.view.from, this.view.to] : [from, to];
    return this.layers.some(({ key: own, heard }) => {
      if (own !== key || heard.kind === "sketch" || heard.from > first || heard.to < end) return false;
      const fine = heard.kind === "samples" || (2 * (heard.to - heard.from)) / heard.values.length <= 1.5 * wanted;
      return fine;
    });
  }

  /** @param {Source} source @param {View} view @param {number} columns @param {string} key */
  async ask(source, view, columns, key) {
    if (this.asked.has(key) || this.asked.size >= AT_ONCE) return;
    const stop = new AbortController();
    this.asked.set(key, stop);
    const query = new URLSearchParams({
      take: this.take,
      unit: source.unit,
      channel: source.channel,
      from: String(view.from),
      to: String(view.to),
      columns: String(columns),
      how: source.how,
    });
    try {
      const answer = await fetch(`/wave?${query}`, { signal: stop.signal });
      if (!answer.ok) throw new Error(await answer.text());
      const kind = /** @type {Heard["kind"]} */ (answer.headers.get("x-kind") ?? "extremes");
      const values = new Float32Array(await answer.arrayBuffer());
      this.failure = "";
      this.take_in({ key: this.key(source), heard: { kind, from: view.from, to: view.to, values } });
      if (kind === "sketch") setTimeout(() => this.wish(), AGAIN);
    } catch (error) {
      if (!stop.signal.aborted) this.failure = `it could not be read: ${error instanceof Error ? error.message : error}`;
    } finally {
      if (this.asked.get(key) === stop) this.asked.delete(key);
      this.redraw();
      if (!stop.signal.aborted && !this.failure) this.wish();
    }
  }

  /** @param {Layer} layer */
  take_in(layer) {
    const same = (/** @type {Layer} */ other) =>
      other.key === layer.key && other.heard.from === layer.heard.from && other.heard.to === layer.heard.to;
    this.layers = [layer, ...this.layers.filter((other) => !same(other))];
    const whole = (/** @type {Layer} */ one) => one.heard.from <= this.all.from && one.heard.to >= this.all.to;
    if (this.layers.length > KEPT) this.layers = this.layers.filter((one, number) => number < KEPT || whole(one));
  }

  // ---- marking

  mark() {
    this.clear();
    this.marking = 1;
    this.canvas.focus();
    this.redraw();
  }

  clear() {
    this.marking = 0;
    this.marks = [];
    this.redraw();
  }

  /** @param {number} at */
  async choose(at) {
    const step = this.marking;
    if (step === 0) return;
    const unit = step === 1 ? this.lead : this.chosen("follower");
    const query = new URLSearchParams({ take: this.take, unit, at: String(at), how: this.chosen("how") || "after" });
    const answer = await fetch(`/instant?${query}`);
    const found = answer.ok ? (await answer.json()).position : null;
    if (found === null) {
      this.reading.textContent = `${unit} recorded nothing there; choose another place`;
      return;
    }
    this.marks = [...this.marks, { at, name: unit, filled: step === 1 }];
    this.fill(step === 1 ? "lead-position" : "follower-position", Number(found).toFixed(2).replace(/\.00$/, ""));
    if (step === 2) this.fill("follower", unit);
    this.marking = step === 1 ? 2 : 0;
    this.redraw();
  }

  /** @param {string} name @param {string} value */
  fill(name, value) {
    const form = document.getElementById("tie");
    if (!(form instanceof HTMLFormElement)) return;
    const field = form.elements.namedItem(name);
    if (field instanceof HTMLInputElement || field instanceof HTMLSelectElement) {
      field.value = value;
      field.dispatchEvent(new Event("input", { bubbles: true }));
    }
  }

  // ---- hands

  /** @param {number} x @returns {number} */
  at(x) {
    return this.view.from + (x / this.canvas.clientWidth) * (this.view.to - this.view.from);
  }

  /** @param {string} what */
  do(what) {
    const length = this.view.to - this.view.from;
    const about = this.cursor ?? (this.view.from + this.view.to) / 2;
    const middle = about;
    switch (what) {
      case "in": return this.show(zoomed(this.view, 0.5, about));
      case "out": return this.show(zoomed(this.view, 2, about));
      case "left": return this.show(moved(this.view, -0.5 * length));
      case "right": return this.show(moved(this.view, 0.5 * length));
      case "all": return this.show({ ...this.all });
      case "samples": return this.show({ from: Math.round(middle) - 40, to: Math.round(middle) + 40 });
      case "mark": return this.mark();
      case "clear": return this.clear();
      default: return undefined;
    }
  }

  /** @param {KeyboardEvent} event */
  key_down(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const length = this.view.to - this.view.from;
    const pixel = Math.max(1, length / this.canvas.clientWidth);
    const cursor = this.cursor ?? (this.view.from + this.view.to) / 2;
    const far = event.shiftKey ? 10 : 1;
    /** @type {Record<string, () => void>} */
    const keys = {
      ArrowLeft: () => this.show(moved(this.view, event.shiftKey ? -pixel : -0.1 * length)),
      ArrowRight: () => this.show(moved(this.view, event.shiftKey ? pixel : 0.1 * length)),
      PageUp: () => this.show(moved(this.view, -length)),
      PageDown: () => this.show(moved(this.view, length)),
      Home: () => this.show({ from: this.all.from, to: this.all.from + length }),
      End: () => this.show({ from: this.all.to - length, to: this.all.to }),
      "+": () => this.do("in"),
      "=": () => this.do("in"),
      "-": () => this.do("out"),
      0: () => this.do("all"),
      m: () => (this.marking === 0 ? this.mark() : void this.choose(cursor)),
      Enter: () => void this.choose(cursor),
      Escape: () => this.clear(),
      ",": () => this.point(cursor - pixel * far),
      "<": () => this.point(cursor - pixel * 10),
      ".": () => this.point(cursor + pixel * far),
      ">": () => this.point(cursor + pixel * 10),
    };
    const done = keys[event.key.length === 1 ? event.key.toLowerCase() : event.key];
    if (!done) return;
    event.preventDefault();
    done();
  }

  /** @param {number} at */
  point(at) {
    this.cursor = Math.min(Math.max(at, this.view.from), this.view.to);
    this.redraw();
  }

  listen() {
    this.form.addEventListener("submit", (event) => event.preventDefault());
    this.form.addEventListener("change", () => {
      this.fitChannels();
      this.change();
    });
    this.home.querySelectorAll("button[data-do]").forEach((button) => {
      button.addEventListener("click", () => this.do(button instanceof HTMLElement ? (button.dataset.do ?? "") : ""));
    });
    this.canvas.addEventListener("keydown", (event) => this.key_down(event));
    this.canvas.addEventListener("wheel", (event) => this.wheel(event), { passive: false });
    this.pointers();
    new ResizeObserver(() => this.resize()).observe(this.canvas);
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.redraw());
  }

  /** @param {WheelEvent} event */
  wheel(event) {
    // the page goes on scrolling until the picture has been touched
    if (document.activeElement !== this.canvas) return;
    event.preventDefault();
    const length = this.view.to - this.view.from;
    const sideways = event.shiftKey ? event.deltaY : event.deltaX;
    if (Math.abs(sideways) > Math.abs(event.deltaY) || event.shiftKey) {
      this.show(moved(this.view, (sideways / this.canvas.clientWidth) * length));
    } else {
      this.show(zoomed(this.view, 2 ** (event.deltaY / 240), this.at(event.offsetX)));
    }
  }

  pointers() {
    /** @type {Map<number, number>} */
    const down = new Map();
    let travelled = 0;
    this.canvas.addEventListener("pointerdown", (event) => {
      this.canvas.setPointerCapture(event.pointerId);
      this.canvas.focus();
      down.set(event.pointerId, event.offsetX);
      travelled = 0;
    });
    this.canvas.addEventListener("pointermove", (event) => {
      const before = down.get(event.pointerId);
      if (before === undefined) {
        this.point(this.at(event.offsetX));
        return;
      }
      const [a, b] = [...down.values()];
      down.set(event.pointerId, event.offsetX);
      travelled += Math.abs(event.offsetX - before);
      if (down.size === 1) {
        if (travelled >= STILL) this.show(moved(this.view, this.at(before) - this.at(event.offsetX)));
      } else if (a !== undefined && b !== undefined) {
        const [c, d] = [...down.values()];
        if (c === undefined || d === undefined) return;
        const by = Math.max(8, Math.abs(a - b)) / Math.max(8, Math.abs(c - d));
        this.show(zoomed(this.view, by, this.at((c + d) / 2)));
      }
    });
    const up = (/** @type {PointerEvent} */ event) => {
      if (down.delete(event.pointerId) && down.size === 0 && travelled < STILL && event.type === "pointerup") {
        this.point(this.at(event.offsetX));
        void this.choose(this.at(event.offsetX));
      }
    };
    this.canvas.addEventListener("pointerup", up);
    this.canvas.addEventListener("pointercancel", up);
    this.canvas.addEventListener("pointerleave", () => {
      if (this.marking === 0 && document.activeElement !== this.canvas) {
        this.cursor = null;
        this.redraw();
      }
    });
  }

  resize() {
    const ratio = window.devicePixelRatio || 1;
    this.canvas.width = Math.max(1, Math.round(this.canvas.clientWidth * ratio));
    this.canvas.height = Math.max(RULER, Math.round(this.canvas.clientHeight * ratio));
    this.pen.setTransform(ratio, 0, 0, ratio, 0, 0);
    this.wish();
    this.redraw();
  }
}

const home = document.getElementById("seams");
if (home) {
  const seams = new Seams(home);
  // for the test that holds drawing to its pace, and for its clicks
  Object.assign(window, { seams, seamsPlace: (/** @type {number} */ at) => place(seams.view, seams.canvas.clientWidth)(at) });
}
