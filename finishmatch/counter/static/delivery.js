// A delivery is checked in: what was ordered, its photos, the judgement, the signature.

import { byId, el, say, trouble } from '../../page/static/dom.js';
import * as api from './api.js';
import { swatch } from './draw.js';
import { stage, taker } from './photo.js';

const DECISIONS = { pass: 'Pass', hold: 'Hold', 'send back': 'Send back' };
let kinds = [];
let photos = [];

const field = (id, words, props = {}) => el('div', { class: 'field' }, el('label', { for: id }, words), el('input', { id, autocomplete: 'off', ...props }));

async function drawForm() {
  kinds = (await api.search('', 'newest', 0)).kinds;
  const name = (kind) => [kind.finish ?? 'no finish name', kind.maker ?? 'no maker'].join(', ');
  const select = el('select', { id: 'kind', onchange: () => { byId('new-kind').hidden = select.value !== ''; } },
    ...kinds.map((kind, i) => el('option', { value: String(i) }, name(kind))), el('option', { value: '' }, 'Another finish…'));
  byId('delivery-form').replaceChildren(
    el('div', { class: 'field' }, el('label', { for: 'kind' }, 'Finish'), select),
    el('div', { id: 'new-kind', class: 'pair', hidden: kinds.length ? '' : null }, field('new-finish', 'Finish name'), field('new-maker', 'Maker')),
    field('batch', 'Batch, as the delivery note says', { required: '' }),
    field('piece', 'What its parts are, such as hinge'),
  );
}

const typed = (id) => byId(id).value.trim() || null;

function said() {
  const kind = byId('kind').value;
  const of = kind === '' ? { maker: typed('new-maker'), finish: typed('new-finish') } : kinds[Number(kind)];
  const marks = photos.flatMap(({ photo, off }, n) =>
    photo.outlines.map((outline, i) => ({ photo: photo.id, name: `${typed('piece') ?? of.finish ?? 'part'} ${photos.length > 1 ? `${n + 1}.` : ''}${i + 1}`, outline })).filter((_, i) => !off.has(i)));
  return { maker: of.maker, finish: of.finish, batch: byId('batch').value, marks };
}

function taken(photo) {
  const off = new Set();
  const one = { photo, off };
  const toggle = (i) => {
    if (!off.delete(i)) off.add(i);
    changed();
  };
  const add = async (point) => {
    try {
      photo.outlines.push((await api.outline(photo.id, point)).outline);
      changed();
    } catch (error) {
      trouble(error.message);
    }
  };
  const words = el('p', { role: 'status' });
  const drawn = stage(photo, { at: add, on: toggle, chosen: (i) => !off.has(i), said: 'Parts that were found: press one to leave it out' });
  const changed = () => {
    drawn.draw();
    const count = photo.outlines.length - off.size;
    words.textContent = `${count} ${count === 1 ? 'part' : 'parts'} marked. Press a part to leave it out, or click one that was missed.`;
    byId('delivery-result').replaceChildren();
  };
  photos.push(one);
  const away = el('button', { type: 'button', onclick: () => { photos = photos.filter((other) => other !== one); node.remove(); byId('delivery-check').hidden = !photos.length; byId('delivery-result').replaceChildren(); } }, 'Leave this photo out');
  const node = el('div', { class: 'taken' }, drawn.node, words, away);
  byId('delivery-photos').append(node);
  byId('delivery-check').hidden = false;
  changed();
}

async function check() {
  const button = byId('delivery-check');
  if (!byId('batch').value.trim()) {
    trouble('Say the batch first.');
    byId('batch').focus();
    return;
  }
  button.setAttribute('aria-busy', 'true');
  try {
    const delivery = said();
    if (!delivery.marks.length) throw new Error('Mark at least one part.');
    draw(await api.checkIn(delivery), delivery);
    trouble('');
  } catch (error) {
    trouble(error.message);
  } finally {
    button.removeAttribute('aria-busy');
  }
}

function draw(checked, delivery) {
  const form = el('form', { class: 'form', onsubmit: (event) => sign(event, delivery) },
    el('h3', {}, 'Sign it off'),
    el('div', { class: 'field' }, el('label', { for: 'decision' }, 'Decision'),
      el('select', { id: 'decision', onchange: () => { byId('keep').checked = byId('decision').value === 'pass'; } },
        ...Object.entries(DECISIONS).map(([key, words]) => el('option', { value: key, selected: key === checked.decision ? '' : null }, words)))),
    field('signed-by', 'Your name', { required: '', autocomplete: 'name' }),
    el('div', { class: 'check' }, el('input', { type: 'checkbox', id: 'keep', checked: checked.decision === 'pass' ? '' : null }), el('label', { for: 'keep' }, 'Put its parts on the shelf, as a lot that later ones are compared with')),
    el('p', { class: 'buttons' }, el('button', { type: 'submit', class: 'strong' }, 'Sign')));
  byId('delivery-result').replaceChildren(
    el('div', { class: 'bench judged' },
      el('h3', { class: 'decision', tabindex: '-1' }, DECISIONS[checked.decision]),
      el('ul', { class: 'reasons' }, ...checked.reasons.map((reason) => el('li', {}, reason))),
      el('p', { class: 'small' }, `Rests on ${checked.rests}.`),
      el('ul', { class: 'lots' }, ...checked.lots.map((lot) => el('li', {}, swatch(lot.swatch), el('b', {}, lot.batch), el('span', { class: 'small' }, `${lot.parts}${lot.far ? `, ${lot.far} from those before` : ''}`))))),
    form,
  );
  byId('delivery-result').querySelector('h3').focus();
}

async function sign(event, delivery) {
  event.preventDefault();
  try {
    const signed = await api.sign({ delivery, decision: byId('decision').value, signed_by: byId('signed-by').value, keep: byId('keep').checked });
    photos = [];
    byId('delivery-photos').replaceChildren();
    byId('delivery-check').hidden = true;
    byId('delivery-result').replaceChildren(el('p', { class: 'done' }, 'Signed. ', el('a', { href: signed.sheet, target: '_blank', rel: 'noopener' }, 'The sheet to print')));
    say('Signed');
    await past();
  } catch (error) {
    trouble(error.message);
  }
}

async function past() {
  const found = await api.deliveries();
  byId('delivery-past').replaceChildren();
  if (!found.length) return;
  byId('delivery-past').append(el('h3', {}, 'Checked in before'),
    el('ul', { class: 'rows' }, ...found.map((one) => el('li', {}, el('span', {}, el('b', {}, DECISIONS[one.decision] ?? one.decision), ` · ${[one.finish, one.maker, one.batch].filter(Boolean).join(', ')} · ${one.day}, ${one.signed_by}`), el('a', { class: 'button', href: `/delivery/${one.number}`, target: '_blank', rel: 'noopener' }, 'Sheet')))));
}

byId('delivery-check').addEventListener('click', check);
byId('delivery-form').addEventListener('submit', (event) => { event.preventDefault(); check(); });

export async function openDelivery() {
  if (!byId('delivery-take').firstChild) taker(byId('delivery-take'), taken, true);
  try {
    if (!byId('delivery-form').firstChild) await drawForm();
    await past();
  } catch (error) {
    trouble(error.message);
  }
}
