// Where a mark's label stands: inside a large part, beside a small one with a line that leads to it.

import { bounds, clamp } from './geometry.js';
import { numberOf } from './numbers.js';
import { setsOf } from './store.js';

const ROOMY_PX = 64; // a part at least this wide and high holds its label
const GAP_PX = 10;
const HEIGHT_PX = 20;

// Each mark's number, with the letter and the dashes of its set once they are known.
export function labelsOf(marks) {
  const sets = setsOf();
  return Object.fromEntries(marks.map(({ name }) => {
    const { letter = '', dashes = '' } = sets[name] ?? {};
    return [name, { words: `${numberOf(name)}${letter && ` ${letter}`}`, dashes }];
  }));
}

const overlap = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];

// Places beside a box, as the label's middle, the likeliest first.
/** @param {number[]} box @param {number} width */
function beside([left, top, right, bottom], width) {
  const [x, y] = [(left + right) / 2, (top + bottom) / 2];
  const [dx, dy] = [GAP_PX + width / 2, GAP_PX + HEIGHT_PX / 2];
  return [[right + dx, top], [left - dx, top], [right + dx, bottom], [left - dx, bottom], [x, top - dy], [x, bottom + dy], [right + dx, y], [left - dx, y]];
}

/** @param {number[]} at @param {number} width */
const around = ([x, y], width) => [x - width / 2, y - HEIGHT_PX / 2, x + width / 2, y + HEIGHT_PX / 2];

// Each mark's label in CSS pixels of the stage: { at, line }, the line leading from the part to the label's edge, or null.
/** @param {{points: number[][], width: number}[]} marks @param {number[]} size */
export function placed(marks, [w, h]) {
  const boxes = marks.map(({ points }) => bounds(points));
  const taken = [];
  return marks.map(({ points, width }, i) => {
    const [left, top, right, bottom] = boxes[i];
    const middle = [(left + right) / 2, (top + bottom) / 2];
    const roomy = right - left >= Math.max(ROOMY_PX, width + 2 * GAP_PX) && bottom - top >= ROOMY_PX;
    const free = (at) => {
      const box = around(at, width);
      const within = box[0] >= 0 && box[1] >= 0 && box[2] <= w && box[3] <= h;
      return within && !taken.some((one) => overlap(one, box)) && !boxes.some((one) => overlap(one, box));
    };
    const at = roomy ? middle : beside(boxes[i], width).find(free) ?? beside(boxes[i], width)[0];
    taken.push(around(at, width));
    return { at, line: roomy ? null : leader(at, width, nearest(at, points)) };
  });
}

/** @param {number[]} at @param {number} width @param {number[]} from */
function leader(at, width, [x, y]) {
  const [left, top, right, bottom] = around(at, width - GAP_PX);
  return [[x, y], [clamp(x, left, right), clamp(y, top, bottom)]];
}

/** @param {number[]} at @param {number[][]} points */
function nearest([x, y], points) {
  /** @param {number[]} point */
  const off = ([px, py]) => Math.hypot(px - x, py - y);
  return points.reduce((best, point) => (off(point) < off(best) ? point : best));
}
