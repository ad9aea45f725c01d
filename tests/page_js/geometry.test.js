// The page's geometry, by cases of which a person knows the answer. Run: node --test tests/page_js

import assert from 'node:assert/strict';
import { test } from 'node:test';

import {
  bounds,
  boxCorners,
  boxOf,
  clamp,
  formPoints,
  inside,
  moved,
  nearestEdge,
  patchQuads,
  tidy,
  toSegment,
} from '../../finishmatch/page/static/geometry.js';

const SQUARE = [[0, 0], [10, 0], [10, 10], [0, 10]];
const near = (found, wanted, off = 1e-9) => found.flat().forEach((value, i) => {
  assert.ok(Math.abs(value - wanted.flat()[i]) <= off, `${found} is not ${wanted}`);
});

test('a number is kept between its bounds and rounded to tenths', () => {
  assert.deepEqual([clamp(-1, 0, 5), clamp(3, 0, 5), clamp(9, 0, 5)], [0, 3, 5]);
  assert.deepEqual([tidy(1.24), tidy(1.26), tidy(-0.04)], [1.2, 1.3, -0]);
});

test('a point is inside a polygon or outside, also of one with a notch', () => {
  assert.equal(inside([5, 5], SQUARE), true);
  assert.equal(inside([11, 5], SQUARE), false);
  assert.equal(inside([5, -1], SQUARE), false);
  const notched = [[0, 0], [10, 0], [10, 10], [5, 2], [0, 10]];
  assert.equal(inside([5, 6], notched), false);
  assert.equal(inside([1, 6], notched), true);
});

test('the distance to an edge ends at the ends of the edge', () => {
  assert.equal(toSegment([5, 3], [0, 0], [10, 0]), 3);
  assert.equal(toSegment([13, 4], [0, 0], [10, 0]), 5);
  assert.equal(toSegment([-3, -4], [0, 0], [10, 0]), 5);
  assert.equal(toSegment([3, 4], [0, 0], [0, 0]), 5); // an edge without length is a point
});

test('the nearest edge is told by its first end, the last one closing the polygon', () => {
  assert.deepEqual(nearestEdge([5, 1], SQUARE), { index: 0, distance: 1 });
  assert.deepEqual(nearestEdge([8, 5], SQUARE), { index: 1, distance: 2 });
  assert.deepEqual(nearestEdge([1, 5], SQUARE), { index: 3, distance: 1 });
});

test('a box is its pixels: its corners are the outermost pixels, and two corners make it again', () => {
  assert.deepEqual(boxCorners([2, 3, 4, 5]), [[2, 3], [5, 3], [5, 7], [2, 7]]);
  assert.deepEqual(boxOf([5, 7], [2, 3]), [2, 3, 4, 5]);
  assert.deepEqual(boxOf([2, 2], [2, 2]), [2, 2, 1, 1]);
  assert.deepEqual(formPoints({ box: [2, 3, 4, 5] }), boxCorners([2, 3, 4, 5]));
  assert.deepEqual(formPoints({ outline: SQUARE }), SQUARE);
  assert.deepEqual(formPoints({ mask: 'x' }), []);
});

test('what is moved stays in the picture and keeps its shape', () => {
  assert.deepEqual(bounds([[3, 9], [1, 4], [7, 5]]), [1, 4, 7, 9]);
  const size = { width: 100, height: 50 };
  assert.deepEqual(moved(SQUARE, 5, 6, size), [[5, 6], [15, 6], [15, 16], [5, 16]]);
  assert.deepEqual(moved(SQUARE, -5, 100, size), [[0, 39], [10, 39], [10, 49], [0, 49]]);
  assert.deepEqual(moved([[90, 0]], 50, 0, size), [[99, 0]]);
});

test('the patches of a chart that is seen straight are squares with gaps between them', () => {
  const corners = [[0, 0], [5.75, 0], [5.75, 3.75], [0, 3.75]];
  const quads = patchQuads(corners, 6, [0, 1, 2, 3], 0.25);
  assert.equal(quads.length, 24);
  near(quads[0], [[0, 0], [0.75, 0], [0.75, 0.75], [0, 0.75]]);
  near(quads[5], [[5, 0], [5.75, 0], [5.75, 0.75], [5, 0.75]]);
  near(quads[23], [[5, 3], [5.75, 3], [5.75, 3.75], [5, 3.75]]);
});

// Where two lines cross, each given by two points.
function crossing([x1, y1], [x2, y2], [x3, y3], [x4, y4]) {
  const whole = (x1 - x2) * (y3 - y4) - (y1 - y2) * (x3 - x4);
  const [one, two] = [x1 * y2 - y1 * x2, x3 * y4 - y3 * x4];
  return [(one * (x3 - x4) - (x1 - x2) * two) / whole, (one * (y3 - y4) - (y1 - y2) * two) / whole];
}

test('of a chart that is seen from aside the middle lies where its diagonals cross', () => {
  const [a, b, c, d] = [[0, 0], [100, 20], [80, 90], [10, 100]];
  near(patchQuads([a, b, c, d], 1, [0], 0)[0], [a, b, c, d], 1e-6);
  near([patchQuads([a, b, c, d], 2, [0, 1], 0)[0][2]], [crossing(a, c, b, d)], 1e-6);
});
