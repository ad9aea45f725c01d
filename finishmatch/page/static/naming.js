// The sheet that asks what a new part is called, at the place where it was marked.

import { listen, store } from './store.js';
import { elsewhere } from './draft.js';
import { byId, el } from './dom.js';
import { clamp } from './geometry.js';
import { isUnnamed, numberOf } from './numbers.js';
import { canStep, step, stepByKey } from './propose.js';
import { callIt } from './rename.js';
import { deleteChosen } from './shapes.js';
import { narrow } from './words.js';

const MOST_NAMES = 6;
const GAP_PX = 10;

const form = byId('naming');
const label = el('label', { for: 'new-name' });
const input = el('input', { id: 'new-name', maxlength: 200, autocomplete: 'off', enterkeyhint: 'done' });
const used = el('ul', { class: 'used', 'aria-label': 'Names used before' });
const sizes = el('span', { class: 'choice' },
  el('button', { type: 'button', onclick: () => step(-1) }, 'Smaller'),
  el('button', { type: 'button', onclick: () => step(1) }, 'Larger'));
form.append(label, input, used, el('p', { class: 'buttons' },
  el('button', { type: 'submit', class: 'strong' }, 'Done'), sizes,
  el('button', { type: 'button', onclick: remove }, 'Delete')));

let asked = null;
let place = (_name) => /** @type {number[] | null} */ (null);

export const whereIs = (find) => {
  place = find;
};

export function askName(name) {
  asked = name;
  label.textContent = `What is part ${numberOf(name)}?`;
  input.value = isUnnamed(name) ? '' : name;
  input.placeholder = name;
  form.hidden = false;
  show();
  input.focus({ preventScroll: true });
  return true;
}

function show() {
  const typed = input.value.trim().toLowerCase();
  const names = elsewhere(store.draft, store.photo).filter((one) => !isUnnamed(one) && one.toLowerCase().includes(typed));
  used.replaceChildren(...names.slice(0, MOST_NAMES).map((one) =>
    el('li', {}, el('button', { type: 'button', class: 'used-name', onclick: () => close(one) }, el('bdi', {}, one)))));
  used.hidden = !names.length;
  sizes.hidden = !canStep(asked);
  settle();
}

// Below the part where there is room, else above it; never over what was marked, if that can be.
function settle() {
  const box = place(asked);
  const stage = byId('stage');
  if (!box) return;
  const [left, top, , bottom] = box;
  const room = [stage.clientWidth - form.offsetWidth - GAP_PX, stage.clientHeight - form.offsetHeight - GAP_PX];
  const below = bottom + GAP_PX;
  const y = below <= room[1] ? below : top - GAP_PX - form.offsetHeight;
  const lowest = narrow.matches ? Math.max(below, GAP_PX) : Math.max(room[1], GAP_PX);
  form.style.left = `${stage.offsetLeft + clamp(left, GAP_PX, Math.max(room[0], GAP_PX))}px`;
  form.style.top = `${stage.offsetTop + (y >= 0 ? y : clamp(below, GAP_PX, lowest))}px`;
}

function close(name = input.value.trim()) {
  if (!callIt(asked, name)) return;
  hide();
  byId('stage').focus({ preventScroll: true });
}

function hide() {
  form.hidden = true;
  asked = null;
}

function remove() {
  hide();
  deleteChosen();
  byId('stage').focus({ preventScroll: true });
}

form.addEventListener('submit', (event) => {
  event.preventDefault();
  close();
});
input.addEventListener('input', show);
input.addEventListener('keydown', (event) => {
  if (event.key === 'Escape') close('');
  else if (input.value !== '' || !stepByKey(event.key)) return;
  event.preventDefault();
});
// Whoever goes on elsewhere keeps what was typed; a click on the photo may still mean another outline.
form.addEventListener('focusout', (event) => {
  const to = /** @type {Element | null} */ (event.relatedTarget);
  if (!asked || form.contains(to)) return;
  const typed = input.value.trim();
  if (typed && typed !== asked) {
    const from = asked;
    asked = typed;
    if (!callIt(from, typed)) asked = from;
  }
  if (to && to !== byId('stage')) hide();
});

listen(() => {
  if (!asked) return;
  if (store.selected?.kind !== 'mark' || store.selected.name !== asked) hide();
  else show();
});
