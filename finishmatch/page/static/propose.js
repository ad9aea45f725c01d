// Outlines that the program proposes: around a click, within a loop, of all parts. A proposal grows and shrinks until it is changed.

import * as api from './api.js';
import { change, listen, store, tell } from './store.js';
import { addMark, markOf, marksOf, reshape } from './draft.js';
import { say, trouble } from './dom.js';
import { areaOf, formPoints, inside } from './geometry.js';
import { cardCorners } from './shapes.js';
import { askName } from './naming.js';
import { takeName } from './numbers.js';
import { touch } from './words.js';

const NEAR_PX = 12;
const WHEEL_STEP = 80;
const MARKED_ALREADY = 0.5;

const nothing = () => ({ photo: null, name: null, outlines: [], shown: 0, at: null });
let proposal = nothing();
let search = null; // what is being asked, so that the next click can drop it
let turned = 0;

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);

// Whether the chosen mark is a proposal that nobody has changed yet, and there are others to take in its place.
export function canStep(name = store.selected?.name) {
  const { photo, outlines, shown } = proposal;
  if (photo !== store.photo || proposal.name !== name || outlines.length < 2 || store.selected?.kind !== 'mark') return false;
  return same(markOf(store.draft, photo, name)?.outline, outlines[shown]);
}

async function asked(words, ask) {
  search?.abort();
  search = new AbortController();
  const { signal } = search;
  const { photo } = store;
  say(words);
  try {
    const { outlines } = await ask(signal);
    trouble('');
    return store.photo === photo && !signal.aborted ? outlines : null;
  } catch (error) {
    if (!signal.aborted) trouble(error.message);
    return null;
  }
}

function place(outlines, at) {
  const name = takeName();
  change((draft) => ({ kind: 'mark', name: addMark(draft, store.photo, { outline: outlines[0] }, name) }));
  proposal = { photo: store.photo, name, outlines, shown: 0, at };
  const again = touch ? 'Tap again for another outline.' : 'Click again, or + and - for a larger or smaller one.';
  say(`Added as ${name}.${outlines.length > 1 ? ` Not what you mean? ${again}` : ''}`);
  tell();
  askName(name);
}

// A click: the likeliest outline around it; the same click again: the next likely one.
export async function proposeAt(at, reach) {
  if (canStep() && Math.hypot(at[0] - proposal.at[0], at[1] - proposal.at[1]) < Math.max(reach, NEAR_PX)) {
    return show((proposal.shown + 1) % proposal.outlines.length);
  }
  const outlines = await asked('Looking for an outline…', (signal) => api.outlines(store.photo, at, cardCorners(), signal));
  if (outlines) place(outlines, at);
}

export async function proposeWithin(loop) {
  const outlines = await asked('Looking for an outline in the loop…', (signal) => api.within(store.photo, loop, signal));
  if (outlines) place(outlines, loop[0]);
}

function show(index) {
  const { photo, name, outlines } = proposal;
  proposal.shown = index;
  change((draft) => {
    reshape(draft, photo, name, { outline: outlines[index] });
  });
  say(`Outline ${index + 1} of ${outlines.length}`);
}

// A proposal that was named is one still.
export function proposalRenamed(from, to) {
  if (proposal.name === from) proposal.name = to;
}

// Take the next larger (1) or smaller (-1) proposal.
export function step(direction) {
  if (!canStep()) return false;
  const { outlines, shown } = proposal;
  const order = outlines.map((outline, i) => [areaOf(outline), i]).sort(([a], [b]) => a - b);
  const next = order[order.findIndex(([, i]) => i === shown) + direction];
  if (next) show(next[1]);
  else say(direction > 0 ? 'There is no larger one' : 'There is no smaller one');
  return true;
}

const STEPS = { '+': 1, '=': 1, '-': -1 };

export const stepByKey = (key) => key in STEPS && step(STEPS[key]);

// The wheel over a fresh proposal grows and shrinks it; anywhere else it is not ours.
export function wheel(event, at) {
  if (event.ctrlKey || store.tool !== 'find' || !canStep() || !proposal.outlines.some((outline) => inside(at, outline))) return false;
  event.preventDefault();
  turned += event.deltaY;
  if (Math.abs(turned) >= WHEEL_STEP) {
    step(turned < 0 ? 1 : -1);
    turned = 0;
  }
  return true;
}

// All parts at once, from left to right; what is marked already stays as it is.
export async function findParts() {
  const outlines = await asked('Looking for the parts…', (signal) => api.parts(store.photo, cardCorners(), signal));
  if (!outlines) return;
  const marks = marksOf(store.draft, store.photo).map(formPoints).filter((points) => points.length);
  const fresh = outlines.filter((outline) => !marks.some((mark) => shared(mark, outline) > MARKED_ALREADY));
  if (!fresh.length) return say(outlines.length ? 'No part was found that is not marked already' : 'No part was found');
  change((draft) => {
    for (const outline of fresh) addMark(draft, store.photo, { outline }, takeName());
    return null;
  });
  say(`${fresh.length} found: name them, and delete what is no part`);
}

// What two outlines' bounding boxes share, as a part of the smaller one.
function shared(one, other) {
  const [a, b] = [one, other].map((points) => [0, 1].map((axis) => {
    const values = points.map((point) => point[axis]);
    return [Math.min(...values), Math.max(...values)];
  }));
  const common = [0, 1].map((axis) => Math.max(0, Math.min(a[axis][1], b[axis][1]) - Math.max(a[axis][0], b[axis][0])));
  const size = (box) => box.reduce((product, [low, high]) => product * (high - low), 1);
  return (common[0] * common[1]) / Math.max(1, Math.min(size(a), size(b)));
}

// What the first click would wait for is done as soon as it is known where the card lies.
const READY_AFTER_MS = 300; // corners that are being dragged change often
let readied = '';
let timer = 0;

listen(() => {
  if (!store.pane.photos[store.photo]) return;
  const wanted = JSON.stringify([store.photo, cardCorners()]);
  if (wanted === readied) return;
  readied = wanted;
  clearTimeout(timer);
  const [photo, corners] = [store.photo, cardCorners()];
  timer = setTimeout(() => api.ready(photo, corners).catch(() => {}), READY_AFTER_MS); // a click says what is wrong
});
