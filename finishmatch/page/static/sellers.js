// What sellers ask for sending, and whether they take back.

import { change, listen, store } from './store.js';
import { el, field, say } from './dom.js';
import { showOptions } from './beside.js';

const RETURNS = [['', 'not known'], ['yes', 'taken back'], ['no', 'not taken back']];

const list = el('div', { class: 'sellers' });
const fresh = el('input', { maxlength: 200, autocomplete: 'off' });
const add = el('button', { type: 'button', onclick: addSeller }, 'Add');
export const sellers = el('details', { id: 'sellers' }, el('summary', {}, 'Sellers: sending and returns'),
  list, field('seller-new', 'Another seller', fresh), el('p', { class: 'buttons' }, add));

let refreshers = [];
let built = '';

// A seller that a part names is one of the build's.
export function knowSeller(draft, name) {
  if (name && !draft.seller?.some((one) => one.name === name)) draft.seller = [...(draft.seller ?? []), { name }];
}

function addSeller() {
  const name = fresh.value.trim();
  if (!name) return fresh.focus();
  fresh.value = '';
  change((draft) => knowSeller(draft, name));
  say(`${name} is a seller of this build`);
}

function write(name, key, value) {
  change((draft) => {
    const seller = draft.seller.find((one) => one.name === name);
    seller[key] = value;
    if (seller.shipping === null) seller.free_from = null; // what nothing is asked for cannot be free
    if (!seller.returns) seller.return_cost = null;
  });
}

function takeOut(name) {
  change((draft) => {
    draft.seller = draft.seller.filter((one) => one.name !== name);
    for (const part of draft.part ?? []) if (part.seller === name) part.seller = null;
  });
  say(`${name} taken out. Undo brings the seller back.`);
}

function callIt(from, to) {
  if (!to || store.draft.seller.some((one) => one.name === to)) return;
  change((draft) => {
    draft.seller.find((one) => one.name === from).name = to;
    for (const part of draft.part ?? []) if (part.seller === from) part.seller = to;
  });
}

const sellerOf = (name) => store.draft.seller?.find((one) => one.name === name) ?? {};

function amount(name, key, words, i, hint) {
  const input = el('input', { type: 'number', min: 0, step: 'any', inputmode: 'decimal', onchange: () => write(name, key, input.value === '' ? null : Math.max(0, Number(input.value))) });
  const node = field(`seller-${i}-${key}`, words, input, hint);
  return { node, refresh: () => {
    if (document.activeElement !== input) input.value = sellerOf(name)[key] ?? '';
  } };
}

function sellerForm({ name }, i) {
  const called = el('input', { maxlength: 200, value: name, onchange: () => callIt(name, called.value.trim()) });
  const returns = el('select', { onchange: () => write(name, 'returns', returns.value ? returns.value === 'yes' : null) });
  const [shipping, free, back] = [
    amount(name, 'shipping', 'Sending costs', i), amount(name, 'free_from', 'Free from', i), amount(name, 'return_cost', 'Sending back costs', i)];
  refreshers.push(() => {
    const seller = sellerOf(name);
    for (const one of [shipping, free, back]) one.refresh();
    showOptions(returns, RETURNS, seller.returns === true ? 'yes' : seller.returns === false ? 'no' : '');
    free.node.hidden = typeof seller.shipping !== 'number';
    back.node.hidden = seller.returns !== true;
  });
  return el('fieldset', { class: 'form' }, el('legend', { class: 'unseen' }, el('bdi', {}, name)), field(`seller-${i}-name`, 'Name', called),
    el('div', { class: 'pair' }, shipping.node, free.node, field(`seller-${i}-returns`, 'Returns', returns), back.node),
    el('p', { class: 'buttons' }, el('button', { type: 'button', class: 'small', onclick: () => takeOut(name) }, 'Take this seller out')));
}

listen(() => {
  const all = store.draft.seller ?? [];
  const wanted = JSON.stringify(all.map(({ name }) => name));
  if (wanted !== built) {
    refreshers = [];
    list.replaceChildren(...all.map(sellerForm));
  }
  built = wanted;
  for (const refresh of refreshers) refresh();
});
