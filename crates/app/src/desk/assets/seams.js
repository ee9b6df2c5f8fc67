// The seam of a joint take in, a picture that can be moved, magnified and marked out. The server gives numbers for a stretch
// (`/wave`, `/instant`); the view stands in the address, so that loading the page again loses nothing.
//
// The canvas has the role of an application: a screen reader then leaves single keys to it, and it holds nothing to read but its
// label, which says the view in words. Every key but those that move the cursor has a button beside it, and a button pressed from
// the keyboard uses the middle of the view where there is no cursor. Hands that use a pointer are not read out.

import { draw, inksOf, inWords, place } from "./drawing.js";
import {
  columnsFor, floats, fold, GAP, levelOf, levelsFrom, magnified, moved, neededFor, peakOf, pinched, tileAt, Tiles, tilesOf, time,
  UNKNOWN, width, within, zoomed,
} from "./scale.js";

/** @typedef {import("./scale.js").View} View */
/** @typedef {import("./scale.js").Tile} Tile */
/** @typedef {import("./drawing.js").Lane} Lane */
/** @typedef {{ unit: string, channel: string, words: string, how: string, filled: boolean }} Source */
/** @typedef {import("./drawing.js").Marked & { unit: string, how: string }} Mark */

/** What is chosen beside the view, by its name in the form and in the address; the follower's channel comes after the follower. */
const CHOICES = ["lead-channel", "follower", "how", "view"];
/** How far a pointer may move and still have chosen a place, pixels. */
const STILL = 4;
/** For so long after the page was scrolled the wheel goes on scrolling it, milliseconds. */
const SCROLLING = 250;

class Seams {
  /** @param {HTMLElement} home @param {View} all @param {number} rate */
  constructor(home, all, rate) {
    this.home = home;
    this.canvas = /** @type {HTMLCanvasElement} */ (home.querySelector("canvas"));
    this.reading = /** @type {HTMLElement} */ (home.querySelector("output"));
    this.form = /** @type {HTMLFormElement} */ (home.querySelector("form"));
    this.pen = /** @type {CanvasRenderingContext2D} */ (this.canvas.getContext("2d"));
    this.take = home.dataset.take ?? "";
    this.lead = home.dataset.lead ?? "";
    this.all = all;
    this.rate = rate;
    this.view = all;
    /** A whole lead sample. @type {number | null} */
    this.cursor = null;
    this.marks = /** @type {Mark[]} */ ([]);
    /** Which mark is wanted next: none, the lead's or the follower's. @type {0 | 1 | 2} */
    this.marking = 0;
    this.asking = false;
    /** What there is to say of the last mark. */
    this.note = "";
    this.tiles = new Tiles(read, () => this.redraw());
    /** What is being asked for. */
    this.asked = this.tiles.asked;
    this.columns = [columnsFor(1), columnsFor(1)];
    this.gains = [0, 0];
    this.sources = /** @type {Source[]} */ ([]);
    this.over = false;
    this.due = false;
    this.ratio = 1;
    this.inks = inksOf(this.home);
    /** How long the last pictures took, milliseconds. @type {number[]} */
    this.times = [];
    this.keeping = 0;
    this.saying = 0;
    this.canvas.tabIndex = 0;
    this.canvas.setAttribute("role", "application");
    this.restore();
    this.listen();
    this.resize();
  }

  /** What is there. */
  get layers() {
    return [...this.tiles.kept.values()].map(({ tile }) => ({ heard: { kind: tile.per === 1 ? "samples" : "extremes" } }));
  }

  // ---- what is chosen

  choose() {
    const all = new FormData(this.form);
    const chosen = (/** @type {string} */ name) => String(all.get(name) ?? "");
    const source = (/** @type {string} */ unit, /** @type {string} */ name, filled = false) => {
      const field = this.form.elements.namedItem(name);
      const words = field instanceof HTMLSelectElement ? (field.selectedOptions[0]?.text.trim() ?? "") : "";
      return { unit, channel: chosen(name), words: `${unit} · ${words}`, how: chosen("how") || "after", filled };
    };
    const before = this.sources.map(keyOf);
    this.sources = [source(this.lead, "lead-channel", true), source(chosen("follower"), "follower-channel")];
    this.gains = this.gains.map((gain, number) => (before[number] === keyOf(this.sources[number]) ? gain : 0));
    this.over = chosen("view") === "over";
  }

  /** The follower's channels alone can be chosen. */
  fitChannels() {
    const unit = String(new FormData(this.form).get("follower") ?? "");
    const select = this.form.elements.namedItem("follower-channel");
    if (!(select instanceof HTMLSelectElement)) return;
    const own = [...select.options].filter((option) => option.dataset.unit === unit);
    for (const option of select.options) option.hidden = option.disabled = option.dataset.unit !== unit;
    const now = select.selectedOptions[0];
    if (now && own.includes(now)) return;
    const first = own.find((option) => option.defaultSelected) ?? own[0];
    if (first) first.selected = true;
  }

  // ---- the address

  restore() {
    const known = new URLSearchParams(location.hash.slice(1));
    for (const name of CHOICES) pick(this.form, name, known.get(name));
    this.fitChannels();
    pick(this.form, "follower-channel", known.get("follower-channel"));
    const [from, to] = [Number(known.get("from") || "none"), Number(known.get("to") || "none")];
    if (Number.isFinite(from) && Number.isFinite(to) && from < to) this.view = within({ from, to }, this.all);
    this.choose();
    this.redraw();
  }

  keep() {
    const words = new URLSearchParams();
    words.set("from", String(Math.round(this.view.from)));
    words.set("to", String(Math.round(this.view.to)));
    const all = new FormData(this.form);
    for (const name of [...CHOICES, "follower-channel"]) words.set(name, String(all.get(name) ?? ""));
    history.replaceState(history.state, "", `#${words}`);
  }

  // ---- seeing

  /** @param {View} view */
  show(view) {
    this.view = within(view, this.all);
    const { from, to } = this.view;
    if (this.cursor !== null && (this.cursor < from || this.cursor > to)) this.cursor = this.whole((from + to) / 2);
    this.change();
  }

  change() {
    clearTimeout(this.keeping);
    this.keeping = window.setTimeout(() => this.keep(), 200);
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
    this.tiles.want(this.wishes());
    const lanes = this.sources.map((source, number) => this.lane(source, number));
    // a follower's mark stands where the follower was placed when it was made
    const follower = this.sources[1];
    const marks = this.marks.filter((mark) => mark.filled || (mark.unit === follower?.unit && mark.how === follower.how));
    const { view, rate, lead, over, cursor } = this;
    const { clientWidth: width, clientHeight: height } = this.canvas;
    const sheet = { pen: this.pen, width, height, ratio: this.ratio, inks: this.inks };
    draw(sheet, { view, rate, lead, lanes, over, cursor, marks });
    this.tell(lanes);
    if (this.times.push(performance.now() - began) > 120) this.times.shift();
  }

  /** Samples for a column of the screen. */
  scale() {
    return (this.view.to - this.view.from) / this.canvas.width;
  }

  /** @param {Source} source @param {number} number @returns {Lane} */
  lane(source, number) {
    const columns = /** @type {import("./scale.js").Columns} */ (this.columns[number]);
    const level = levelOf(this.scale());
    let failure = "";
    let full = true;
    const groups = levelsFrom(level, this.all).map((one) => {
      /** @type {Tile[]} */
      const found = [];
      const [first, last] = tilesOf(this.view, one, this.all);
      for (let n = first; n <= last; n += 1) {
        const key = `${keyOf(source)}\n${one}\n${n}`;
        const kept = this.tiles.kept.get(key);
        if (kept) found.push(kept.tile);
        else if (one === level) full = false;
        const failed = one === level ? this.tiles.failed.get(key) : undefined;
        if (!kept && failed && failed.times > 1) failure = failed.words;
      }
      return found;
    });
    fold(this.view, groups, columns);
    const peak = peakOf(columns);
    const gain = magnified(peak, this.gains[number] ?? 0);
    this.gains[number] = gain;
    const fine = full && level === 0 && this.scale() * this.ratio <= 1;
    let words = "";
    const { state } = columns;
    if (failure) words = `${source.unit} could not be read here: ${failure}`;
    else if (source.channel === "") words = "no channel to show";
    else if (state.every((one) => one === GAP)) words = `${source.unit} recorded nothing here`;
    else if (state.reduce((sum, one) => sum + Number(one === UNKNOWN), 0) > state.length / 4) words = `reading ${source.unit} …`;
    const line = fine ? (groups[0] ?? []) : [];
    return { name: source.words, filled: source.filled, columns, line, gain: gain || 1, peak, words };
  }

  /** @returns {import("./scale.js").Wish[]} */
  wishes() {
    const sources = this.sources.filter((source) => source.unit !== "" && source.channel !== "");
    return neededFor(this.view, levelOf(this.scale()), this.all).flatMap(({ level, number }) => {
      const { from, to, columns } = tileAt(level, number, this.all);
      return sources.map((source) => {
        const { unit, channel, how } = source;
        const asked = { take: this.take, unit, channel, from: String(from), to: String(to), columns: String(columns), how };
        return { key: `${keyOf(source)}\n${level}\n${number}`, query: String(new URLSearchParams(asked)), from, to };
      });
    });
  }

  // ---- words

  /** @param {Lane[]} lanes */
  tell(lanes) {
    const next = this.marking === 1 ? "Now choose the instant on" : "Now choose the same instant on";
    const at = this.here();
    const where = `${this.cursor === null ? "middle" : "cursor"} ${time(at / this.rate, this.scale() < 4 ? 0.0001 : 0.001)}`;
    const sample = `${this.lead}'s sample ${String(at).replace("-", "−")}`;
    const words = `${where} from ${this.lead}'s start · ${sample} · ${width(this.view.to - this.view.from, this.rate)} wide`;
    const now = this.marking > 0 ? `${next} ${this.sources[this.marking - 1]?.unit}.` : "";
    const all = [words, this.note, now].filter((one) => one).join(" — ");
    if (this.reading.textContent !== all) this.reading.textContent = all;
    clearTimeout(this.saying);
    const label = () => this.canvas.setAttribute("aria-label", inWords({ view: this.view, rate: this.rate, lanes }));
    if (this.canvas.hasAttribute("aria-label")) this.saying = window.setTimeout(label, 300);
    else label();
  }

  /** Whether changes are read out: not while a pointer makes them. @param {boolean} quiet */
  hush(quiet) {
    const live = quiet ? "off" : "polite";
    if (this.reading.getAttribute("aria-live") !== live) this.reading.setAttribute("aria-live", live);
  }

  // ---- marking

  mark() {
    this.clear();
    this.marking = 1;
    this.hush(false);
    this.canvas.focus({ preventScroll: true });
  }

  clear() {
    this.marking = 0;
    this.marks = [];
    this.note = "";
    this.redraw();
  }

  /** Marks the instant at a lead position. @param {number} at */
  async settle(at) {
    const step = this.marking;
    const source = this.sources[step - 1];
    if (!source || this.asking) return;
    const { unit, how, filled } = source;
    this.asking = true;
    this.note = "";
    let position = null;
    try {
      const query = new URLSearchParams({ take: this.take, unit, at: String(at), how });
      const answer = await fetch(`/instant?${query}`);
      if (!answer.ok) throw new Error(await answer.text());
      ({ position } = await answer.json());
      if (position === null) this.note = `${unit} recorded nothing there.`;
    } catch (error) {
      this.note = `The instant could not be read: ${error instanceof Error ? error.message : error}.`;
    }
    this.asking = false;
    this.hush(false);
    this.redraw();
    // it was given up, or begun anew, or another follower chosen meanwhile
    if (position === null || this.marking !== step || this.sources[step - 1] !== source) return;
    const words = String(Number(Number(position).toFixed(2)));
    this.marks = [...this.marks.filter((mark) => mark.filled !== filled), { at, unit, words: `${unit} ${words}`, how, filled }];
    const tie = document.getElementById("tie");
    pick(tie, filled ? "lead-position" : "follower-position", words);
    if (!filled) pick(tie, "follower", unit);
    this.marking = step === 1 ? 2 : 0;
    const apart = at - (this.marks[0]?.at ?? at);
    const later = apart === 0 ? "at the same place" : `${Math.abs(apart)} samples ${apart > 0 ? "later" : "earlier"} here`;
    const both = `Both marked, ${unit}'s ${later}: the form for a tie is filled in.`;
    this.note = filled ? `${unit} marked at its sample ${words}.` : both;
  }

  // ---- hands

  /** @param {number} at @returns {number} the closest sample there is */
  whole(at) {
    return Math.min(Math.max(Math.round(at), Math.ceil(this.all.from)), Math.floor(this.all.to) - 1);
  }

  /** The cursor, or the middle where there is none. */
  here() {
    return this.cursor ?? this.whole((this.view.from + this.view.to) / 2);
  }

  /** @param {number} x @returns {number} */
  at(x) {
    return this.view.from + (x / this.canvas.clientWidth) * (this.view.to - this.view.from);
  }

  /** @param {number} at */
  point(at) {
    this.cursor = this.whole(at);
    const { from, to } = this.view;
    if (at < from || at > to) this.show(moved(this.view, at - (from + to) / 2));
    this.redraw();
  }

  /** @param {string} what @param {boolean} keys whether from the keyboard */
  do(what, keys) {
    this.hush(!keys);
    const length = this.view.to - this.view.from;
    const few = this.canvas.clientWidth < 500 ? 40 : 80;
    if (what === "in" || what === "out") this.show(zoomed(this.view, what === "in" ? 0.5 : 2, this.here(), this.all));
    else if (what === "left") this.show(moved(this.view, -0.5 * length));
    else if (what === "right") this.show(moved(this.view, 0.5 * length));
    else if (what === "all") this.show(this.all);
    else if (what === "samples") this.show({ from: this.here() - few / 2, to: this.here() + few / 2 });
    else if (what === "clear") this.clear();
    else if (what === "mark" && keys && this.marking > 0) void this.settle(this.here());
    else if (what === "mark") this.mark();
  }

  /** @param {KeyboardEvent} event */
  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const length = this.view.to - this.view.from;
    const pixel = Math.max(1, length / this.canvas.clientWidth);
    const step = event.shiftKey ? pixel : 0.1 * length;
    const name = event.key === "=" ? "+" : event.key.toLowerCase();
    const far = Math.max(1, Math.round(pixel)) * (event.shiftKey || "<>".includes(name) ? 10 : 1);
    /** @type {Record<string, () => void>} */
    const keys = {
      arrowleft: () => this.show(moved(this.view, -step)),
      arrowright: () => this.show(moved(this.view, step)),
      pageup: () => this.show(moved(this.view, -length)),
      pagedown: () => this.show(moved(this.view, length)),
      home: () => this.show({ from: this.all.from, to: this.all.from + length }),
      end: () => this.show({ from: this.all.to - length, to: this.all.to }),
      "+": () => this.do("in", true),
      "-": () => this.do("out", true),
      "0": () => this.do("all", true),
      m: () => this.do("mark", true),
      enter: () => void this.settle(this.here()),
      escape: () => this.clear(),
      ",": () => this.point(this.here() - far),
      ".": () => this.point(this.here() + far),
    };
    const shifted = /** @type {Record<string, string>} */ ({ "<": ",", ";": ",", ">": ".", ":": ".", "*": "+", _: "-" });
    const done = keys[((event.shiftKey || "<>".includes(name)) && shifted[name]) || name];
    if (!done) return;
    event.preventDefault();
    this.hush(false);
    done();
  }

  listen() {
    this.form.addEventListener("submit", (event) => event.preventDefault());
    this.form.addEventListener("change", () => {
      this.fitChannels();
      this.choose();
      this.change();
    });
    for (const button of /** @type {NodeListOf<HTMLElement>} */ (this.home.querySelectorAll("[data-do]"))) {
      button.addEventListener("click", (event) => this.do(button.dataset.do ?? "", event.detail === 0));
    }
    this.canvas.addEventListener("keydown", (event) => this.key(event));
    this.canvas.addEventListener("focus", () => this.canvas.matches(":focus-visible") && this.point(this.here()));
    this.pointers();
    this.wheel();
    addEventListener("hashchange", () => this.restore());
    new ResizeObserver(() => this.resize()).observe(this.canvas);
    // the screen's own pixels may change though the canvas does not
    addEventListener("resize", () => this.resize());
    matchMedia("(prefers-color-scheme: dark)").addEventListener("change", () => this.resize());
  }

  wheel() {
    let scrolled = -Infinity;
    addEventListener("scroll", () => (scrolled = performance.now()), { passive: true });
    const turn = (/** @type {WheelEvent} */ event) => {
      const size = [1, 16, 400][event.deltaMode] ?? 1;
      const sideways = event.shiftKey && event.deltaX === 0 ? event.deltaY : event.deltaX;
      const length = this.view.to - this.view.from;
      // a page that is being scrolled goes on past the picture, and on where the picture can become no wider
      const idle = event.deltaY > 0 && length >= this.all.to - this.all.from;
      if (!event.ctrlKey && !event.shiftKey && (idle || performance.now() - scrolled < SCROLLING)) return;
      event.preventDefault();
      this.hush(true);
      if (event.shiftKey || Math.abs(sideways) > Math.abs(event.deltaY)) {
        this.show(moved(this.view, ((sideways * size) / this.canvas.clientWidth) * length));
      } else {
        const by = 2 ** ((event.deltaY * size) / (event.ctrlKey ? 60 : 240));
        this.show(zoomed(this.view, by, this.at(event.offsetX), this.all));
      }
    };
    this.canvas.addEventListener("wheel", turn, { passive: false });
  }

  /** One pointer moves the page, two magnify it: what is below each stays below it. */
  pointers() {
    /** @type {Map<number, { x: number, at: number }>} */
    const down = new Map();
    let began = 0;
    let still = false;
    const { canvas } = this;
    const anchor = () => down.forEach((one) => (one.at = this.at(one.x)));
    canvas.addEventListener("pointerdown", (event) => {
      if (event.button !== 0) return;
      canvas.setPointerCapture(event.pointerId);
      canvas.focus({ preventScroll: true });
      still = down.size === 0;
      began = event.offsetX;
      down.set(event.pointerId, { x: event.offsetX, at: 0 });
      anchor();
    });
    canvas.addEventListener("pointermove", (event) => {
      this.hush(true);
      const own = down.get(event.pointerId);
      if (own) own.x = event.offsetX;
      if (Math.abs(event.offsetX - began) >= STILL) still = false;
      if (!own || still) return this.point(this.at(event.offsetX));
      const [a, b] = [...down.values()];
      const length = this.view.to - this.view.from;
      if (a && b) return this.show(pinched(this.view, a, b, canvas.clientWidth, this.all));
      this.show({ from: own.at - (own.x / canvas.clientWidth) * length, to: own.at + (1 - own.x / canvas.clientWidth) * length });
      return this.point(this.at(Math.min(Math.max(own.x, 0), canvas.clientWidth)));
    });
    const up = (/** @type {PointerEvent} */ event) => {
      if (!down.delete(event.pointerId)) return;
      anchor();
      if (!still || event.type !== "pointerup") return;
      this.point(this.at(event.offsetX));
      if (this.marking > 0) void this.settle(this.here());
    };
    canvas.addEventListener("pointerup", up);
    canvas.addEventListener("pointercancel", up);
  }

  resize() {
    this.ratio = window.devicePixelRatio || 1;
    this.canvas.width = Math.max(1, Math.round(this.canvas.clientWidth * this.ratio));
    this.canvas.height = Math.max(1, Math.round(this.canvas.clientHeight * this.ratio));
    this.columns = this.columns.map(() => columnsFor(this.canvas.width));
    this.inks = inksOf(this.home);
    this.redraw();
  }
}

/** @param {import("./scale.js").Wish} wish @param {AbortSignal} signal @returns {Promise<Tile>} */
async function read({ query, from, to }, signal) {
  const answer = await fetch(`/wave?${query}`, { signal });
  if (!answer.ok) throw new Error((await answer.text()).slice(0, 300) || `the desk answered ${answer.status}`);
  const kind = answer.headers.get("x-kind");
  const values = floats(await answer.arrayBuffer());
  const per = kind === "samples" ? 1 : 2;
  if (values.length < per) throw new Error("the desk answered with nothing");
  return { from, to, step: (to - from) / (values.length / per), per, sketch: kind === "sketch", values };
}

/** @param {Source | undefined} source */
function keyOf(source) {
  return source ? `${source.unit}\n${source.channel}\n${source.how}` : "";
}

/**
 * Fills in a field of a form with one of the values it can have, and says so.
 * @param {HTMLElement | null} form @param {string} name @param {string | null} value
 */
function pick(form, name, value) {
  const field = form instanceof HTMLFormElement && value ? form.elements.namedItem(name) : null;
  if (!field || !value) return;
  if (field instanceof HTMLSelectElement) {
    const option = [...field.options].find((one) => one.value === value && !one.disabled);
    if (!option) return;
    option.selected = true;
  } else if (field instanceof HTMLInputElement && field.type !== "radio") field.value = value;
  else if (field instanceof RadioNodeList) field.value = value;
  const told = field instanceof RadioNodeList ? form : field;
  if (form?.id === "tie") told?.dispatchEvent(new Event("input", { bubbles: true }));
}

const home = document.getElementById("seams");
const all = { from: Number(home?.dataset.from), to: Number(home?.dataset.until) };
const rate = Number(home?.dataset.rate);
if (home && rate > 0 && all.to > all.from) {
  const seams = new Seams(home, all, rate);
  const seamsPlace = (/** @type {number} */ at) => place(seams.view, seams.canvas.clientWidth)(at);
  // for the tests: what is asked for and there, the pace of drawing, and where on the canvas a lead position lies
  Object.assign(window, { seams, seamsTimes: seams.times, seamsPlace });
}
