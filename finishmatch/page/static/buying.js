// What to buy: the offers of each slot with their reasons, and the steps of price against match.

import { el } from './dom.js';
import { numberOf } from './numbers.js';

const head = (words) => el('th', { scope: 'col' }, words);

function offerRow(offer) {
  const colour = el('span', { class: 'swatch' });
  if (offer.swatch) colour.style.backgroundColor = offer.swatch;
  return el('tr', { class: offer.taken ? 'taken' : null },
    el('th', { scope: 'row' }, colour, el('span', { class: 'tag' }, String(numberOf(offer.name))), ' ', el('bdi', {}, offer.name), offer.taken ? el('span', { class: 'flag small' }, 'nearest') : null),
    el('td', {}, offer.price), el('td', {}, offer.verdict), el('td', {}, offer.why));
}

function slotTable({ name, offers: rows }) {
  return el('table', { class: 'offers' }, el('caption', {}, el('bdi', {}, name)),
    el('thead', {}, el('tr', {}, head('Offer'), head('Price'), head('Verdict'), head('Why not'))),
    el('tbody', {}, ...rows.map(offerRow)));
}

function stepsList(steps) {
  if (steps.length < 2) return null;
  const items = steps.map(({ picks, price, sure }) => el('li', {}, el('b', {}, price), ` ${picks}; ${sure} sure that all agree`));
  return el('details', {}, el('summary', {}, `From the nearest to the cheapest: ${steps.length} choices`), el('ul', { class: 'notes' }, ...items));
}

// Nothing where nothing is offered.
export function offers({ slots, steps }) {
  if (!slots.length) return [];
  return [el('section', { class: 'form' }, el('h3', {}, 'Offers'), ...slots.map(slotTable), ...[stepsList(steps)].filter(Boolean))];
}
