// Numbers in; steps, labels, views, tiles and columns out: the arithmetic of the seam's picture, and the tiles that are kept for it.
// No document, no drawing; how a tile is read is given.

/** @typedef {{ from: number, to: number }} View Lead positions, samples; `to` is the first that is not shown. */
/** @typedef {{ at: number, label: string }} Tick A long stroke of the ruler has a label, a short one has none. */
/**
 * A stretch as the server gave it: `values` holds a value (`per` 1) or the least and greatest (`per` 2) for every `step` samples.
 * @typedef {{ from: number, to: number, step: number, per: 1 | 2, sketch: boolean, values: Float32Array }} Tile
 */
/**
 * What is seen of a channel, column by column. `state`: one of the four below.
 * @typedef {{ least: Float32Array, most: Float32Array, state: Uint8Array, pass: Uint8Array }} Columns
 */

/** Samples of the closest view. */
export const CLOSEST = 32;
/** States of a column: not there yet, nothing recorded, sound, sound from a part of its samples. */
export const UNKNOWN = 0;
export const GAP = 1;
export const SOUND = 2;
export const SKETCH = 3;

/**
 * A view within the take, no closer than the closest.
 * @param {View} view @param {View} all @returns {View}
 */
export function within(view, all) {
  const whole = all.to - all.from;
  const length = Math.max(Math.min(view.to - view.from, whole), Math.min(CLOSEST, whole));
  const from = Math.min(Math.max(view.from, all.from), all.to - length);
  return { from, to: from + length };
}

/**
 * Closer (below 1) or wider (above 1) about a position that keeps its place, as far as the take allows.
 * @param {View} view @param {number} by @param {number} about @param {View} all @returns {View}
 */
export function zoomed(view, by, about, all) {
  const length = view.to - view.from;
  const wanted = Math.min(Math.max(length * by, Math.min(CLOSEST, all.to - all.from)), all.to - all.from);
  const from = about - ((about - view.from) * wanted) / length;
  return within({ from, to: from + wanted }, all);
}

/**
 * Later by a number of samples.
 * @param {View} view @param {number} by @returns {View}
 */
export function moved(view, by) {
  return { from: view.from + by, to: view.to + by };
}

/**
 * The view that keeps two positions below two fingers.
 * @param {View} view @param {{ x: number, at: number }} a @param {{ x: number, at: number }} b @param {number} width @param {View} all
 * @returns {View}
 */
export function pinched(view, a, b, width, all) {
  const x = (a.x + b.x) / 2;
  const length = view.to - view.from;
  const by = (Math.abs(a.at - b.at) * width) / Math.max(8, Math.abs(a.x - b.x)) / length;
  const near = zoomed(view, by || 1, view.from, all);
  return moved(near, (a.at + b.at) / 2 - near.from - (x * (near.to - near.from)) / width);
}

// ---- the ruler

/** Steps of time that are easily read, seconds, and into how many parts each is ruled. */
const TIMES = [
  [1e-5, 10], [2e-5, 4], [5e-5, 5], [1e-4, 10], [2e-4, 4], [5e-4, 5], [1e-3, 10], [2e-3, 4], [5e-3, 5], [0.01, 10], [0.02, 4],
  [0.05, 5], [0.1, 10], [0.2, 4], [0.5, 5], [1, 10], [2, 4], [5, 5], [10, 10], [15, 3], [30, 3], [60, 6], [120, 4], [300, 5],
  [600, 10], [900, 3], [1800, 6], [3600, 6], [7200, 4], [14400, 4], [43200, 12],
];

/**
 * The finest step of time of which no more than `most` are seen, seconds.
 * @param {View} view @param {number} rate @param {number} most @returns {number}
 */
export function timeStep(view, rate, most) {
  const wanted = (view.to - view.from) / rate / most;
  return (TIMES.find((one) => (one[0] ?? 0) >= wanted) ?? [86400])[0] ?? 86400;
}

/**
 * Strokes of time.
 * @param {View} view @param {number} rate @param {number} step seconds @returns {Tick[]}
 */
export function timeTicks(view, rate, step) {
  const parts = (TIMES.find((one) => one[0] === step) ?? [0, 4])[1] ?? 4;
  return ruled(view, step * rate, parts, (n) => time(n * step, step));
}

/**
 * Strokes of the lead's own samples.
 * @param {View} view @param {number} most @returns {Tick[]}
 */
export function sampleTicks(view, most) {
  const wanted = (view.to - view.from) / most;
  const ten = 10 ** Math.floor(Math.log10(Math.max(wanted, 1)));
  const mantissa = [1, 2, 5, 10].find((one) => one * ten >= wanted) ?? 10;
  const step = mantissa * ten;
  const parts = mantissa === 2 ? (step === 2 ? 2 : 4) : mantissa === 5 ? 5 : 10;
  return ruled(view, step, step === 1 ? 1 : parts, (n) => String(n * step).replace("-", "−"));
}

/**
 * @param {View} view @param {number} step samples @param {number} parts @param {(n: number) => string} label @returns {Tick[]}
 */
function ruled(view, step, parts, label) {
  const found = [];
  const fine = step / parts;
  for (let n = Math.ceil(view.from / fine); n * fine <= view.to; n += 1) {
    found.push({ at: n * fine, label: n % parts === 0 ? label(n / parts) : "" });
  }
  return found;
}

/**
 * A time as it is read on a ruler: `12:05`, `1:02:30`, `12:05.250`.
 * @param {number} seconds @param {number} step how fine it must be @returns {string}
 */
export function time(seconds, step) {
  const decimals = step >= 1 ? 0 : Math.min(6, Math.ceil(-Math.log10(step) - 1e-9));
  const rounded = Number(Math.abs(seconds).toFixed(decimals));
  const sign = seconds < 0 && rounded > 0 ? "−" : "";
  const hours = Math.floor(rounded / 3600);
  const minutes = Math.floor((rounded % 3600) / 60);
  const rest = (rounded % 60).toFixed(decimals).padStart(decimals > 0 ? decimals + 3 : 2, "0");
  return hours > 0 ? `${sign}${hours}:${String(minutes).padStart(2, "0")}:${rest}` : `${sign}${minutes}:${rest}`;
}

/**
 * How wide a view is, in words.
 * @param {number} samples @param {number} rate @returns {string}
 */
export function width(samples, rate) {
  const seconds = samples / rate;
  if (seconds >= 5400) return `${(seconds / 3600).toFixed(1)} h`;
  if (seconds >= 90) return `${(seconds / 60).toFixed(1)} min`;
  if (seconds >= 1) return `${seconds.toFixed(2)} s`;
  if (samples > 1000) return `${(1000 * seconds).toFixed(seconds < 0.1 ? 1 : 0)} ms`;
  return `${Math.round(samples)} samples`;
}

// ---- levels

/**
 * The gain that brings a peak close to a lane's edge, in steps of two. The one before stays while it still fits, so that a lane
 * does not jump while it is moved.
 * @param {number} peak @param {number} before @returns {number}
 */
export function magnified(peak, before) {
  if (!(peak > 0)) return before;
  if (peak * before <= 1 && (peak * before > 0.45 || before >= 4096)) return before;
  return 2 ** Math.max(0, Math.min(12, Math.floor(Math.log2(1 / peak))));
}

/**
 * A peak below full scale, in words.
 * @param {number} peak @returns {string}
 */
export function decibels(peak) {
  return peak > 0 ? `${(20 * Math.log10(peak)).toFixed(1).replace("-", "−")} dBFS` : "silence";
}

// ---- tiles: columns of a power of two of samples each, on a grid that begins with the take

/** Columns of a tile. */
const COLUMNS = 512;
/** The first level that is asked for as extremes; below it stand the samples themselves. */
const COARSE = 3;

/** @param {number} level @returns {number} samples of a tile */
function tileLength(level) {
  return level < COARSE ? 4 * COLUMNS : COLUMNS * 2 ** level;
}

/**
 * The level that has one to two columns for every one on the screen; 0 is single samples.
 * @param {number} samples per column of the screen @returns {number}
 */
export function levelOf(samples) {
  const level = Math.floor(Math.log2(Math.max(samples, 1)));
  return level < COARSE ? 0 : level;
}

/**
 * A level finer or coarser.
 * @param {number} level @param {1 | -1} by @returns {number}
 */
function beside(level, by) {
  if (by > 0) return level < COARSE ? COARSE : level + 1;
  return level <= COARSE ? 0 : level - 1;
}

/**
 * The level at which the whole take is one tile.
 * @param {View} all @returns {number}
 */
function topLevel(all) {
  return levelOf(2 ** Math.ceil(Math.log2(Math.max(1, (all.to - all.from) / COLUMNS))));
}

/**
 * Numbers of the first and the last tile that a view needs.
 * @param {View} view @param {number} level @param {View} all @returns {[number, number]}
 */
export function tilesOf(view, level, all) {
  const length = tileLength(level);
  const last = Math.floor((all.to - all.from - 1) / length);
  const number = (/** @type {number} */ at) => Math.min(Math.max(Math.floor((at - all.from) / length), 0), last);
  return [number(view.from), number(view.to)];
}

/**
 * Where a tile lies and how many columns it is asked for; the last one ends with the take.
 * @param {number} level @param {number} number @param {View} all @returns {{ from: number, to: number, columns: number }}
 */
export function tileAt(level, number, all) {
  const length = tileLength(level);
  const step = level < COARSE ? 4 : 2 ** level;
  const from = all.from + number * length;
  const columns = Math.min(COLUMNS, Math.ceil((all.to - from) / step));
  return { from, to: level < COARSE ? Math.min(from + length, Math.max(all.to, from + 1)) : from + columns * step, columns };
}

/**
 * Columns for a canvas that wide.
 * @param {number} many @returns {Columns}
 */
export function columnsFor(many) {
  return {
    least: new Float32Array(many),
    most: new Float32Array(many),
    state: new Uint8Array(many),
    pass: new Uint8Array(many),
  };
}

/**
 * Folds tiles into the columns of a view. What an earlier group tells of a column, no later one tells again.
 * @param {View} view @param {Tile[][]} groups the best first @param {Columns} into
 */
export function fold(view, groups, into) {
  const { least, most, state, pass } = into;
  const many = state.length;
  const scale = (view.to - view.from) / many;
  state.fill(UNKNOWN);
  pass.fill(0);
  groups.forEach((group, place) => {
    for (const { from, to, step, per, sketch, values } of group) {
      const entries = values.length / per;
      const first = Math.max(0, Math.floor((from - view.from) / scale));
      const end = Math.min(many, Math.ceil((to - view.from) / scale));
      for (let i = first; i < end; i += 1) {
        if (pass[i] !== 0 && pass[i] !== place + 1) continue;
        const begin = (view.from + i * scale - from) / step;
        const e0 = Math.min(Math.max(Math.floor(begin), 0), entries - 1);
        const e1 = Math.min(Math.max(Math.floor(begin + scale / step), e0 + 1), entries);
        let low = Infinity;
        let high = -Infinity;
        for (let e = e0 * per; e < e1 * per; e += 1) {
          const value = /** @type {number} */ (values[e]);
          if (value < low) low = value;
          if (value > high) high = value;
        }
        const own = low > high ? GAP : sketch ? SKETCH : SOUND;
        const joined = pass[i] !== 0 && /** @type {number} */ (state[i]) >= SOUND;
        pass[i] = place + 1;
        if (own === GAP && joined) continue;
        least[i] = joined ? Math.min(low, /** @type {number} */ (least[i])) : low;
        most[i] = joined ? Math.max(high, /** @type {number} */ (most[i])) : high;
        state[i] = own;
      }
    }
  });
}

/**
 * The largest value of columns.
 * @param {Columns} columns @returns {number}
 */
export function peakOf({ least, most, state }) {
  let peak = 0;
  for (let i = 0; i < state.length; i += 1) {
    if (/** @type {number} */ (state[i]) < SOUND) continue;
    peak = Math.max(peak, /** @type {number} */ (most[i]), -(/** @type {number} */ (least[i])));
  }
  return peak;
}

/**
 * Levels that a picture is made of: the one wanted, the finer ones that may still be there, ever coarser ones.
 * @param {number} level @param {View} all @returns {number[]}
 */
export function levelsFrom(level, all) {
  const levels = [level];
  const top = topLevel(all);
  for (let finer = level, n = 0; finer > 0 && n < 2; n += 1) levels.push((finer = beside(finer, -1)));
  for (let coarser = level; coarser < top; ) levels.push((coarser = beside(coarser, 1)));
  return levels;
}

/**
 * Tiles that are needed for a view: the whole take roughly, then what is seen from the middle outwards, then what lies beside it.
 * @param {View} view @param {number} level @param {View} all @returns {{ level: number, number: number }[]}
 */
export function neededFor(view, level, all) {
  const half = (view.to - view.from) / 2;
  const [first, last] = tilesOf(view, level, all);
  const [before] = tilesOf(moved(view, -half), level, all);
  const [, after] = tilesOf(moved(view, half), level, all);
  const needed = [{ level: topLevel(all), number: 0, far: -1 }];
  for (let number = before; number <= after; number += 1) {
    const outside = number < first || number > last ? 1000 : 0;
    needed.push({ level, number, far: outside + Math.abs(number - (first + last) / 2) });
  }
  return needed.sort((a, b) => a.far - b.far);
}

/** Little-endian numbers, whatever the machine's own order. @param {ArrayBuffer} bytes @returns {Float32Array} */
export function floats(bytes) {
  const view = new DataView(bytes);
  return Float32Array.from({ length: bytes.byteLength >> 2 }, (_, i) => view.getFloat32(4 * i, true));
}

// ---- tiles that are kept

/** @typedef {{ key: string, query: string, from: number, to: number }} Wish */
/** @typedef {{ tile: Tile, again: number }} Kept `again`: when a sketch is asked for again. */
/** @typedef {{ words: string, times: number, until: number }} Failed Not asked for again until then. */
/** @typedef {(wish: Wish, signal: AbortSignal) => Promise<Tile>} Read */

/** Tiles that are kept, and tiles that are asked for at once. */
const KEPT = 200;
const AT_ONCE = 4;
/** Until a sketch is asked for again, until a failure is tried once more, and until that is given up for a while, milliseconds. */
const AGAIN = 700;
const RETRY = 300;
const REST = 5000;

/** Tiles by their key, asked for as they are wished for; the ones longest out of use go. */
export class Tiles {
  /** @param {Read} read @param {() => void} changed */
  constructor(read, changed) {
    this.read = read;
    this.changed = changed;
    /** @type {Map<string, Kept>} */
    this.kept = new Map();
    /** @type {Map<string, AbortController>} */
    this.asked = new Map();
    /** @type {Map<string, Failed>} */
    this.failed = new Map();
    /** @type {Wish[]} */
    this.wishes = [];
  }

  /** What is wanted now, the most urgent first; all else is no longer asked for. @param {Wish[]} wishes */
  want(wishes) {
    this.wishes = wishes;
    const keys = new Set(wishes.map((wish) => wish.key));
    for (const [key, stop] of this.asked) {
      if (keys.has(key)) continue;
      stop.abort();
      this.asked.delete(key);
    }
    for (const key of keys) {
      const one = this.kept.get(key);
      if (!one) continue;
      this.kept.delete(key);
      this.kept.set(key, one);
    }
    this.ask();
  }

  ask() {
    const now = performance.now();
    for (const wish of this.wishes) {
      if (this.asked.size >= AT_ONCE) return;
      if (this.asked.has(wish.key)) continue;
      if ((this.kept.get(wish.key)?.again ?? 0) > now || (this.failed.get(wish.key)?.until ?? 0) > now) continue;
      void this.fetch(wish);
    }
  }

  /** @param {Wish} wish */
  async fetch(wish) {
    const { key } = wish;
    const stop = new AbortController();
    this.asked.set(key, stop);
    let pause = 0;
    try {
      const tile = await this.read(wish, stop.signal);
      pause = tile.sketch ? AGAIN : 0;
      this.kept.delete(key);
      this.kept.set(key, { tile, again: tile.sketch ? performance.now() + AGAIN : Infinity });
      this.failed.delete(key);
      this.forget();
    } catch (error) {
      if (stop.signal.aborted) return;
      const times = (this.failed.get(key)?.times ?? 0) + 1;
      pause = times === 1 ? RETRY : 0;
      const words = error instanceof Error ? error.message : String(error);
      this.failed.set(key, { words, times, until: performance.now() + (pause || REST) });
    } finally {
      if (this.asked.get(key) === stop) this.asked.delete(key);
    }
    if (pause) setTimeout(() => this.ask(), pause + 5);
    this.ask();
    this.changed();
  }

  forget() {
    const wanted = new Set(this.wishes.map((wish) => wish.key));
    for (const key of this.kept.keys()) {
      if (this.kept.size <= KEPT) break;
      if (!wanted.has(key)) this.kept.delete(key);
    }
  }
}
