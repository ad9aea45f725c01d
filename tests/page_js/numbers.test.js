import assert from 'node:assert/strict';
import { beforeEach, test } from 'node:test';
import { numberOf, openNumbers, renamedTo, takeName } from '../../finishmatch/page/static/numbers.js';

const draft = (...names) => ({ photo: [{ file: 'p', part: names.map((name) => ({ name })) }] });
const kept = new Map();
globalThis.sessionStorage = { getItem: (key) => kept.get(key) ?? null, setItem: (key, value) => kept.set(key, value) };

beforeEach(() => {
  kept.clear();
  openNumbers('b.toml', draft('handle', 'plate'));
});

test('parts are numbered in the order of the file', () => {
  assert.deepEqual(['handle', 'plate'].map(numberOf), [1, 2]);
});

test('a new part takes a number that none ever had, and the name of that number', () => {
  assert.equal(takeName(), 'part 3');
  assert.equal(takeName(), 'part 4');
  assert.equal(numberOf('part 4'), 4);
});

test('a part that is renamed keeps its number, and its old name is not given again', () => {
  renamedTo(takeName(), 'hinge');
  assert.equal(numberOf('hinge'), 3);
  assert.equal(takeName(), 'part 4');
});

test('a part that joins another takes its number', () => {
  renamedTo(takeName(), 'plate');
  assert.equal(numberOf('plate'), 2);
});

test('numbers stay when the page is loaded again, although a part is gone', () => {
  renamedTo(takeName(), 'hinge');
  openNumbers('b.toml', draft('plate', 'hinge'));
  assert.deepEqual(['plate', 'hinge'].map(numberOf), [2, 3]);
  openNumbers('other.toml', draft('hinge'));
  assert.equal(numberOf('hinge'), 1);
});
