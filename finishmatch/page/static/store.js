// What the page knows, who wants to hear of changes, undo and redo, and how changes reach the build file and the verdict.

import * as api from './api.js';
import { merged } from './merge.js';
import { photoOf } from './draft.js';
import { trouble } from './dom.js';
import { judge } from './judging.js';
import { keepNumbers, learnNumbers, openNumbers } from './numbers.js';

const SAVE_AFTER_MS = 350;
const MOST_STEPS = 200;

const EMPTY = { photos: {}, message: '', verdict: null };

export const store = {
  draft: { photo: [], part: [] },
  files: {},
  file: '',
  photo: null, // id of the photo on the stage
  guess: null, // photo and corners: where a plain card may lie
  selected: null, // null, { kind: 'card' } or { kind: 'mark', name }
  tool: 'find',
  boxIs: null, // what the next box is, where it is no part
  pane: EMPTY,
  facts: {}, // id -> width, height
  saved: 'Opening…',
  judging: false,
  progress: null, // photos read, and of how many, while they are being read
  budget: null, // what may be spent on all offers together
  beside: { cards: [], cameras: [], pictures: [] }, // ids of files of the folder that the build could name
  builds: [], // builds of the folder, where none is open
  devices: false, // whether devices of the network may be let in here
};

const listeners = [];
const past = [];
const future = [];
let revision = 0;
let base = null; // the draft as both the page and the file had it last
let gesture = null;
let saveTimer = 0;
let saving = false;
/** @type {(theirs?: any) => void} */
let onConflict = () => {};

// Every part that the live pane tells of.
export function pieces() {
  const { verdict } = store.pane;
  return verdict ? [...verdict.sets.flatMap((set) => set.parts), ...verdict.loose, ...verdict.refused] : [];
}

// Part -> letter and dashes of its set.
export function setsOf() {
  const sets = store.pane.verdict?.sets ?? [];
  return Object.fromEntries(sets.flatMap(({ letter, dashes, parts }) => parts.map(({ name }) => [name, { letter, dashes }])));
}

export const listen = (listener) => listeners.push(listener);
export const whenConflict = (handler) => {
  onConflict = handler;
};
export const canUndo = () => past.length > 0;
export const canRedo = () => future.length > 0;

export function tell(what = {}) {
  Object.assign(store, what);
  for (const listener of listeners) listener();
}

const same = (a, b) => JSON.stringify(a) === JSON.stringify(b);
const snapshot = () => ({ draft: store.draft, photo: store.photo, selected: store.selected });

function adopt(state) {
  revision = state.revision;
  base = state.draft;
  Object.assign(store, { draft: state.draft, files: state.files, file: state.file, builds: state.builds ?? [], devices: Boolean(state.devices) });
  if (!photoOf(store.draft, store.photo)) store.photo = store.draft.photo?.[0]?.file ?? null;
}

export async function open(state = api.state()) {
  adopt(await state);
  openNumbers(store.draft);
  Object.assign(store, { selected: null, pane: EMPTY });
  past.length = 0;
  future.length = 0;
  tell({ saved: store.draft.photo?.length ? 'Saved' : '' });
  judge();
}

// One step that can be undone. `edit` changes its own copy of the draft and may return what to select.
export function change(edit) {
  const before = snapshot();
  const draft = structuredClone(store.draft);
  const selected = edit(draft);
  if (same(draft, before.draft)) return;
  keepNumbers(draft);
  remember(before);
  tell({ draft, ...(selected === undefined ? {} : { selected }) });
  moved();
}

// A gesture is one step, however many times it changes the draft on its way.
export function gestureChange(edit) {
  gesture ??= snapshot();
  const draft = structuredClone(store.draft);
  edit(draft);
  tell({ draft });
  judge();
}

export function gestureEnd() {
  const before = gesture;
  gesture = null;
  if (!before || same(before.draft, store.draft)) return;
  remember(before);
  moved();
  tell();
}

export function gestureCancel() {
  if (!gesture) return false;
  tell(gesture);
  gesture = null;
  judge();
  return true;
}

function remember(before) {
  past.push(before);
  if (past.length > MOST_STEPS) past.shift();
  future.length = 0;
}

function step(from, to) {
  if (!from.length) return;
  to.push(snapshot());
  tell(from.pop());
  moved();
}

export const undo = () => step(past, future);
export const redo = () => step(future, past);

function moved() {
  judge();
  tell({ saved: 'Saving…' });
  clearTimeout(saveTimer);
  saveTimer = setTimeout(save, SAVE_AFTER_MS);
}

// Do not wait: the page may be about to close.
export function flush() {
  if (base && !gesture && !same(base, store.draft)) save();
}

async function save() {
  clearTimeout(saveTimer);
  if (saving) return;
  saving = true;
  const sent = store.draft;
  try {
    const state = await api.save(revision, sent);
    revision = state.revision;
    base = sent;
    store.files = { ...store.files, ...state.files };
    trouble('');
    tell({ saved: same(sent, store.draft) ? 'Saved' : 'Saving…' });
  } catch (error) {
    tell({ saved: 'Not saved' });
    if (error.status === 409) onConflict(error.body);
    else trouble(error.message);
    return;
  } finally {
    saving = false;
  }
  if (!same(sent, store.draft)) save();
}

// The file changed elsewhere. What is here goes to undo, so that neither is lost.
export function resolve(theirs, both) {
  remember(snapshot());
  const draft = both ? merged(base, store.draft, theirs.draft) : theirs.draft;
  adopt(theirs);
  learnNumbers(theirs.draft);
  if (both) keepNumbers(draft);
  tell({ draft, saved: 'Saved', selected: null });
  if (both) moved();
  else judge();
}

// Another page may have saved while this one was not looked at.
export async function lookAgain() {
  if (saving || gesture || !base || !same(base, store.draft)) return;
  try {
    const state = await api.state();
    if (state.revision === revision) return;
    remember(snapshot());
    adopt(state);
    learnNumbers(store.draft);
    tell({ saved: 'Changed elsewhere, loaded' });
    judge();
  } catch (error) {
    trouble(error.message);
  }
}

export async function loadFacts(id) {
  if (!id || store.facts[id]) return;
  try {
    const facts = await api.photoFacts(id);
    tell({ facts: { ...store.facts, [id]: facts } });
  } catch (error) {
    trouble(error.message);
  }
}
