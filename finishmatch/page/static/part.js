// The parts of the photo, and what is known of the chosen one.

import { change, listen, pieces, setsOf, store, tell } from './store.js';
import { allNames, elsewhere, factsOf, markOf, marksOf, setFact } from './draft.js';
import { byId, el, field, keyed, say, set } from './dom.js';
import { chosenMark, deleteChosen, toOutline } from './shapes.js';
import { boxTable, outlineTable } from './coords.js';
import { numberOf } from './numbers.js';
import { canStep, findParts, step } from './propose.js';
import { callIt } from './rename.js';
import { Click, counted } from './words.js';

const MORE_TEXTS = [
  ['slot', 'Competes with', 'what it is offered for, such as door: offers for one thing compete'],
  ['zone', 'Seen together with', 'a place, such as aft door; parts of two places are never seen side by side'],
  ['maker', 'Maker'],
  ['batch', 'Batch'],
];
/** @type {[string, string, boolean][]} */
const CHECKS = [
  ['neutral', 'black, white or bare metal: never a mismatch', false],
  ['matt', 'flat and without gloss (powder coat, paint): its lightness is judged', false],
  ['critical', 'carries load, brakes, pressure, gas or mains', false],
];

const list = el('ul', { class: 'part-list' });
const none = el('p', { class: 'quiet' }, `None yet. ${Click} a part in the photo, or let all be found.`);
const find = el('p', { class: 'buttons' }, el('button', { type: 'button', id: 'find-parts', onclick: findParts }, 'Find the parts'));
byId('parts-body').append(none, find, list);
const form = byId('part-body');

let built = ''; // what the form was built for
let refresh = () => {};

function makeItem({ name }) {
  const button = el('button', { type: 'button', class: 'part', onclick: () => tell({ selected: { kind: 'mark', name } }) });
  button.append(el('span', { class: 'tag' }), el('bdi', {}, name), el('span', { class: 'words quiet small' }));
  return el('li', {}, button);
}

function updateItem(item, { name }) {
  const button = item.firstElementChild;
  const asked = questionsOf(name).length;
  const [tag, , words] = button.children;
  const set_ = setsOf()[name];
  tag.textContent = `${numberOf(name)}${set_ ? ` ${set_.letter}` : ''}`;
  words.textContent = asked ? counted(asked, 'question') : pieceOf(name)?.words ?? '';
  set(button, { 'aria-current': store.selected?.name === name ? 'true' : null });
}

const pieceOf = (name) => pieces().find((piece) => piece.name === name);

const questionsOf = (name) => (store.pane.photos[store.photo]?.questions ?? []).filter(({ part }) => part === name);

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
  const input = el('input', { maxlength: 200, required: true, autocomplete: 'off', onchange: () => {
    if (!callIt(name, input.value.trim())) input.value = name;
  } });
  const others = elsewhere(store.draft, store.photo);
  const select = el('select', { onchange: () => select.value && callIt(name, select.value) }, el('option', { value: '' }, 'a part of its own'), ...others.map((other) => el('option', { value: other }, other)));
  const same = others.length ? field('part-same', 'Same part as in another photo', select) : null;
  return { nodes: [field('part-name', 'Name', input), same].filter(Boolean), refresh: () => showUnlessTyped(input, name) };
}

/** @param {string} name @param {string[]} words */
function textField(name, [key, label, hint]) {
  const input = el('input', { maxlength: 200, autocomplete: 'off', onchange: () => fact(name, key, input.value.trim() || null) });
  return { node: field(`part-${key}`, label, input, hint), refresh: () => showUnlessTyped(input, factsOf(store.draft, name)[key] ?? '') };
}

function check(name, [key, label, usual], value = (on) => on) {
  const input = el('input', { type: 'checkbox', id: `part-${key}`, onchange: () => fact(name, key, value(input.checked)) });
  const node = el('p', { class: 'check' }, input, el('label', { for: `part-${key}` }, label));
  return { node, refresh: () => tick(input, value(factsOf(store.draft, name)[key] ?? usual)) };
}

// What is asked of every part: what it is sold as, and whether it is only on offer, at what price.
function firstFields(name) {
  const sold = textField(name, ['finish', 'Sold as', 'what its label says, such as bronze: parts of one label are expected to agree']);
  const offered = check(name, ['owned', 'on offer, not bought yet', true], (on) => !on);
  const price = el('input', { type: 'number', min: 0, step: 'any', inputmode: 'decimal', onchange: () => fact(name, 'price', price.value === '' ? null : Math.max(0, Number(price.value))) });
  return [sold, offered, { node: field('part-price', 'Price', price), refresh: () => showUnlessTyped(price, factsOf(store.draft, name).price ?? '') }];
}

function moreFields(name) {
  const fields = [...MORE_TEXTS.map((one) => textField(name, one)), ...CHECKS.map((one) => check(name, one)), touchFields(name)].filter(Boolean);
  return { node: el('details', {}, el('summary', {}, 'More about it'), el('div', { class: 'form' }, ...fields.map((one) => one.node))), refresh: () => refreshAll(fields) };
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

// What is doubtful about the mark, and the two answers.
function questions(name) {
  const box = el('div', { class: 'question' });
  const right = () => {
    change((draft) => {
      markOf(draft, store.photo, name).meant = true;
    });
    say(`${name}: the mark is right`);
  };
  const show = () => {
    const texts = questionsOf(name).map(({ text }) => text);
    box.hidden = !texts.length;
    if (box.dataset.said === texts.join()) return;
    box.dataset.said = texts.join();
    box.replaceChildren(...texts.map((text) => el('p', {}, text)), el('p', { class: 'buttons' },
      el('button', { type: 'button', onclick: right }, 'The mark is right'),
      el('button', { type: 'button', onclick: deleteChosen }, 'Delete it')));
  };
  return { node: box, refresh: show };
}

// Of a fresh proposal: those around it, for whoever has neither wheel nor keys.
function sizeButtons(name) {
  const button = (words, direction) => el('button', { type: 'button', onclick: () => step(direction) }, words);
  const node = el('p', { class: 'buttons' }, button('Smaller outline', -1), button('Larger outline', 1));
  return { node, refresh: () => {
    node.hidden = !canStep(name);
  } };
}

function notes(name) {
  const node = el('ul', { class: 'notes small' });
  return { node, refresh: () => node.replaceChildren(...(pieceOf(name)?.notes ?? []).map((text) => el('li', {}, text))) };
}

function build(mark) {
  const { name } = mark;
  const names = nameFields(name);
  const rows = [...firstFields(name), moreFields(name)];
  const above = [questions(name), sizeButtons(name)];
  const below = notes(name);
  const coords = mark.box ? boxTable(name) : mark.outline ? outlineTable(name) : null;
  const where = coords ? el('details', {}, el('summary', {}, mark.box ? 'Box as numbers' : 'Outline as numbers'), coords.node) : el('p', { class: 'quiet' }, 'Marked by a mask file.');
  const turn = mark.box ? el('button', { type: 'button', onclick: () => toOutline(name) }, 'Turn into an outline') : null;
  const remove = el('button', { type: 'button', onclick: deleteChosen }, 'Delete this mark');
  form.replaceChildren(...above.map((one) => one.node), ...names.nodes, ...rows.map((one) => one.node), below.node, where, el('p', { class: 'buttons' }, ...[turn, remove].filter(Boolean)));
  refresh = () => {
    refreshAll([...above, names, ...rows, below]);
    coords?.update();
  };
}

listen(() => {
  const marks = marksOf(store.draft, store.photo);
  none.hidden = marks.length > 0;
  find.hidden = !marks.length; // the next thing to do then, which is offered above
  keyed(list, marks, (mark) => mark.name, makeItem, updateItem);
  const mark = chosenMark();
  const wanted = mark ? JSON.stringify([store.photo, mark.name, Boolean(mark.box), allNames(store.draft)]) : '';
  if (wanted !== built && mark) build(mark);
  built = wanted;
  if (!mark) return;
  byId('part-title').textContent = `Part ${numberOf(mark.name)}`;
  refresh();
});
