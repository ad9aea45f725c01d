// What the photos say: one line with the sets' strip, which opens to sets, offers, pairs. Colours and words come from the server.

import { change, listen, store, tell } from './store.js';
import { marksOf, setFact } from './draft.js';
import { byId, el, say, shape } from './dom.js';
import { offers } from './buying.js';
import { numberOf } from './numbers.js';
import { counted } from './words.js';

const SIGNS = { alike: '=', unsure: '?', differs: '≠' };
const KINDS = [['differs', 'Pairs that differ'], ['unsure', 'Pairs that cannot be told'], ['alike', 'Pairs that look alike']];
const body = byId('live-body');
const headline = byId('headline');
const strip = byId('strip');
const opener = byId('live-open');
let shown;
const unfolded = new Set();

opener.addEventListener('click', () => show(body.hidden));

function show(on) {
  body.hidden = !on;
  opener.setAttribute('aria-expanded', String(on));
}

function swatch(colour) {
  const node = el('span', { class: 'swatch' });
  if (colour) node.style.backgroundColor = colour;
  return node;
}

function open(name) {
  const here = (photo) => marksOf(store.draft, photo.file).some((mark) => mark.name === name);
  const current = store.draft.photo.find((photo) => photo.file === store.photo && here(photo));
  const photo = current ?? store.draft.photo.find(here);
  if (photo) tell({ photo: photo.file, selected: { kind: 'mark', name } });
}

// The line in which a set's parts are drawn on the photo.
const band = (dashes) => shape('svg', { viewBox: '0 0 40 6', class: 'band', 'aria-hidden': true },
  shape('path', { d: 'M0 3H40', 'stroke-dasharray': dashes || 'none' }));

function chip(piece) {
  const node = el('button', { type: 'button', class: 'chip', title: piece.name, 'aria-label': `${numberOf(piece.name)} ${piece.name}, ${piece.words}`, onclick: () => open(piece.name) }, swatch(piece.swatch), el('span', { class: 'tag' }, String(numberOf(piece.name))));
  return el('li', {}, node);
}

const byNumber = (pieces) => [...pieces].sort((a, b) => numberOf(a.name) - numberOf(b.name));

function bandOfSet({ letter, dashes, parts }) {
  return el('section', { class: 'strip-set', 'aria-label': `Set ${letter}` }, el('h3', {}, letter, band(dashes)), el('ul', { class: 'chips' }, ...byNumber(parts).map(chip)));
}

function tile(piece) {
  const crop = piece.crop ? el('img', { class: 'crop', src: piece.crop, alt: '' }) : null;
  const name = el('button', { type: 'button', class: 'plain', onclick: () => open(piece.name) }, el('span', { class: 'tag' }, String(numberOf(piece.name))), el('bdi', {}, piece.name));
  const flag = piece.stands_out ? el('span', { class: 'flag small' }, 'stands out') : null;
  const words = piece.swatch ? piece.words : piece.notes.join(' ') || piece.words; // why there is no colour
  const seen = el('span', { class: 'seen' }, ...[crop, swatch(piece.swatch)].filter(Boolean));
  return el('li', { class: piece.swatch ? 'tile' : 'tile refused' }, seen, name, el('span', { class: 'small' }, words), flag);
}

function group(title, pieces, dashes) {
  return el('section', { class: 'set' }, el('h3', {}, title, ...(dashes === undefined ? [] : [band(dashes)])), el('ul', { class: 'tiles' }, ...byNumber(pieces).map(tile)));
}

// What a family is sold as is asked where its parts' colours alone made it.
function labelForm(family, i) {
  const input = el('input', { id: `family-${i}`, maxlength: 200, autocomplete: 'off', required: true });
  const label = el('label', { for: `family-${i}` }, `${family.name} (`, el('bdi', {}, family.parts.join(', ')), ') is sold as');
  const form = el('form', { class: 'field' }, label, input, el('button', { type: 'submit' }, 'Say so'));
  form.addEventListener('submit', (event) => {
    event.preventDefault();
    const wanted = input.value.trim();
    if (!wanted) return;
    change((draft) => {
      for (const name of family.parts) setFact(draft, name, 'finish', wanted);
    });
    say(`${family.parts.join(', ')}: sold as ${wanted}`);
  });
  return form;
}

function pairRow(pair) {
  return el('li', { 'data-verdict': pair.verdict },
    el('span', { class: 'sign', 'aria-hidden': true }, SIGNS[pair.verdict]),
    el('span', { class: 'tags' }, pair.parts.map(numberOf).join(' – ')),
    el('span', { class: 'verdict' }, pair.verdict),
    el('span', { class: 'words' }, pair.words),
    el('span', { class: 'numbers small' }, pair.figures));
}

// One kind of pairs, folded: many of them are of no interest at a glance.
function pairs(all, verdict, title) {
  const these = all.filter((pair) => pair.verdict === verdict);
  if (!these.length) return null;
  const node = el('details', { open: unfolded.has(verdict) }, el('summary', {}, `${title}: ${these.length}`));
  const fill = () => node.children.length === 1 && node.append(
    el('p', { class: 'quiet small' }, 'The figures: CIEDE2000 at equal light, and where it lies with 90 %.'), el('ul', { class: 'pairs' }, ...these.map(pairRow)));
  node.addEventListener('toggle', () => {
    if (node.open) fill();
    unfolded[node.open ? 'add' : 'delete'](verdict);
  });
  if (node.open) fill();
  return node;
}

function message(text) {
  const copy = el('button', { type: 'button', class: 'small', onclick: async () => {
    await navigator.clipboard?.writeText(text);
    say('Copied');
  } }, 'Copy');
  return el('li', {}, el('p', {}, text), ...(navigator.clipboard ? [copy] : []));
}

function words(verdict) {
  const box = el('div', { class: 'judged' });
  box.append(...offers(verdict.buying));
  if (verdict.advice.length) box.append(el('section', {}, el('h3', {}, 'What to do'), el('ul', { class: 'notes' }, ...verdict.advice.map((text) => el('li', {}, text)))));
  if (verdict.unnamed.length) box.append(el('section', { class: 'form' }, el('h3', {}, 'Which finish is which?'), ...verdict.unnamed.map(labelForm)));
  if (verdict.messages.length) box.append(el('details', {}, el('summary', {}, `Messages to sellers: ${verdict.messages.length}`), el('ul', { class: 'form' }, ...verdict.messages.map(message))));
  box.append(...KINDS.map(([kind, title]) => pairs(verdict.pairs, kind, title)).filter(Boolean));
  return box;
}

function render({ verdict }) {
  opener.hidden = !verdict;
  strip.replaceChildren();
  body.replaceChildren();
  if (!verdict) return show(false);
  const left = [...verdict.loose, ...verdict.refused];
  strip.append(...verdict.sets.map(bandOfSet), ...(left.length ? [bandOfSet({ letter: '–', dashes: '1 3', parts: left })] : []));
  strip.lastElementChild?.setAttribute('aria-label', left.length ? 'In no set' : `Set ${verdict.sets.at(-1)?.letter}`);
  const groups = verdict.sets.map((set) => group(set.title, set.parts, set.dashes));
  if (verdict.loose.length) groups.push(group('In no set', verdict.loose));
  if (verdict.refused.length) groups.push(group('Not measured', verdict.refused));
  body.append(el('p', { class: 'whole' }, verdict.headline), el('div', { class: 'sets' }, ...groups), words(verdict));
}

function line() {
  const { verdict, message: text } = store.pane;
  if (!store.draft.photo?.length) return 'Add a photo to begin.';
  if (store.progress) return `Reading photos: ${store.progress.done} of ${counted(store.progress.of, 'photo')}`;
  return text || verdict?.headline || (store.judging ? 'Reading the photo' : 'Mark a part to see its colour.');
}

listen(() => {
  headline.classList.toggle('busy', store.judging);
  if (headline.textContent !== line()) headline.textContent = line();
  if (shown === store.pane) return;
  shown = store.pane;
  render(store.pane);
});
