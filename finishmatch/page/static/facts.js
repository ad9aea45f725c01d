// What is known of a part beside its colour: fields of a form, each with its node and what brings it up to date.

import { change, store } from './store.js';
import { allNames, factsOf, setFact } from './draft.js';
import { el, field } from './dom.js';
import { knowSeller } from './sellers.js';

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

function fact(name, key, value) {
  change((draft) => setFact(draft, name, key, value));
}

// What a person is typing stays.
export function showUnlessTyped(input, value) {
  if (document.activeElement !== input) input.value = value;
}

export function refreshAll(fields) {
  for (const one of fields) one.refresh();
}

function tick(input, on) {
  input.checked = on;
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
export function firstFields(name) {
  const sold = textField(name, ['finish', 'Sold as', 'what its label says, such as bronze: parts of one label are expected to agree']);
  const offered = check(name, ['owned', 'on offer, not bought yet', true], (on) => !on);
  const price = el('input', { type: 'number', min: 0, step: 'any', inputmode: 'decimal', onchange: () => fact(name, 'price', price.value === '' ? null : Math.max(0, Number(price.value))) });
  return [sold, offered, { node: field('part-price', 'Price', price), refresh: () => showUnlessTyped(price, factsOf(store.draft, name).price ?? '') }];
}

export function moreFields(name) {
  const others = allNames(store.draft).filter((other) => other !== name);
  const ticks = others.length ? [
    tickList('Touches', 'touch', others, (other) => touches(name, other), (other, on) => touch(name, other, on)),
    tickList('Must match (if bought)', 'match', others, (other) => lists('matches', name, other), (other, on) => match(name, other, on)),
  ] : [];
  const fields = [...MORE_TEXTS.map((one) => textField(name, one)), sellerField(name), countField(name), ...CHECKS.map((one) => check(name, one)), ...ticks];
  return { node: el('details', {}, el('summary', {}, 'More about it'), el('div', { class: 'form' }, ...fields.map((one) => one.node))), refresh: () => refreshAll(fields) };
}

// A seller that is not known yet becomes one of the build's.
function sellerField(name) {
  const known = el('datalist', { id: 'part-sellers' });
  const input = el('input', { list: 'part-sellers', maxlength: 200, autocomplete: 'off', onchange: () => change((draft) => {
    const seller = input.value.trim() || null;
    knowSeller(draft, seller);
    setFact(draft, name, 'seller', seller);
  }) });
  const node = el('div', {}, field('part-seller', 'Seller', input, 'what it asks for sending stands with the build'), known);
  return { node, refresh: () => {
    known.replaceChildren(...(store.draft.seller ?? []).map((one) => el('option', { value: one.name })));
    showUnlessTyped(input, factsOf(store.draft, name).seller ?? '');
  } };
}

function countField(name) {
  const input = el('input', { type: 'number', min: 1, max: 10_000, step: 1, inputmode: 'numeric', onchange: () => fact(name, 'count', Math.max(1, Math.round(Number(input.value)))) });
  return { node: field('part-count', 'Pieces that are needed', input, 'the price is that of one'), refresh: () => showUnlessTyped(input, factsOf(store.draft, name).count ?? 1) };
}

function tickList(title, key, others, isOn, put) {
  const boxes = others.map((other, i) => {
    const input = el('input', { type: 'checkbox', id: `${key}-${i}`, onchange: () => put(other, input.checked) });
    const node = el('p', { class: 'check' }, input, el('label', { for: `${key}-${i}` }, el('bdi', {}, other)));
    return { node, refresh: () => tick(input, isOn(other)) };
  });
  return { node: el('fieldset', {}, el('legend', {}, title), ...boxes.map((box) => box.node)), refresh: () => refreshAll(boxes) };
}

const lists = (key, name, other) => (factsOf(store.draft, name)[key] ?? []).includes(other);
const touches = (name, other) => lists('touches', name, other) || lists('touches', other, name);

function touch(name, other, on) {
  change((draft) => {
    for (const [a, b] of [[name, other], [other, name]]) {
      const kept = (factsOf(draft, a).touches ?? []).filter((one) => one !== b);
      if (on && a === name) setFact(draft, a, 'touches', [...kept, b]);
      else if (lists('touches', a, b)) setFact(draft, a, 'touches', kept);
    }
  });
}

function match(name, other, on) {
  change((draft) => {
    const kept = (factsOf(draft, name).matches ?? []).filter((one) => one !== other);
    setFact(draft, name, 'matches', on ? [...kept, other] : kept);
  });
}
