// What matches this? One photo, one click, and the shelf's nearest finishes.

import { byId, el, say, trouble } from '../../page/static/dom.js';
import * as api from './api.js';
import { swatch } from './draw.js';
import { stage, taker } from './photo.js';
import { hit } from './record.js';

let photo = null;
let drawn = null;
let asking = null;
let which = -1;

function taken(one) {
  photo = one;
  which = -1;
  byId('match-found').hidden = true;
  drawn = stage(photo, { at: (point) => find({ x: point[0], y: point[1] }), on: (i) => pick(i), chosen: (i) => i === which, said: 'Parts that were found: choose one, or click anywhere in a part' });
  byId('match-stage').replaceChildren(drawn.node);
  say(`${photo.outlines.length} parts found; choose one`);
  drawn.node.scrollIntoView({ block: 'nearest' });
}

function pick(i) {
  which = i;
  find({ outline: photo.outlines[i] });
}

async function find(wanted) {
  asking?.abort();
  asking = new AbortController();
  const of = photo;
  byId('match-found').setAttribute('aria-busy', 'true');
  try {
    const answer = await api.match({ photo: of.id, ...wanted }, asking.signal);
    if (of !== photo) return;
    if (!wanted.outline) {
      photo.outlines.push(answer.outline);
      which = photo.outlines.length - 1;
    }
    trouble('');
    drawn.draw();
    draw(answer);
  } catch (error) {
    if (error.name !== 'AbortError') trouble(error.message);
  } finally {
    byId('match-found').removeAttribute('aria-busy');
  }
}

function draw({ part, crop, found }) {
  const box = byId('match-found');
  box.hidden = false;
  box.replaceChildren(
    el('div', { class: 'wanted' }, crop ? el('img', { src: crop, alt: 'This part', class: 'crop' }) : null, swatch(part.swatch, part.words), el('p', {}, part.words)),
    ...(part.says ? [el('p', { class: 'warned' }, part.says)] : []),
    el('h3', { tabindex: '-1' }, found.length ? (part.ranking ? 'Most like it first' : 'Best match first') : 'The shelf is empty'),
    el('ol', { class: `hits${part.ranking ? ' ranking' : ''}` }, ...found.map(hit)),
  );
  box.scrollIntoView({ block: 'nearest', behavior: 'smooth' });
}

export function openMatch() {
  if (!byId('match-take').firstChild) taker(byId('match-take'), taken, false);
}
