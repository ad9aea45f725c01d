// What comes next: three steps until the first verdict, the one thing to do now, and what the photo asks.

import { listen, store, tell } from './store.js';
import { marksOf, photoOf } from './draft.js';
import { byId, el, say } from './dom.js';
import { placeByHand, setKind } from './card.js';
import { askName } from './naming.js';
import { isUnnamed } from './numbers.js';
import { wasAdded } from './photos.js';
import { findParts } from './propose.js';
import { cardCorners } from './shapes.js';
import { click, counted } from './words.js';

const CARD_TROUBLE = new Set(['card_not_found', 'card_order_unclear', 'card_unfit', 'card_unplaced']);
const body = byId('next-body');
const answered = new Set(); // photos of which a person has said what card they show
const nowCardless = new Set(); // photos in which none was found: taken as such, and asked about
let shown = '';

// A photo that was added here and in which no chart was found is one without a card, until somebody says otherwise.
function takeAsCardless() {
  const { photo } = store;
  const pane = store.pane.photos[photo];
  const lacks = pane?.failure === 'card_not_found' && wasAdded(photo) && !answered.has(photo) && !cardCorners();
  if (!lacks || nowCardless.has(photo)) return;
  nowCardless.add(photo);
  queueMicrotask(() => setKind('none'));
}

function answer(kind) {
  answered.add(store.photo);
  if (kind === 'corners') {
    if (photoOf(store.draft, store.photo).card.kind === 'none') setKind('chart24');
    placeByHand();
  } else if (kind !== photoOf(store.draft, store.photo).card.kind) setKind(kind);
  say(kind === 'none' ? 'No card in this photo' : 'The card is looked at again');
  tell();
}

const button = (words, onclick, strong = false) => el('button', { type: 'button', class: strong ? 'strong' : null, onclick }, words);

const ANSWERS = [['It has no card', 'none'], ['I show you its corners', 'corners'], ['It is a white sheet', 'white']];

function question() {
  const { photo } = store;
  const pane = store.pane.photos[photo];
  if (!pane || answered.has(photo)) return null;
  const cardless = nowCardless.has(photo) && photoOf(store.draft, photo)?.card.kind === 'none';
  if (!cardless && !CARD_TROUBLE.has(pane.failure)) return null;
  return { words: cardless ? 'No chart was found in this photo. Is that so?' : pane.text, key: `card ${pane.failure}` };
}

// The one thing to do now: words, the button's words, and what it does.
function nextThing() {
  const marks = marksOf(store.draft, store.photo);
  const unnamed = marks.find((mark) => isUnnamed(mark.name));
  if (!store.pane.photos[store.photo]) return { words: 'The photo is being read.' };
  if (!marks.length) return { words: `${click === 'tap' ? 'Tap' : 'Click'} each part in the photo, or`, does: 'Find the parts', act: findParts };
  if (unnamed) return { words: `${counted(marks.filter((mark) => isUnnamed(mark.name)).length, 'part has', 'parts have')} no name yet.`, does: `Name ${unnamed.name}`, act: () => {
    tell({ selected: { kind: 'mark', name: unnamed.name } });
    askName(unnamed.name);
  } };
  if (store.pane.verdict) return { words: 'The verdict stands below the photo.', report: true };
  return { words: 'The parts are being compared.' };
}

function steps(at) {
  const words = ['Photograph', 'Mark', 'Read'];
  return el('ol', { class: 'three-steps', 'aria-label': 'Steps' }, ...words.map((one, i) => el('li', { 'aria-current': i === at ? 'step' : null }, `${i + 1}. ${one}`)));
}

function render(asked, thing, first) {
  const reading = first ? [steps(marksOf(store.draft, store.photo).length ? 2 : 1)] : [];
  if (asked) {
    const buttons = ANSWERS.map(([words, kind], i) => button(words, () => answer(kind), i === 0));
    body.replaceChildren(...reading, el('div', { class: 'question' }, el('p', {}, asked.words), el('p', { class: 'buttons' }, ...buttons)));
    return;
  }
  const act = thing.does ? [button(thing.does, thing.act, true)] : [];
  const report = thing.report ? [el('a', { class: 'button strong', href: '/report', target: '_blank', rel: 'noopener' }, 'Read the report')] : [];
  body.replaceChildren(...reading, el('p', {}, thing.words), ...(act.length + report.length ? [el('p', { class: 'buttons' }, ...act, ...report)] : []));
}

listen(() => {
  takeAsCardless();
  byId('next-body').parentElement.hidden = !store.photo;
  if (!store.photo) return;
  const asked = question();
  const thing = nextThing();
  const first = !store.pane.verdict;
  const wanted = JSON.stringify([store.photo, asked, thing, first, marksOf(store.draft, store.photo).length > 0]);
  if (wanted === shown) return;
  shown = wanted;
  render(asked, thing, first);
});
