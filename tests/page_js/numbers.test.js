// A part's number is for life. Run: node --test tests/page_js

import assert from 'node:assert/strict';
import { beforeEach, test } from 'node:test';
import { keepNumbers, learnNumbers, numberOf, openNumbers, renamedTo, takeName } from '../../finishmatch/page/static/numbers.js';
import { addMark, removeMark, rename } from '../../finishmatch/page/static/draft.js';

const draft = (...names) => ({ photo: [{ file: 'p', part: names.map((name) => ({ name })) }] });
const numbers = (build) => Object.fromEntries(build.part.map(({ name, number }) => [name, number]));

beforeEach(() => openNumbers(draft('handle', 'plate')));

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

test('numbers stand in the build, so that another device shows the same although parts went and order changed', () => {
  const build = draft('handle', 'plate');
  const name = takeName();
  addMark(build, 'p', { box: [1, 2, 3, 4] }, name);
  keepNumbers(build);
  renamedTo(name, 'hinge');
  rename(build, 'p', name, 'hinge');
  removeMark(build, 'p', 'handle');
  build.photo[0].part.reverse();
  assert.deepEqual(numbers(build), { plate: 2, hinge: 3 });
  openNumbers(build);
  assert.deepEqual(['plate', 'hinge'].map(numberOf), [2, 3]);
  assert.equal(takeName(), 'part 4');
});

test('a number that another page gave meanwhile stays with its part; the one here takes a new one', () => {
  const [mine, theirs] = [draft('handle', 'plate', takeName()), draft('handle', 'plate', 'hinge')];
  theirs.part = [{ name: 'hinge', number: 3 }];
  learnNumbers(theirs);
  keepNumbers(mine);
  assert.equal(numberOf('hinge'), 3);
  assert.deepEqual(numbers(mine), { handle: 1, plate: 2, 'part 3': 4 });
});

test('of two parts that a file gives one number the first keeps it', () => {
  const build = { ...draft('handle', 'plate'), part: [{ name: 'plate', number: 7 }, { name: 'handle', number: 7 }] };
  openNumbers(build);
  assert.deepEqual(['plate', 'handle'].map(numberOf), [7, 8]);
});
