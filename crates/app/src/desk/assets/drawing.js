// Values of lead and follower in, lines on a canvas out: a ruled lane each, or both in one. Solid ink is the lead, an outline the
// follower; what was not recorded is a broken rule.

import { magnified, ticks } from "./scale.js";

/** @typedef {import("./scale.js").View} View */
/** @typedef {{ kind: "samples" | "extremes" | "sketch", from: number, to: number, values: Float32Array }} Heard */
/** @typedef {{ name: string, heard: Heard[], filled: boolean }} Lane */
/** @typedef {{ ink: string, soft: string, rule: string, second: string, paper: string, margin: string }} Inks */
/** @typedef {{ at: number, name: string, filled: boolean }} Marked */
/**
 * @typedef {{ view: View, rate: number, lanes: Lane[], over: boolean, cursor: number | null, marks: Marked[], words: string }} Scene
 */

/** Height of the ruler, pixels. */
export const RULER = 26;
const FONT = '12px ui-sans-serif, "Noto Sans", "DejaVu Sans", sans-serif';

/**
 * Draws all of it. Sizes are those of the page, whatever the screen's own pixels.
 * @param {CanvasRenderingContext2D} pen
 * @param {{ width: number, height: number }} size
 * @param {Scene} scene
 * @param {Inks} inks
 */
export function draw(pen, size, scene, inks) {
  pen.clearRect(0, 0, size.width, size.height);
  pen.font = FONT;
  const height = size.height - RULER;
  const x = place(scene.view, size.width);
  ruler(pen, size, scene, inks, x);
  const lanes = scene.over ? 1 : scene.lanes.length;
  scene.lanes.forEach((lane, number) => {
    const top = scene.over ? 0 : (number * height) / lanes;
    const box = { top, height: height / lanes, width: size.width };
    const gain = magnified(peak(lane.heard, scene.view));
    middle(pen, box, inks);
    wave(pen, box, lane, gain, inks, x);
    label(pen, box, lane, gain, inks, scene.over ? number : 0);
  });
  if (lanes > 1) line(pen, 0, height / lanes, size.width, height / lanes, inks.rule, 1);
  for (const mark of scene.marks) marked(pen, height, mark, inks, x);
  if (scene.cursor !== null) line(pen, x(scene.cursor), 0, x(scene.cursor), height, inks.margin, 1);
  if (scene.words) {
    pen.fillStyle = inks.soft;
    pen.textAlign = "center";
    pen.fillText(scene.words, size.width / 2, height / 2 - 8);
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
 * The largest value that is seen.
 * @param {Heard[]} heard
 * @param {View} view
 */
export function peak(heard, view) {
  let most = 0;
  for (const part of heard) {
    const per = part.kind === "samples" ? 1 : 2;
    const step = (part.to - part.from) / (part.values.length / per);
    const first = Math.max(0, Math.floor((view.from - part.from) / step)) * per;
    const end = Math.min(part.values.length, Math.ceil((view.to - part.from) / step) * per);
    for (let i = first; i < end; i += 1) {
      const value = Math.abs(part.values[i] ?? 0);
      if (value > most) most = value;
    }
  }
  return most;
}

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {number} x1 @param {number} y1 @param {number} x2 @param {number} y2
 * @param {string} ink @param {number} width @param {number[]} [dash]
 */
function line(pen, x1, y1, x2, y2, ink, width, dash = []) {
  pen.beginPath();
  pen.setLineDash(dash);
  pen.moveTo(x1, y1);
  pen.lineTo(x2, y2);
  pen.strokeStyle = ink;
  pen.lineWidth = width;
  pen.stroke();
  pen.setLineDash([]);
}

/**
 * @param {CanvasRenderingContext2D} pen
 * @param {{ width: number, height: number }} size
 * @param {Scene} scene @param {Inks} inks @param {(at: number) => number} x
 */
function ruler(pen, size, scene, inks, x) {
  const top = size.height - RULER;
  pen.textAlign = "center";
  for (const tick of ticks(scene.view, scene.rate, Math.max(2, Math.floor(size.width / 90)))) {
    const at = x(tick.at);
    line(pen, at, 0, at, top + 6, inks.rule, 0.6);
    pen.fillStyle = inks.ink;
    if (at > 24 && at < size.width - 24) pen.fillText(tick.label, at, size.height - 6);
  }
  line(pen, 0, top, size.width, top, inks.ink, 1);
}

/** @typedef {{ top: number, height: number, width: number }} Box */

/** @param {CanvasRenderingContext2D} pen @param {Box} box @param {Inks} inks */
function middle(pen, box, inks) {
  const y = box.top + box.height / 2;
  line(pen, 0, y, box.width, y, inks.soft, 0.6, [1, 5]);
}

/**
 * @param {CanvasRenderingContext2D} pen @param {Box} box @param {Lane} lane @param {number} gain @param {Inks} inks
 * @param {(at: number) => number} x
 */
function wave(pen, box, lane, gain, inks, x) {
  const y = (/** @type {number} */ value) => {
    const within = Math.max(-1, Math.min(1, value * gain));
    return box.top + (box.height / 2) * (1 - 0.94 * within);
  };
  pen.save();
  pen.beginPath();
  pen.rect(0, box.top, box.width, box.height);
  pen.clip();
  for (const part of lane.heard) {
    if (part.kind === "samples") single(pen, box, part, lane, inks, x, y);
    else extremes(pen, box, part, lane, inks, x, y);
  }
  pen.restore();
}

/**
 * One path: down along the greatest, back along the least.
 * @param {CanvasRenderingContext2D} pen @param {Box} box @param {Heard} part @param {Lane} lane @param {Inks} inks
 * @param {(at: number) => number} x @param {(value: number) => number} y
 */
function extremes(pen, box, part, lane, inks, x, y) {
  const columns = part.values.length / 2;
  const step = (part.to - part.from) / columns;
  const left = x(part.from);
  const wide = x(part.from + step) - left;
  const first = Math.max(0, Math.floor(-left / wide));
  const end = Math.min(columns, Math.ceil((box.width - left) / wide));
  pen.beginPath();
  let run = -1;
  const close = (/** @type {number} */ until) => {
    for (let i = until - 1; i >= run; i -= 1) {
      const low = y(part.values[2 * i] ?? 0) + 0.5;
      pen.lineTo(left + (i + 1) * wide, low);
      pen.lineTo(left + i * wide, low);
    }
    pen.closePath();
    run = -1;
  };
  for (let i = first; i < end; i += 1) {
    const most = part.values[2 * i + 1] ?? Number.NaN;
    if (Number.isNaN(most)) {
      if (run >= 0) close(i);
      continue;
    }
    const high = y(most) - 0.5;
    if (run < 0) {
      run = i;
      pen.moveTo(left + i * wide, high);
    }
    pen.lineTo(left + i * wide, high);
    pen.lineTo(left + (i + 1) * wide, high);
  }
  if (run >= 0) close(end);
  pen.globalAlpha = part.kind === "sketch" ? 0.5 : 1;
  if (lane.filled) {
    pen.fillStyle = inks.ink;
    pen.fill();
  } else {
    pen.strokeStyle = inks.second;
    pen.lineWidth = 1;
    pen.stroke();
  }
  pen.globalAlpha = 1;
}

/**
 * Single samples: a line through them, and dots where there is room.
 * @param {CanvasRenderingContext2D} pen @param {Box} box @param {Heard} part @param {Lane} lane @param {Inks} inks
 * @param {(at: number) => number} x @param {(value: number) => number} y
 */
function single(pen, box, part, lane, inks, x, y) {
  const apart = x(part.from + 1) - x(part.from);
  const first = Math.max(0, Math.floor(-x(part.from) / apart) - 1);
  const end = Math.min(part.values.length, Math.ceil((box.width - x(part.from)) / apart) + 1);
  const ink = lane.filled ? inks.ink : inks.second;
  pen.beginPath();
  let drawn = false;
  for (let i = first; i < end; i += 1) {
    const value = part.values[i] ?? Number.NaN;
    if (Number.isNaN(value)) {
      drawn = false;
      continue;
    }
    if (drawn) pen.lineTo(x(part.from + i), y(value));
    else pen.moveTo(x(part.from + i), y(value));
    drawn = true;
  }
  pen.strokeStyle = ink;
  pen.lineWidth = lane.filled ? 1.4 : 1.2;
  pen.setLineDash(lane.filled ? [] : [5, 2]);
  pen.stroke();
  pen.setLineDash([]);
  if (apart < 6) return;
  for (let i = first; i < end; i += 1) {
    const value = part.values[i] ?? Number.NaN;
    if (Number.isNaN(value)) continue;
    pen.beginPath();
    pen.arc(x(part.from + i), y(value), 2.6, 0, 2 * Math.PI);
    pen.fillStyle = lane.filled ? ink : inks.paper;
    pen.fill();
    pen.lineWidth = 1.2;
    pen.stroke();
  }
}

/**
 * Name, magnification and peak in the corner: lanes may differ in what they are magnified by, and that is never hidden.
 * @param {CanvasRenderingContext2D} pen @param {Box} box @param {Lane} lane @param {number} gain @param {Inks} inks
 * @param {number} row
 */
function label(pen, box, lane, gain, inks, row) {
  const words = `${lane.filled ? "■" : "□"} ${lane.name}${gain > 1 ? `, magnified ${gain} times` : ""}`;
  pen.textAlign = "left";
  const wide = pen.measureText(words).width;
  const y = box.top + 15 + 17 * row;
  pen.globalAlpha = 0.85;
  pen.fillStyle = inks.paper;
  pen.fillRect(4, y - 12, wide + 8, 16);
  pen.globalAlpha = 1;
  pen.fillStyle = inks.ink;
  pen.fillText(words, 8, y);
}

/**
 * A triangle at the top for the lead's instant, at the bottom for the follower's.
 * @param {CanvasRenderingContext2D} pen @param {number} height @param {Marked} mark @param {Inks} inks
 * @param {(at: number) => number} x
 */
function marked(pen, height, mark, inks, x) {
  const at = x(mark.at);
  const [tip, base] = mark.filled ? [12, 0] : [height - 12, height];
  line(pen, at, 0, at, height, inks.second, 1, [2, 3]);
  pen.beginPath();
  pen.moveTo(at, tip);
  pen.lineTo(at - 6, base);
  pen.lineTo(at + 6, base);
  pen.closePath();
  pen.strokeStyle = inks.ink;
  pen.lineWidth = 1.2;
  pen.fillStyle = mark.filled ? inks.ink : inks.paper;
  pen.fill();
  pen.stroke();
  pen.fillStyle = inks.ink;
  pen.textAlign = at > 80 ? "right" : "left";
  pen.fillText(mark.name, at + (at > 80 ? -9 : 9), mark.filled ? 12 : height - 3);
}
