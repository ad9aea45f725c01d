import assert from 'node:assert/strict';
import { test } from 'node:test';
import { placed } from '../../finishmatch/page/static/labels.js';

const square = (x, y, side) => [[x, y], [x + side, y], [x + side, y + side], [x, y + side]];
const box = ([x, y], width) => [x - width / 2, y - 10, x + width / 2, y + 10];
const meet = (a, b) => a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3];

test('a large part holds its label', () => {
  const [{ at, line }] = placed([{ points: square(100, 100, 200), width: 30 }], [800, 600]);
  assert.deepEqual(at, [200, 200]);
  assert.equal(line, null);
});

test('the label of a small part covers neither it nor a neighbour nor another label, and a line leads to it', () => {
  const marks = [[300, 300], [345, 300], [300, 345], [345, 345]].map(([x, y]) => ({ points: square(x, y, 30), width: 30 }));
  const found = placed(marks, [800, 600]);
  const labels = found.map(({ at }) => box(at, 30));
  const parts = marks.map(({ points }) => [...points[0], ...points[2]]);
  for (const [i, label] of labels.entries()) {
    assert.ok(!parts.some((part) => meet(part, label)));
    assert.ok(!labels.some((other, k) => k !== i && meet(other, label)));
    const [from, to] = found[i].line;
    assert.ok(marks[i].points.some((point) => point.every((value, axis) => value === from[axis])));
    assert.ok(to[0] >= label[0] && to[0] <= label[2] && to[1] >= label[1] && to[1] <= label[3]);
  }
});

test('a label stays on the stage', () => {
  for (const [x, y] of [[0, 0], [770, 0], [0, 570], [770, 570]]) {
    const [{ at }] = placed([{ points: square(x, y, 30), width: 40 }], [800, 600]);
    const [left, top, right, bottom] = box(at, 40);
    assert.ok(left >= 0 && top >= 0 && right <= 800 && bottom <= 600);
  }
});
