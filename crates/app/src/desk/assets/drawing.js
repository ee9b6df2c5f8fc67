// What is seen of lead and follower in, lines on a canvas out: a page ruled for them, with a measuring scale at its foot. The lead
// is solid ink, the follower an outline that is hatched; a stretch that was not recorded is a bracket.

import { decibels, GAP, SKETCH, SOUND, sampleTicks, time, timeStep, timeTicks } from "./scale.js";

/** @typedef {import("./scale.js").View} View */
/** @typedef {import("./scale.js").Tile} Tile */
/** @typedef {import("./scale.js").Columns} Columns */
/**
 * `line`: single samples, to be drawn as a line instead of the columns. `words`: what stands in place of a wave.
 * @typedef {{ name: string, filled: boolean, columns: Columns, line: Tile[], gain: number, peak: number, words: string }} Lane
 */
/** @typedef {{ ink: string, soft: string, rule: string, second: string, paper: string, margin: string }} Inks */
/** @typedef {{ at: number, words: string, filled: boolean }} Marked */
/**
 * @typedef {{ view: View, rate: number, lead: string, lanes: Lane[], over: boolean, cursor: number | null, marks: Marked[] }} Scene
 */
/** @typedef {{ top: number, height: number, width: number }} Box */
/** @typedef {{ pen: CanvasRenderingContext2D, width: number, height: number, ratio: number, inks: Inks }} Sheet */

/** Height of the ruler, and of the line above a wave that says whose it is. */
export const RULER = 46;
const NAME = 20;
const FONT = '12px ui-sans-serif, "Noto Sans", "DejaVu Sans", sans-serif';
/** From how many pixels between two samples each has a dot. */
const DOTS = 6;
/** The widest view that has the lead's samples on the ruler too, seconds. */
const WITH_SAMPLES = 1;

/**
 * Draws all of it. Sizes are those of the page; `ratio` is how many of the screen's pixels go into one of them.
 * @param {Sheet} sheet
 * @param {Scene} scene
 */
export function draw(sheet, scene) {
  const { pen, width, height, ratio, inks } = sheet;
  pen.setTransform(ratio, 0, 0, ratio, 0, 0);
  pen.clearRect(0, 0, width, height);
  pen.font = FONT;
  pen.lineJoin = "bevel";
  const foot = height - RULER;
  const x = place(scene.view, width);
  ruler(sheet, scene, x);
  const many = scene.over ? 1 : scene.lanes.length;
  const names = scene.over ? NAME * scene.lanes.length : NAME;
  /** @type {Box[]} */
  const boxes = scene.lanes.map((_, number) => {
    const top = scene.over ? 0 : (number * foot) / many;
    return { top: top + names, height: foot / many - names, width };
  });
  scene.lanes.forEach((lane, number) => {
    const box = boxes[number];
    if (!box) return;
    if (number === 0 || !scene.over) rules(sheet, box);
    wave(sheet, box, lane, scene, x);
    gaps(sheet, box, lane, scene.over ? number : 0);
    named(sheet, lane, scene.over ? number * NAME : box.top - NAME);
  });
  // words last: no wave is drawn over them
  scene.lanes.forEach((lane, number) => {
    const box = boxes[number];
    if (lane.words && box) aside(sheet, lane.words, box, scene.over ? number : 0.5);
  });
  const last = boxes.length - 1;
  for (const mark of scene.marks) marked(sheet, mark, boxes[mark.filled ? 0 : last], foot, x);
  if (scene.cursor !== null) {
    const at = x(scene.cursor);
    line(sheet, at, 0, at, height, inks.margin, 1);
  }
}

/**
 * Where lead positions lie.
 * @param {View} view
 * @param {number} width
 * @returns {(at: number) => number}
 */
export function place(view, width) {
  const scale = width / (view.to - view.from);
  return (at) => (at - view.from) * scale;
}

/**
 * @param {Sheet} sheet @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2 @param {string} ink
 * @param {number} thick @param {number[]} [dash]
 */
function line({ pen }, x1, y1, x2, y2, ink, thick, dash = []) {
  pen.beginPath();
  pen.setLineDash(dash);
  pen.moveTo(x1, y1);
  pen.lineTo(x2, y2);
  pen.strokeStyle = ink;
  pen.lineWidth = thick;
  pen.stroke();
  pen.setLineDash([]);
}

/**
 * Words on paper of their own, so that they can be read over lines.
 * @param {Sheet} sheet @param {string} words @param {number} x @param {number} y their base line @param {CanvasTextAlign} align
 * @param {string} ink
 */
function written({ pen, inks }, words, x, y, align, ink) {
  const wide = pen.measureText(words).width;
  const left = align === "left" ? x : align === "right" ? x - wide : x - wide / 2;
  pen.fillStyle = inks.paper;
  pen.fillRect(left - 3, y - 12, wide + 6, 16);
  pen.fillStyle = ink;
  pen.textAlign = "left";
  pen.fillText(words, left, y);
}

/** The colours of a page. @param {Element} element @returns {Inks} */
export function inksOf(element) {
  const style = getComputedStyle(element);
  const ink = (/** @type {string} */ name) => style.getPropertyValue(name).trim();
  const [paper, rule, margin] = [ink("--paper"), ink("--rule"), ink("--margin")];
  return { ink: ink("--ink"), soft: ink("--soft"), second: ink("--second"), paper, rule, margin };
}

/** The picture in words. @param {Pick<Scene, "view" | "rate" | "lanes">} scene @returns {string} */
export function inWords({ view, rate, lanes }) {
  const each = lanes.map(({ name, words, peak, gain, columns }) => {
    const gap = columns.state.includes(GAP) ? ", with stretches where nothing was recorded" : "";
    const sketch = columns.state.includes(SKETCH) ? ", still being read" : "";
    return `${name}: ${words || `peak ${decibels(peak)}, drawn ${gain} times as high${gap}${sketch}`}`;
  });
  return `Waves from ${time(view.from / rate, 0.001)} to ${time(view.to / rate, 0.001)}. ${each.join(". ")}.`;
}

// ---- the measuring scale

/** @param {Sheet} sheet @param {Scene} scene @param {(at: number) => number} x */
function ruler(sheet, scene, x) {
  const { pen, width, height, inks } = sheet;
  const top = height - RULER;
  const { view, rate } = scene;
  const room = (/** @type {string} */ label) => Math.max(2, Math.floor(width / (pen.measureText(label).width + 18)));
  // how long the labels are depends on the step, and the step on how long they are
  const widest = (/** @type {number} */ step) => {
    const labels = timeTicks({ from: view.to - step * rate, to: view.to }, rate, step).map((tick) => tick.label);
    return labels.find((label) => label !== "") ?? "0:00";
  };
  const step = timeStep(view, rate, room(widest(timeStep(view, rate, room("0:00.00")))));
  const times = timeTicks(view, rate, step);
  const fine = (view.to - view.from) / rate <= WITH_SAMPLES;
  // fine lines over the whole page where the long strokes stand
  pen.beginPath();
  for (const tick of times) {
    if (tick.label === "") continue;
    pen.moveTo(x(tick.at), 0);
    pen.lineTo(x(tick.at), top);
  }
  pen.strokeStyle = inks.rule;
  pen.lineWidth = 0.6;
  pen.stroke();
  strokes(sheet, times, x, top, 1);
  const first = fine ? "time" : `time from ${scene.lead}'s start`;
  if (fine) {
    labels(sheet, times, x, top + 19, caption(sheet, first, top + 19));
    const samples = sampleTicks(view, room(String(-Math.round(view.to))));
    strokes(sheet, samples, x, height, -1);
    const dots = x(view.from + 1) > DOTS ? "sample: a dot each" : "sample";
    labels(sheet, samples, x, height - 10, caption(sheet, dots, height - 10));
  } else {
    labels(sheet, times, x, top + 20, 0);
    caption(sheet, first, top + 37);
  }
  line(sheet, 0, top, width, top, inks.ink, 1);
}

/** What a row of numbers counts, at its beginning. @param {Sheet} sheet @param {string} words @param {number} y */
function caption({ pen, inks }, words, y) {
  pen.fillStyle = inks.soft;
  pen.textAlign = "left";
  pen.font = `italic ${FONT}`;
  pen.fillText(words, 6, y);
  const end = 6 + pen.measureText(words).width;
  pen.font = FONT;
  return end;
}

/**
 * @param {Sheet} sheet @param {import("./scale.js").Tick[]} ticks @param {(at: number) => number} x @param {number} edge
 * @param {1 | -1} way down from the edge, or up
 */
function strokes({ pen, inks, width }, ticks, x, edge, way) {
  // short ones only where there is room for all
  const short = ticks.length * 5 < width;
  pen.beginPath();
  for (const tick of ticks) {
    if (tick.label === "" && !short) continue;
    pen.moveTo(x(tick.at), edge);
    pen.lineTo(x(tick.at), edge + way * (tick.label === "" ? 4 : 8));
  }
  pen.strokeStyle = inks.ink;
  pen.lineWidth = 1;
  pen.stroke();
}

/**
 * @param {Sheet} sheet @param {import("./scale.js").Tick[]} ticks @param {(at: number) => number} x @param {number} y
 * @param {number} after nothing is written left of it
 */
function labels({ pen, inks, width }, ticks, x, y, after) {
  pen.fillStyle = inks.ink;
  pen.textAlign = "center";
  for (const tick of ticks) {
    if (tick.label === "") continue;
    const half = pen.measureText(tick.label).width / 2;
    const at = x(tick.at);
    if (at - half > after + 8 && at + half < width - 2) pen.fillText(tick.label, at, y);
  }
}

// ---- waves

/** The rest line and the edges of a lane. @param {Sheet} sheet @param {Box} box */
function rules(sheet, box) {
  const y = box.top + box.height / 2;
  if (box.top > 2 * NAME) line(sheet, 0, box.top - NAME, box.width, box.top - NAME, sheet.inks.soft, 1);
  line(sheet, 0, y, box.width, y, sheet.inks.soft, 0.6, [1, 5]);
}

/** @param {Sheet} sheet @param {Box} box @param {Lane} lane @param {Scene} scene @param {(at: number) => number} x */
function wave(sheet, box, lane, scene, x) {
  const { pen } = sheet;
  if (lane.line.length === 0) {
    printed(sheet, box, lane, scene.over);
    return;
  }
  const middle = box.top + box.height / 2;
  const half = Math.max(1, box.height / 2 - 4);
  pen.save();
  pen.beginPath();
  pen.rect(0, box.top, box.width, box.height);
  pen.clip();
  single(sheet, lane, scene, x, (value) => middle - half * Math.max(-1, Math.min(1, value * lane.gain)));
  pen.restore();
}

/** What columns are printed on before they are laid on the page, and its pixels. */
const plate = document.createElement("canvas");
const press = plate.getContext("2d", { willReadFrequently: true });
let block = new ImageData(1, 1);
/** @type {Map<string, number>} */
const known = new Map();

/** A colour as a pixel of the plate has it. @param {string} colour @returns {number} */
function pixelOf(colour) {
  const own = known.get(colour);
  if (own !== undefined || !press) return own ?? 0;
  press.fillStyle = colour;
  press.fillRect(0, 0, 1, 1);
  const pixel = new Uint32Array(press.getImageData(0, 0, 1, 1).data.buffer)[0] ?? 0;
  known.set(colour, pixel);
  return pixel;
}

/**
 * Columns, pixel by pixel: paths of so many corners are too slow to fill. The lead is full; the follower has edges and slanting
 * strokes between them, which stand on strokes of paper where it lies over the lead; of a sketch every other pixel is left out.
 * @param {Sheet} sheet @param {Box} box @param {Lane} lane @param {boolean} over
 */
function printed({ pen, ratio, inks }, box, lane, over) {
  const { least, most, state } = lane.columns;
  const wide = state.length;
  const high = Math.max(1, Math.floor(box.height * ratio));
  if (!press) return;
  if (plate.width !== wide || plate.height !== high) {
    plate.width = wide;
    plate.height = high;
  }
  const [ink, paper] = [pixelOf(lane.filled ? inks.ink : inks.second), pixelOf(inks.paper)];
  if (block.width !== wide || block.height !== high) block = new ImageData(wide, high);
  const pixels = new Uint32Array(block.data.buffer).fill(0);
  const middle = high / 2;
  const half = Math.max(1, middle - 4 * ratio);
  const row = (/** @type {number} */ value) => Math.round(middle - half * Math.max(-1, Math.min(1, value * lane.gain)) - 0.5);
  const thick = Math.max(1, Math.round(ratio));
  const apart = Math.round((over ? 7 : 5) * ratio);
  const tops = new Int32Array(wide).fill(-1);
  const feet = new Int32Array(wide).fill(-1);
  for (let i = 0; i < wide; i += 1) {
    if (/** @type {number} */ (state[i]) < SOUND) continue;
    const [top, foot] = [row(/** @type {number} */ (most[i])), row(/** @type {number} */ (least[i])) + thick];
    const before = i > 0 && /** @type {number} */ (tops[i - 1]) >= 0;
    // a steep slope does not come apart
    tops[i] = before ? Math.min(top, /** @type {number} */ (feet[i - 1])) : top;
    feet[i] = before ? Math.max(foot, /** @type {number} */ (tops[i - 1])) : foot;
  }
  for (let i = 0; i < wide; i += 1) {
    const [top, foot] = [/** @type {number} */ (tops[i]), Math.min(high, /** @type {number} */ (feet[i]))];
    if (top < 0) continue;
    const dotted = state[i] === SKETCH;
    // an edge reaches as far as those beside it, so that it is one line
    const [left, right] = [Math.max(0, i - 1), Math.min(wide - 1, i + 1)];
    const roof = Math.max(top + thick, /** @type {number} */ (tops[left]), /** @type {number} */ (tops[right]));
    const beside = [feet[left], feet[right]].map((one) => (/** @type {number} */ (one) < 0 ? foot : /** @type {number} */ (one)));
    const floor = Math.min(foot - thick, ...beside);
    const margin = over && !lane.filled ? 2 * thick : 0;
    for (let y = Math.max(0, top - margin); y < Math.min(high, foot + margin); y += 1) {
      if (dotted && (i + y) % (2 * thick) < thick) continue;
      const outside = y < top || y >= foot;
      const slant = (i + y) % apart;
      if (outside) pixels[y * wide + i] = paper;
      else if (lane.filled || y < roof || y >= floor || slant < thick) pixels[y * wide + i] = ink;
      else if (over && (slant < 2 * thick || slant >= apart - thick)) pixels[y * wide + i] = paper;
    }
  }
  press.putImageData(block, 0, 0);
  pen.save();
  pen.setTransform(1, 0, 0, 1, 0, 0);
  pen.drawImage(plate, 0, Math.round(box.top * ratio));
  pen.restore();
}

/**
 * Single samples: straight lines from each to the next, and dots where there is room. The follower's line is dashed, its
 * dots are open; where it lies over the lead's and is dense, it is hollow.
 * @param {Sheet} sheet @param {Lane} lane @param {Scene} scene @param {(at: number) => number} x @param {(value: number) => number} y
 */
function single(sheet, lane, { view, over }, x, y) {
  const { pen, inks } = sheet;
  const apart = x(view.from + 1);
  const ink = lane.filled ? inks.ink : inks.second;
  const each = (/** @type {(at: number, value: number) => void} */ does) => {
    for (const tile of lane.line) {
      const first = Math.max(0, Math.floor(view.from - tile.from) - 1);
      const end = Math.min(tile.values.length, Math.ceil(view.to - tile.from) + 2);
      for (let i = first; i < end; i += 1) does(tile.from + i, /** @type {number} */ (tile.values[i]));
    }
  };
  pen.beginPath();
  let drawn = false;
  each((at, value) => {
    if (Number.isNaN(value)) drawn = false;
    else if (drawn) pen.lineTo(x(at), y(value));
    else {
      pen.moveTo(x(at), y(value));
      drawn = true;
    }
  });
  const strokes = (/** @type {[string, number][]} */ all) => {
    for (const [of, thick] of all) {
      pen.strokeStyle = of;
      pen.lineWidth = thick;
      pen.stroke();
    }
  };
  if (lane.filled) strokes([[ink, 1.4]]);
  else if (over && apart <= 2) strokes([[inks.paper, 5.5], [ink, 3.4], [inks.paper, 1.4]]);
  else {
    if (over) strokes([[inks.paper, 3.5]]);
    pen.setLineDash(apart <= 2 ? [] : [6, 3]);
    strokes([[ink, 1.4]]);
    pen.setLineDash([]);
  }
  if (apart <= DOTS) return;
  const round = Math.min(4, Math.max(2, apart / 6));
  pen.beginPath();
  each((at, value) => {
    if (Number.isNaN(value)) return;
    pen.moveTo(x(at) + round, y(value));
    pen.arc(x(at), y(value), round, 0, 2 * Math.PI);
  });
  pen.fillStyle = lane.filled ? ink : inks.paper;
  pen.fill();
  pen.stroke();
}

/** Brackets where nothing was recorded. @param {Sheet} sheet @param {Box} box @param {Lane} lane @param {number} row */
function gaps(sheet, box, { columns: { state }, words }, row) {
  const { pen, inks, ratio } = sheet;
  const y = box.top + box.height / 2 + 26 * row;
  for (let i = 0; i < state.length; i += 1) {
    if (state[i] !== GAP) continue;
    const left = i / ratio;
    while (i < state.length && state[i] === GAP) i += 1;
    const right = i / ratio;
    pen.beginPath();
    pen.moveTo(left + 0.5, y - 9);
    pen.lineTo(left + 0.5, y + 9);
    pen.moveTo(left, y);
    pen.lineTo(right, y);
    pen.moveTo(right - 0.5, y - 9);
    pen.lineTo(right - 0.5, y + 9);
    pen.strokeStyle = inks.soft;
    pen.lineWidth = 1;
    pen.stroke();
    if (right - left > 130 && !words) written(sheet, "nothing recorded", (left + right) / 2, y + 4, "center", inks.soft);
  }
}

/**
 * Whose wave it is, how far it is magnified and its peak: lanes may differ in that, and it is never hidden.
 * @param {Sheet} sheet @param {Lane} lane @param {number} top
 */
function named(sheet, lane, top) {
  const { pen, inks, width } = sheet;
  const y = top + 14;
  const sketch = lane.columns.state.includes(SKETCH) ? "a sketch, still being read · " : "";
  const level = lane.peak > 0 || lane.columns.state.includes(SOUND) ? `peak ${decibels(lane.peak)} · ×${lane.gain}` : "";
  const right = cut(pen, sketch + level, width - 60);
  const room = width - pen.measureText(right).width - 44;
  pen.fillStyle = lane.filled ? inks.ink : inks.paper;
  pen.fillRect(6, top + 5, 16, 10);
  pen.strokeStyle = lane.filled ? inks.ink : inks.second;
  pen.lineWidth = 1;
  pen.strokeRect(6.5, top + 5.5, 15, 9);
  pen.beginPath();
  for (let at = 7; at < 16; at += 4) {
    pen.moveTo(at, top + 14);
    pen.lineTo(at + 7, top + 6);
  }
  pen.stroke();
  written(sheet, cut(pen, lane.name, room), 28, y, "left", inks.ink);
  if (right) written(sheet, right, width - 6, y, "right", inks.soft);
}

/** Words that fit, or their beginning. @param {CanvasRenderingContext2D} pen @param {string} words @param {number} room */
function cut(pen, words, room) {
  if (pen.measureText(words).width <= room) return words;
  let end = words.length;
  while (end > 1 && pen.measureText(`${words.slice(0, end)}…`).width > room) end -= 1;
  return `${words.slice(0, end)}…`;
}

/**
 * What stands in place of a wave, in up to three lines.
 * @param {Sheet} sheet @param {string} words @param {Box} box @param {number} where
 */
function aside(sheet, words, box, where) {
  const { pen, inks, width } = sheet;
  /** @type {string[]} */
  const lines = [""];
  for (const word of words.split(/\s+/)) {
    const longer = `${lines.at(-1)} ${word}`.trim();
    if (pen.measureText(longer).width <= width - 40) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  const shown = lines.filter((one) => one !== "").slice(0, 3);
  const y = box.top + box.height * (0.25 + 0.5 * where) - 8 * shown.length + 8;
  shown.forEach((one, number) => written(sheet, cut(pen, one, width - 20), width / 2, y + 16 * number, "center", inks.ink));
}

/**
 * The lead's instant is a full triangle from above, the follower's an open one from below.
 * @param {Sheet} sheet @param {Marked} mark @param {Box | undefined} box @param {number} foot @param {(at: number) => number} x
 */
function marked(sheet, mark, box, foot, x) {
  const { pen, inks, width } = sheet;
  const at = x(mark.at);
  if (!box || at < -8 || at > width + 8) return;
  const [base, tip] = mark.filled ? [box.top, box.top + 12] : [box.top + box.height, box.top + box.height - 12];
  line(sheet, at, 0, at, foot, mark.filled ? inks.ink : inks.second, 1, mark.filled ? [6, 3] : [2, 3]);
  pen.beginPath();
  pen.moveTo(at, tip);
  pen.lineTo(at - 7, base);
  pen.lineTo(at + 7, base);
  pen.closePath();
  pen.fillStyle = mark.filled ? inks.ink : inks.paper;
  pen.strokeStyle = mark.filled ? inks.ink : inks.second;
  pen.lineWidth = 1.4;
  pen.fill();
  pen.stroke();
  const before = at + pen.measureText(mark.words).width + 16 > width;
  written(sheet, mark.words, at + (before ? -12 : 12), mark.filled ? base + 12 : base - 4, before ? "right" : "left", inks.ink);
}
