// One record: how it was measured, what became of it, what lies near it; its facts corrected, itself taken off.

import { byId, el, say, trouble } from '../../page/static/dom.js';
import * as api from './api.js';
import { beside, facts, numbers, picture, swatch, verdict } from './draw.js';
import { look, takeOff } from './shelf.js';
import { offerUndo } from './undo.js';

const FIELDS = { part: 'Name', maker: 'Maker', finish: 'Finish', batch: 'Batch', stock: 'Stock number' };
let open = null;

export function closeRecord() {
  open = null;
  byId('record').hidden = true;
  byId('shelf').classList.remove('opened');
}

export async function openRecord(number) {
  try {
    open = await api.record(number);
  } catch (error) {
    closeRecord();
    trouble(error.message);
    return;
  }
  draw();
  byId('record').querySelector('h3').focus();
}

function draw() {
  const panel = byId('record');
  panel.hidden = false;
  byId('shelf').classList.add('opened');
  panel.replaceChildren(
    el('p', { class: 'buttons' }, el('a', { class: 'button', href: '#shelf' }, 'Back to the shelf')),
    el('h3', { tabindex: '-1' }, open.part),
    el('p', { class: 'quiet' }, [numbers(open), facts(open)].filter(Boolean).join(' · ')),
    el('div', { class: 'bench looks' }, ...open.crops.map((at) => el('img', { src: at, alt: `${open.part}, photographed`, class: 'crop' })), swatch(open.swatch, open.words)),
    el('dl', {}, ...open.measured.flatMap(([name, value]) => [el('dt', {}, name), el('dd', {}, value)])),
    el('p', { class: 'buttons' },
      el('a', { class: 'button', href: `/label/${open.number}`, target: '_blank', rel: 'noopener' }, 'Print a label'),
      el('button', { type: 'button', onclick: () => takeOff(open) }, 'Take off the shelf')),
    form(),
    ...neighbours(),
    ...history(),
  );
}

function form() {
  const inputs = Object.entries(FIELDS).map(([key, words]) =>
    el('div', { class: 'field' }, el('label', { for: `fact-${key}` }, words), el('input', { id: `fact-${key}`, name: key, value: open[key] ?? '', required: key === 'part' ? '' : null, autocomplete: 'off' })));
  return el('form', { class: 'form', onsubmit: save }, el('h4', {}, 'What is known of it'), ...inputs, el('p', { class: 'buttons' }, el('button', { type: 'submit', class: 'strong' }, 'Save')));
}

const said = () => Object.fromEntries(Object.keys(FIELDS).map((key) => [key, byId(`fact-${key}`).value.trim() || null]));
const known = (one) => Object.fromEntries(Object.keys(FIELDS).map((key) => [key, one[key]]));

async function save(event) {
  event.preventDefault();
  const mine = said();
  await change(open, { ...mine, part: mine.part ?? '' });
}

async function change(from, mine) {
  const before = known(from);
  try {
    open = await api.change(from.number, from.seal, mine);
  } catch (error) {
    if (error.status === 409) settle(error.body, mine);
    else trouble(error.message);
    return;
  }
  trouble('');
  draw();
  look();
  say('Saved');
  offerUndo(`${open.part}: saved.`, () => change(open, before));
}

// Somebody else changed the record meanwhile: both are shown, and a person decides.
function settle(theirs, mine) {
  const dialog = byId('conflict');
  const decide = (act) => () => {
    dialog.close();
    act();
  };
  const rows = Object.entries(FIELDS).filter(([key]) => (theirs[key] ?? null) !== (mine[key] ?? null));
  dialog.replaceChildren(
    el('h2', { id: 'conflict-title' }, 'Somebody else changed this finish'),
    el('p', {}, 'It was saved elsewhere since you opened it. Nothing is lost: its history keeps what was.'),
    el('table', {}, el('thead', {}, el('tr', {}, el('th', { scope: 'col' }, ''), el('th', { scope: 'col' }, 'Theirs'), el('th', { scope: 'col' }, 'Yours'))),
      el('tbody', {}, ...rows.map(([key, words]) => el('tr', {}, el('th', { scope: 'row' }, words), el('td', {}, theirs[key] ?? '–'), el('td', {}, mine[key] ?? '–'))))),
    el('p', { class: 'buttons' },
      el('button', { type: 'button', class: 'strong', onclick: decide(() => change(theirs, mine)) }, 'Save yours'),
      el('button', { type: 'button', onclick: decide(() => { open = theirs; draw(); look(); }) }, 'Keep theirs')),
  );
  if (!dialog.open) dialog.showModal();
}

function neighbours() {
  if (!open.neighbours.length) return [];
  return [el('h4', {}, 'Nearest on the shelf'), el('ul', { class: 'bench hits' }, ...open.neighbours.map(hit))];
}

export function hit(one) {
  return el('li', { class: 'hit' },
    el('span', { class: 'look' }, picture(one), beside(one.here, one.there)),
    verdict(one),
    el('a', { href: `#shelf/${one.number}` }, one.part),
    el('span', {}, facts(one)),
    el('span', { class: 'small' }, numbers(one)),
    el('span', { class: 'small' }, `difference ${one.difference}; ${one.chance}`));
}

function history() {
  if (!open.history.length) return [];
  return [el('h4', {}, 'What became of it'), el('ul', { class: 'rows' }, ...open.history.map((one) => el('li', {}, `${one.day}: ${one.what}`)))];
}
