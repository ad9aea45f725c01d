// The parts of the photo, and what is known of the chosen one.

import { change, listen, pieces, store, tell } from './store.js';
import { allNames, elsewhere, factsOf, marksOf, rename, setFact } from './draft.js';
import { byId, el, keyed, say, set } from './dom.js';
import { chosenMark, deleteChosen, toOutline } from './shapes.js';
import { boxTable, outlineTable } from './coords.js';
import { canStep, findParts, step } from './propose.js';

const TEXTS = [['finish', 'Sold as', 'what its label says: parts of one label are expected to agree'], ['maker', 'Maker'], ['batch', 'Batch'], ['slot', 'Slot', 'same slot: candidates for it'], ['zone', 'Zone', 'other zone: never side by side']];
/** @type {[string, string, boolean][]} */
const CHECKS = [['owned', 'bought already', true], ['neutral', 'neutral: black, white, bare metal', false], ['critical', 'carries load, brakes, pressure, gas or mains', false]];

const list = el('ul', { class: 'part-list' });
const none = el('p', { class: 'quiet' }, 'None yet: click inside a part, or let all be looked for.');
const form = el('div', { class: 'form' });
const find = el('p', { class: 'buttons' }, el('button', { type: 'button', onclick: findParts }, 'Find the parts'));
byId('parts-body').append(none, find, list, form);

let built = ''; // what the form was built for
let refresh = () => {};

function makeItem({ name }) {
  const button = el('button', { type: 'button', class: 'part', onclick: () => tell({ selected: { kind: 'mark', name } }) });
  button.append(el('span', { class: 'tag' }), el('bdi', {}, name), el('span', { class: 'words quiet small' }));
  return el('li', {}, button);
}

function updateItem(item, { name }) {
  const button = item.firstElementChild;
  const piece = pieceOf(name);
  const [tag, , words] = button.children;
  tag.textContent = piece?.tag ?? '';
  words.textContent = piece?.words ?? '';
  set(button, { 'aria-current': store.selected?.name === name ? 'true' : null });
}

const pieceOf = (name) => pieces().find((piece) => piece.name === name);

const field = (id, label, input, hint) =>
  el('p', { class: 'field' }, el('label', { for: id }, label), set(input, { id, 'aria-describedby': hint ? `${id}-hint` : null }), hint ? el('span', { class: 'quiet small', id: `${id}-hint` }, hint) : null);

function fact(name, key, value) {
  change((draft) => setFact(draft, name, key, value));
}

// What a person is typing stays.
function showUnlessTyped(input, value) {
  if (document.activeElement !== input) input.value = value;
}

function tick(input, on) {
  input.checked = on;
}

function refreshAll(fields) {
  for (const one of fields) one.refresh();
}

function nameFields(name) {
  const input = el('input', { maxlength: 200, required: true, autocomplete: 'off', onchange: () => setName(name, input) });
  const others = elsewhere(store.draft, store.photo);
  const select = el('select', { onchange: () => select.value && join(name, select.value) }, el('option', { value: '' }, 'a part of its own'), ...others.map((other) => el('option', { value: other }, other)));
  const refreshName = () => showUnlessTyped(input, name);
  const same = others.length ? field('part-same', 'Same part as in another photo', select) : null;
  return { nodes: [field('part-name', 'Name', input), same], refresh: refreshName };
}

function setName(name, input) {
  const wanted = input.value.trim();
  const taken = marksOf(store.draft, store.photo).some((mark) => mark.name === wanted);
  if (!wanted || wanted === name || taken) {
    input.value = name;
    if (taken && wanted !== name) say(`${wanted} is marked in this photo already`);
    return;
  }
  join(name, wanted);
}

function join(from, to) {
  change((draft) => {
    rename(draft, store.photo, from, to);
    return { kind: 'mark', name: to };
  });
  say(`Now called ${to}`);
}

function factFields(name) {
  const known = () => factsOf(store.draft, name);
  const texts = TEXTS.map(([key, label, hint]) => {
    const input = el('input', { maxlength: 200, autocomplete: 'off', onchange: () => fact(name, key, input.value.trim() || null) });
    return { node: field(`part-${key}`, label, input, hint), refresh: () => showUnlessTyped(input, known()[key] ?? '') };
  });
  const price = el('input', { type: 'number', min: 0, step: 'any', onchange: () => fact(name, 'price', price.value === '' ? null : Math.max(0, Number(price.value))) });
  const rows = [texts.slice(0, 1), texts.slice(1, 3), texts.slice(3)].map((pair) => ({
    node: el('div', { class: 'pair' }, ...pair.map((one) => one.node)),
    refresh: () => refreshAll(pair),
  }));
  rows.push({ node: field('part-price', 'Price', price), refresh: () => showUnlessTyped(price, known().price ?? '') });
  const checks = CHECKS.map(([key, label, usual]) => {
    const input = el('input', { type: 'checkbox', id: `part-${key}`, onchange: () => fact(name, key, input.checked) });
    const node = el('p', { class: 'check' }, input, el('label', { for: `part-${key}` }, label));
    return { node, refresh: () => tick(input, known()[key] ?? usual) };
  });
  return [...rows, ...checks];
}

function touchFields(name) {
  const others = allNames(store.draft).filter((other) => other !== name);
  if (!others.length) return null;
  const boxes = others.map((other, i) => {
    const input = el('input', { type: 'checkbox', id: `touch-${i}`, onchange: () => touch(name, other, input.checked) });
    const node = el('p', { class: 'check' }, input, el('label', { for: `touch-${i}` }, el('bdi', {}, other)));
    return { node, refresh: () => tick(input, touches(name, other)) };
  });
  const node = el('fieldset', {}, el('legend', {}, 'Touches'), ...boxes.map((box) => box.node));
  return { node, refresh: () => refreshAll(boxes) };
}

const lists = (name, other) => (factsOf(store.draft, name).touches ?? []).includes(other);
const touches = (name, other) => lists(name, other) || lists(other, name);

function touch(name, other, on) {
  change((draft) => {
    for (const [a, b] of [[name, other], [other, name]]) {
      const kept = (factsOf(draft, a).touches ?? []).filter((one) => one !== b);
      if (on && a === name) setFact(draft, a, 'touches', [...kept, b]);
      else if (lists(a, b)) setFact(draft, a, 'touches', kept);
    }
  });
}

// Of a fresh proposal: those around it, for whoever has neither wheel nor keys.
function sizeButtons() {
  const button = (words, direction) => el('button', { type: 'button', onclick: () => step(direction) }, words);
  return el('p', { class: 'buttons' }, button('Smaller outline', -1), button('Larger outline', 1));
}

function build(mark) {
  const { name } = mark;
  const names = nameFields(name);
  const facts = factFields(name);
  const touching = touchFields(name);
  const coords = mark.box ? boxTable(name) : mark.outline ? outlineTable(name) : null;
  const where = coords ? el('details', {}, el('summary', {}, mark.box ? 'Box as numbers' : 'Outline as numbers'), coords.node) : el('p', { class: 'quiet' }, 'Marked by a mask file.');
  const turn = mark.box ? el('button', { type: 'button', onclick: () => toOutline(name) }, 'Turn into an outline') : null;
  const remove = el('button', { type: 'button', onclick: deleteChosen }, 'Delete this mark');
  const notes = el('ul', { class: 'notes small' });
  const sizes = sizeButtons();
  form.replaceChildren(sizes, notes, ...names.nodes.filter(Boolean), ...facts.map((one) => one.node), ...(touching ? [touching.node] : []), where, el('p', { class: 'buttons' }, ...[turn, remove].filter(Boolean)));
  refresh = () => {
    sizes.hidden = !canStep(name);
    notes.replaceChildren(...(pieceOf(name)?.notes ?? []).map((text) => el('li', {}, text)));
    refreshAll([names, ...facts, touching].filter(Boolean));
    coords?.update();
  };
}

listen(() => {
  byId('parts').hidden = !store.photo;
  const marks = marksOf(store.draft, store.photo);
  none.hidden = marks.length > 0;
  keyed(list, marks, (mark) => mark.name, makeItem, updateItem);
  const mark = chosenMark();
  form.hidden = !mark;
  const wanted = mark ? JSON.stringify([store.photo, mark.name, Boolean(mark.box), allNames(store.draft)]) : '';
  if (wanted !== built && mark) build(mark);
  built = wanted;
  if (mark) refresh();
});
