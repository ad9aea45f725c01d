// The shelf: found as one types, sorted, and one record opened beside the list.

import { byId, el, keyed, say, set, trouble } from '../../page/static/dom.js';
import * as api from './api.js';
import { facts, numbers, picture, swatch } from './draw.js';
import { closeRecord, openRecord } from './record.js';
import { offerUndo } from './undo.js';

const SORTS = { newest: 'Newest', name: 'Name', colour: 'Colour' };
const SOON_MS = 90;
let sort = 'newest';
let shown = [];
let next = null;
let asking = null;
let soon = 0;

for (const [key, words] of Object.entries(SORTS)) {
  byId('sort').append(el('button', { type: 'button', 'data-sort': key, 'aria-pressed': String(key === sort), onclick: () => sortBy(key) }, words));
}
byId('words').addEventListener('input', () => {
  clearTimeout(soon);
  soon = setTimeout(() => look(), SOON_MS);
});
byId('more').addEventListener('click', () => look(next));

function sortBy(key) {
  sort = key;
  for (const button of byId('sort').children) set(button, { 'aria-pressed': String(button.dataset.sort === key) });
  look();
}

// Ask for the list again; the answer to an older question is dropped.
export async function look(start = 0) {
  asking?.abort();
  asking = new AbortController();
  try {
    const found = await api.search(byId('words').value, sort, start, asking.signal);
    shown = start ? [...shown, ...found.shown] : found.shown;
    next = found.next;
    draw(found);
  } catch (error) {
    if (error.name !== 'AbortError') trouble(error.message);
  }
}

function draw(found) {
  byId('shelf-name').textContent = found.shelf;
  const some = found.total === found.all ? `${found.all.toLocaleString('en-GB')} finishes` : `${found.total.toLocaleString('en-GB')} of ${found.all.toLocaleString('en-GB')} finishes`;
  byId('count').textContent = found.all === 0 ? 'The shelf is empty: check a delivery in, or use finishmatch shelf add.' : found.total === 0 ? 'Nothing found.' : some;
  keyed(byId('cards'), shown, (one) => String(one.number), () => el('li'), (node, one) => node.replaceChildren(card(one)));
  byId('more').hidden = next === null;
  drawRemoved(found.removed);
}

function card(one) {
  if (one.damaged) return el('p', { class: 'card damaged' }, el('b', {}, `No. ${one.number} is damaged`), el('span', {}, one.damaged));
  return el('a', { class: 'card', href: `#shelf/${one.number}` },
    el('span', { class: 'look' }, picture(one), swatch(one.swatch, one.words)),
    el('b', {}, one.part),
    el('span', {}, facts(one) || one.words),
    el('span', { class: 'small' }, numbers(one)),
    el('span', { class: 'small', title: 'Standard deviation of its hue and chroma' }, `${one.date} · sure to ${one.sure}`));
}

function drawRemoved(removed) {
  const box = byId('removed');
  const open = box.querySelector('details')?.open;
  box.replaceChildren();
  if (!removed.length) return;
  box.append(el('details', { open: open ? '' : null }, el('summary', {}, `Taken off the shelf (${removed.length})`),
    el('ul', { class: 'rows' }, ...removed.map((one) => el('li', {}, el('span', {}, `No. ${one.number}, ${one.part}, ${one.day}`),
      el('button', { type: 'button', onclick: () => putBack(one) }, 'Put back'))))));
}

async function putBack(one) {
  try {
    await api.putBack([one.number]);
    say(`${one.part} is on the shelf again`);
    await look();
  } catch (error) {
    trouble(error.message);
  }
}

export async function takeOff(one) {
  try {
    await api.remove([one.number]);
    closeRecord();
    await look();
    offerUndo(`${one.part} was taken off the shelf.`, () => putBack(one));
  } catch (error) {
    trouble(error.message);
  }
}

export function openShelf(number) {
  look();
  if (number) openRecord(Number(number));
  else closeRecord();
}
