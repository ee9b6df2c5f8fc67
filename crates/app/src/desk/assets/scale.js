// Numbers in, steps, labels and views out: the arithmetic of the seam's ruler. No document, no drawing.

/** @typedef {{ from: number, to: number }} View Lead positions, samples; `to` is the first that is not shown. */

/** Samples of the closest view. */
export const CLOSEST = 32;

/**
 * A view within the take, no closer than the closest, whole where single samples are seen.
 * @param {View} view
 * @param {View} all
 * @returns {View}
 */
export function within(view, all) {
  const whole = all.to - all.from;
  const length = Math.min(Math.max(view.to - view.from, CLOSEST), Math.max(whole, CLOSEST));
  const last = Math.max(all.from, all.to - length);
  const from = Math.min(Math.max(view.from, all.from), last);
  return { from, to: from + length };
}

/**
 * Closer (below 1) or wider (above 1) about a position that keeps its place.
 * @param {View} view
 * @param {number} by
 * @param {number} about
 * @returns {View}
 */
export function zoomed(view, by, about) {
  return { from: about - (about - view.from) * by, to: about + (view.to - about) * by };
}

/**
 * Later by a number of samples.
 * @param {View} view
 * @param {number} by
 * @returns {View}
 */
export function moved(view, by) {
  return { from: view.from + by, to: view.to + by };
}

/** Steps of time that are easily read, seconds. */
const TIMES = [
  1e-4, 2e-4, 5e-4, 1e-3, 2e-3, 5e-3, 0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 15, 30, 60, 120, 300, 600, 900, 1800, 3600,
  7200, 14400,
];

/**
 * Positions and labels of a ruler: time, or samples where the view is that close.
 * @param {View} view
 * @param {number} rate
 * @param {number} most how many at most
 * @returns {{ at: number, label: string }[]}
 */
export function ticks(view, rate, most) {
  const length = view.to - view.from;
  if (length <= 0.002 * rate) return sampleTicks(view, most);
  const step = TIMES.find((time) => (time * rate * most) >= length) ?? 14400;
  const found = [];
  for (let n = Math.ceil(view.from / rate / step); n * step * rate < view.to; n += 1) {
    found.push({ at: n * step * rate, label: time(n * step, step) });
  }
  return found;
}

/**
 * @param {View} view
 * @param {number} most
 * @returns {{ at: number, label: string }[]}
 */
function sampleTicks(view, most) {
  const wanted = (view.to - view.from) / most;
  const ten = 10 ** Math.floor(Math.log10(Math.max(wanted, 1)));
  const step = [1, 2, 5, 10].map((m) => m * ten).find((s) => s >= wanted) ?? 10 * ten;
  const found = [];
  for (let n = Math.ceil(view.from / step); n * step < view.to; n += 1) {
    found.push({ at: n * step, label: String(n * step) });
  }
  return found;
}

/**
 * A time as it is read on a ruler: `12:05`, `1:02:30`, `12:05.250`.
 * @param {number} seconds
 * @param {number} step how fine it must be
 * @returns {string}
 */
export function time(seconds, step) {
  const decimals = step >= 1 ? 0 : Math.min(6, Math.ceil(-Math.log10(step) - 1e-9));
  const sign = seconds < 0 ? "−" : "";
  const rounded = Number(Math.abs(seconds).toFixed(decimals));
  const hours = Math.floor(rounded / 3600);
  const minutes = Math.floor((rounded % 3600) / 60);
  const rest = (rounded % 60).toFixed(decimals).padStart(decimals > 0 ? decimals + 3 : 2, "0");
  const two = String(minutes).padStart(2, "0");
  return hours > 0 ? `${sign}${hours}:${two}:${rest}` : `${sign}${minutes}:${rest}`;
}

/**
 * How wide a view is, in words.
 * @param {number} samples
 * @param {number} rate
 * @returns {string}
 */
export function width(samples, rate) {
  const seconds = samples / rate;
  if (seconds >= 90) return `${(seconds / 60).toFixed(1)} min`;
  if (seconds >= 1) return `${seconds.toFixed(2)} s`;
  if (samples > 200) return `${(1000 * seconds).toFixed(seconds < 0.1 ? 2 : 0)} ms`;
  return `${Math.round(samples)} samples`;
}

/**
 * The gain that brings a peak close to a lane's edge, in steps of two.
 * @param {number} peak
 * @returns {number}
 */
export function magnified(peak) {
  if (!(peak > 0)) return 1;
  return 2 ** Math.max(0, Math.min(12, Math.floor(Math.log2(0.95 / peak))));
}
