// Two people change one build. Run: node --test tests/page_js

import assert from 'node:assert/strict';
import { test } from 'node:test';

import { merged } from '../../finishmatch/page/static/merge.js';

const BASE = {
  build: { name: 'Cabin', finish: null },
  tolerance: { together: 2.5 },
  photo: [
    { file: 'a', light: 'window', part: [{ name: 'hinge', box: [0, 0, 5, 5] }, { name: 'latch', box: [9, 9, 5, 5] }] },
    { file: 'b', part: [{ name: 'hinge', box: [1, 1, 5, 5] }] },
  ],
  part: [{ name: 'hinge', price: 3 }, { name: 'latch', price: 4 }],
};
const copy = () => structuredClone(BASE);

test('nothing changed by me is what the other has', () => {
  const theirs = copy();
  theirs.build.name = 'Galley';
  assert.equal(merged(BASE, copy(), theirs).build.name, 'Galley');
});

test('what each changed is taken from each', () => {
  const [mine, theirs] = [copy(), copy()];
  mine.photo[0].part[0].box = [7, 7, 7, 7];
  theirs.photo[0].light = 'lamp';
  theirs.part[1].price = 40;
  const found = merged(BASE, mine, theirs);
  assert.deepEqual(found.photo[0].part[0].box, [7, 7, 7, 7]);
  assert.equal(found.photo[0].light, 'lamp');
  assert.deepEqual(found.part.map((part) => part.price), [3, 40]);
});

test('where both changed the same thing mine stays', () => {
  const [mine, theirs] = [copy(), copy()];
  [mine.tolerance.together, theirs.tolerance.together] = [1, 9];
  assert.equal(merged(BASE, mine, theirs).tolerance.together, 1);
});

test('what I took away is gone, and facts of a part that no photo shows go with it', () => {
  const mine = copy();
  mine.photo[0].part.pop();
  const found = merged(BASE, mine, copy());
  assert.deepEqual(found.photo[0].part.map((mark) => mark.name), ['hinge']);
  assert.deepEqual(found.part.map((part) => part.name), ['hinge']);
});

test('what the other took away is gone unless I changed it', () => {
  const theirs = copy();
  theirs.photo.pop();
  assert.deepEqual(merged(BASE, copy(), theirs).photo.map((photo) => photo.file), ['a']);
  const mine = copy();
  mine.photo[1].light = 'lamp';
  assert.deepEqual(merged(BASE, mine, theirs).photo.map((photo) => photo.file), ['a', 'b']);
});

test('what both added is there once each, marks with the photo that they lie in', () => {
  const [mine, theirs] = [copy(), copy()];
  mine.photo.push({ file: 'c', part: [{ name: 'knob', box: [1, 2, 3, 4] }] });
  theirs.photo[1].part.push({ name: 'ring', box: [5, 6, 7, 8] });
  const found = merged(BASE, mine, theirs);
  assert.deepEqual(found.photo.map((photo) => photo.part.map((mark) => mark.name)), [['hinge', 'latch'], ['hinge', 'ring'], ['knob']]);
});

test('a build without anything yet can be merged', () => {
  assert.deepEqual(merged({}, {}, {}), { build: undefined, tolerance: undefined, photo: [], part: [] });
});

test('what both marked under one new name is kept twice, mine under a name of its own', () => {
  const photo = (...part) => ({ photo: [{ file: 'p', card: { kind: 'none' }, part }], part: [] });
  const [mine, theirs] = [[1, 1, 9, 9], [40, 40, 9, 9]].map((box) => ({ name: 'part 1', box }));
  const both = merged(photo(), photo(mine), photo(theirs)).photo[0].part;
  assert.deepEqual(both, [theirs, { ...mine, name: 'part 2' }]);
});

test('sellers of both are kept, and what each said of one', () => {
  const base = { ...copy(), seller: [{ name: 'Corran', shipping: 4 }] };
  const [mine, theirs] = [structuredClone(base), structuredClone(base)];
  mine.seller.push({ name: 'Tarn' });
  theirs.seller[0].returns = true;
  assert.deepEqual(merged(base, mine, theirs).seller, [{ name: 'Corran', shipping: 4, returns: true }, { name: 'Tarn' }]);
});
