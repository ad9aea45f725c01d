// The reference card of the photo: which one, where it lies, how well it fits.

import { change, listen, store, tell } from './store.js';
import { photoOf } from './draft.js';
import { byId, el, field, say } from './dom.js';
import { cardCorners, cardOf, guessed, setCorners } from './shapes.js';
import * as api from './api.js';
import { cardTable } from './coords.js';
import { cardKind, cards } from './declared.js';
import { nameOf, showOptions } from './beside.js';
import { lightRows, tidyCharts } from './light.js';

const options = (list) => list.map(([value, words]) => el('option', { value }, words));
const button = (words, onclick, props = {}) => el('button', { type: 'button', onclick, ...props }, words);

const kind = el('select', { onchange: () => setKind(kind.value) });
const edition = el('select', { onchange: setEdition });
const editionRow = field('card-edition', 'Edition', edition);
const quality = el('p', { class: 'quality' });
const figures = el('p', { class: 'small' });
const notes = el('ul', { class: 'notes small' });
const details = el('details', {}, el('summary', {}, 'Details of the card'), figures, notes);
const locate = button('Find it by itself', locateAgain);
const yes = button('Yes, the card lies there', confirmGuess, { class: 'strong' });
const hand = button('Place the corners', placeByHand);
const second = button('Draw a second card', drawSecond);
const noSecond = button('Take the second card out', () => setCard((card) => {
  delete card.second_box;
}));
const everywhere = button('The same card and light for all photos', forAll);
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
  quality, el('p', { class: 'buttons', id: 'card-open' }, button('Card and light', () => tell({ selected: { kind: 'card' } }))),
  el('div', { id: 'card-full' },
    field('card-kind', 'Card', kind), editionRow, print,
    el('p', { class: 'buttons' }, yes, hand, locate, second, noSecond), details, where,
    lightRows,
    el('p', { class: 'buttons' }, everywhere)),
);

// One step: the photo's card changed.
const setCard = (edit) => change((draft) => {
  edit(photoOf(draft, store.photo).card);
});

export function setKind(wanted) {
  const file = store.beside.cards.find(({ id }) => id === wanted); // a card of one's own
  change((draft) => {
    photoOf(draft, store.photo).card = { kind: wanted, ...(file ? { layout: file.layout } : {}) };
    tidyCharts(draft);
  });
  tell({ guess: null });
  if (cardKind(wanted)?.plain && !cardCorners()) guess(wanted);
}

// A plain card measures nothing before it is placed; where it may lie is drawn, and the person says whether.
async function guess(wanted) {
  const { photo } = store;
  const { corners } = await api.plainCard(photo, wanted).catch(() => ({ corners: null }));
  if (!corners) return;
  tell({ guess: { photo, corners }, selected: { kind: 'card' } });
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
  setCard((card) => {
    card.edition = edition.value || null;
  });
}

// Kind, edition and light; each photo keeps where its own card lies.
function forAll() {
  const { card, light: words } = photoOf(store.draft, store.photo);
  change((draft) => {
    for (const photo of draft.photo) {
      if (photo.file === card.from) continue; // it shows the chart of all
      if (photo.card?.kind !== card.kind || photo.card?.from !== card.from) photo.card = { kind: card.kind };
      for (const key of ['layout', 'from']) if (card[key]) photo.card[key] = card[key];
      if (card.edition) photo.card.edition = card.edition;
      photo.light = words ?? null;
    }
  });
  say(`All ${store.draft.photo.length} photos have this card and light now`);
}

// A card to be dragged into place: the middle third of the photo.
function middle() {
  const { width, height } = store.facts[store.photo];
  const [half, tall] = [width / 6, height / 6];
  const [x, y] = [width / 2, height / 2];
  return [[x - half, y - tall], [x + half, y - tall], [x + half, y + tall], [x - half, y + tall]];
}

export function placeByHand() {
  if (!cardCorners()) change((draft) => setCorners(draft, middle()));
  tell({ selected: { kind: 'card' }, tool: 'choose' });
  byId('stage').querySelector('.handle')?.focus();
  say('Four corners: drag them, or Tab goes from one to the next and the arrow keys move it.');
}

function drawSecond() {
  tell({ tool: 'box', boxIs: 'second card' });
  say('Draw a box on the second card of the same kind.');
}

function locateAgain() {
  setCard((card) => {
    delete card.corners;
    delete card.box;
  });
  say('Looking for the card');
}

listen(() => {
  if (!store.photo) return;
  const card = cardOf(store.draft, store.photo);
  const known = cardKind(card.kind);
  const files = [...new Set([...store.beside.cards.map(({ id }) => id), ...(known ? [] : [card.kind])])];
  showOptions(kind, [...cards.map((one) => [one.kind, one.words]), ...files.map((id) => [id, `card file ${nameOf(id)}`])], card.kind);
  showEditions(card.from && photoOf(store.draft, card.from) ? [] : known?.editions ?? []);
  edition.value = card.edition ?? '';
  const pane = store.pane.photos[store.photo];
  quality.textContent = pane?.text ?? (store.judging ? 'Reading the card…' : '');
  quality.dataset.grade = pane?.grade ?? '';
  figures.textContent = pane?.figures ?? '';
  notes.replaceChildren(...(pane?.notes ?? []).map((text) => el('li', {}, text)));
  details.hidden = !pane?.figures && !pane?.notes.length;
  const cornered = card.kind !== 'none' && !card.from;
  yes.hidden = !guessed();
  hand.hidden = !cornered;
  hand.textContent = cardCorners() ? 'Adjust the corners' : 'Place the corners';
  locate.hidden = !known?.located || !card.corners;
  second.hidden = !known?.plain || !cardCorners() || Boolean(card.second_box);
  noSecond.hidden = !card.second_box;
  where.hidden = !cornered || !cardCorners();
  everywhere.hidden = store.draft.photo.length < 2;
  table.update();
});
