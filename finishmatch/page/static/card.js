// The reference card of the photo: which one, where it lies, how well it fits.

import { change, listen, store, tell } from './store.js';
import { photoOf } from './draft.js';
import { byId, el, say } from './dom.js';
import { cardCorners, cardOf, guessed, setCorners } from './shapes.js';
import * as api from './api.js';
import { cardTable } from './coords.js';
import { cardKind, cards } from './declared.js';

const options = (list) => list.map(([value, words]) => el('option', { value }, words));

const kind = el('select', { id: 'card-kind', onchange: setKind }, ...options(cards.map((card) => [card.kind, card.words])));
const own = el('option', { value: 'own' }, 'a card file');
const edition = el('select', { id: 'card-edition', onchange: setEdition });
const editionRow = el('p', { class: 'field' }, el('label', { for: 'card-edition' }, 'Edition'), edition);
const light = el('input', { id: 'photo-light', list: 'lights', maxlength: 200, onchange: setLight });
const lights = el('datalist', { id: 'lights' });
const quality = el('p', { class: 'quality' });
const notes = el('ul', { class: 'notes small' });
const locate = el('button', { type: 'button', onclick: locateAgain }, 'Find it by itself');
const yes = el('button', { type: 'button', class: 'strong', onclick: confirmGuess }, 'Yes, the card lies there');
const hand = el('button', { type: 'button', onclick: placeByHand }, 'Place the corners');
const papers = ['A4.pdf', 'A4.png', 'Letter.pdf', 'Letter.png'].map((file) => {
  const [paper, format] = file.split('.');
  return el('a', { class: 'button', href: `/sheet/${file}`, download: '' }, `${paper}, ${format.toUpperCase()}`);
});
const print = el('details', {},
  el('summary', {}, 'Print a card of your own'),
  el('p', { class: 'papers' }, ...papers),
  el('p', { class: 'quiet small' }, 'In colour, at actual size, on matt paper. Lay the same print beside the parts in every photo; choose “printed sheet” above.'));
const table = cardTable();
const where = el('details', {}, el('summary', {}, 'Corners as numbers'), table.node);

byId('card-body').append(
  el('p', { class: 'field' }, el('label', { for: 'card-kind' }, 'Card'), kind),
  editionRow, print, quality, notes,
  el('p', { class: 'buttons' }, yes, hand, locate), where,
  el('p', { class: 'field' }, el('label', { for: 'photo-light' }, 'Light'), light), lights,
  el('p', { class: 'quiet small' }, 'The same words in several photos: taken in the same light.'),
);

function setKind() {
  change((draft) => {
    const photo = photoOf(draft, store.photo);
    if (kind.value === 'own') return;
    photo.card = { kind: kind.value };
  });
  tell({ selected: cardCorners() ? { kind: 'card' } : null, guess: null });
  if (cardKind(kind.value)?.plain && !cardCorners()) guess();
}

// A plain card measures nothing before it is placed; where it may lie is drawn, and the person says whether.
async function guess() {
  const { photo } = store;
  const { corners } = await api.plainCard(photo, kind.value).catch(() => ({ corners: null }));
  if (!corners) return;
  tell({ guess: { photo, corners } });
  say('The card may lie where the broken line is: confirm it, or place the corners.');
}

function confirmGuess() {
  const corners = guessed();
  if (corners) change((draft) => setCorners(draft, corners));
  tell({ selected: { kind: 'card' }, guess: null });
}

function showEditions(list) {
  editionRow.hidden = !list.length;
  if (!list.length || edition.children.length === list.length + 1) return;
  const unknown = ['', `newest (${list[0].name}), if not known`];
  edition.replaceChildren(...options([unknown, ...list.map(({ name, words }) => [name, words])]));
}

function setEdition() {
  change((draft) => {
    photoOf(draft, store.photo).card.edition = edition.value || null;
  });
}

function setLight() {
  change((draft) => {
    photoOf(draft, store.photo).light = light.value.trim() || null;
  });
}

// A card to be dragged into place: the middle third of the photo.
function middle() {
  const { width, height } = store.facts[store.photo];
  const [half, tall] = [width / 6, height / 6];
  const [x, y] = [width / 2, height / 2];
  return [[x - half, y - tall], [x + half, y - tall], [x + half, y + tall], [x - half, y + tall]];
}

function placeByHand() {
  if (!cardCorners()) change((draft) => setCorners(draft, middle()));
  tell({ selected: { kind: 'card' }, tool: 'choose' });
  byId('stage').querySelector('.handle')?.focus();
  say('Four corners: Tab goes from one to the next, the arrow keys move it.');
}

function locateAgain() {
  change((draft) => {
    const { card } = photoOf(draft, store.photo);
    delete card.corners;
    delete card.box;
  });
  say('Looking for the card');
}

listen(() => {
  byId('card').hidden = !store.photo;
  if (!store.photo) return;
  const card = cardOf(store.draft, store.photo);
  const known = cardKind(card.kind);
  if (known) own.remove();
  else kind.append(own);
  kind.value = known ? card.kind : 'own';
  showEditions(known?.editions ?? []);
  edition.value = card.edition ?? '';
  if (document.activeElement !== light) light.value = photoOf(store.draft, store.photo)?.light ?? '';
  const words = [...new Set(store.draft.photo.map((photo) => photo.light).filter(Boolean))];
  lights.replaceChildren(...words.map((value) => el('option', { value })));
  const pane = store.pane.photos[store.photo];
  quality.textContent = pane?.text ?? (store.judging ? 'Reading the card…' : '');
  quality.dataset.grade = pane?.grade ?? '';
  notes.replaceChildren(...(pane?.notes ?? []).map((text) => el('li', {}, text)));
  const cornered = card.kind !== 'none';
  yes.hidden = !guessed();
  hand.hidden = !cornered;
  hand.textContent = cardCorners() ? 'Adjust the corners' : 'Place the corners';
  locate.hidden = !known?.located || !card.corners;
  where.hidden = !cornered || !cardCorners();
  table.update();
});
