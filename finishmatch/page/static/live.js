// What the photos say: swatches, crops, sets, pairs. Colours and words come from the server as they are shown.

import { change, listen, store, tell } from './store.js';
import { marksOf, setFact } from './draft.js';
import { byId, el, say } from './dom.js';

const SIGNS = { alike: '=', unsure: '?', differs: '≠' };
const body = byId('live-body');
const headline = byId('headline');
let shown;

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

function tile(piece) {
  const crop = piece.crop ? el('img', { class: 'crop', src: piece.crop, alt: '' }) : el('span', { class: 'crop' });
  const name = el('button', { type: 'button', class: 'plain', onclick: () => open(piece.name) }, el('span', { class: 'tag' }, piece.tag), el('bdi', {}, piece.name));
  const flag = piece.stands_out ? el('span', { class: 'flag small' }, 'stands out') : null;
  const words = piece.swatch ? piece.words : piece.notes.join(' ') || piece.words; // why there is no colour
  return el('li', { class: piece.swatch ? 'tile' : 'tile refused' }, crop, swatch(piece.swatch), name, el('span', { class: 'small' }, words), flag);
}

function group(title, pieces) {
  return el('section', { class: 'set' }, el('h3', {}, title), el('ul', { class: 'tiles' }, ...pieces.map(tile)));
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
    el('span', { class: 'tags' }, pair.tags.join(' – ')),
    el('span', { class: 'verdict' }, pair.verdict),
    el('span', { class: 'numbers small' }, pair.numbers),
    el('span', { class: 'words' }, pair.words));
}

function render({ verdict, message }) {
  headline.textContent = store.draft.photo?.length ? message ?? verdict?.headline ?? '' : 'Add a photo with a reference card to begin.';
  body.replaceChildren();
  body.hidden = !verdict;
  if (!verdict) return;
  const groups = verdict.sets.map((set) => group(set.title, set.parts));
  if (verdict.loose.length) groups.push(group('In no set', verdict.loose));
  if (verdict.refused.length) groups.push(group('Not measured', verdict.refused));
  body.append(el('div', { class: 'sets' }, ...groups));
  const words = el('div', { class: 'judged' });
  if (verdict.unnamed.length) words.append(el('h3', {}, 'Which finish is which?'), ...verdict.unnamed.map(labelForm));
  if (verdict.pairs.length) words.append(el('h3', {}, 'Pairs'), el('p', { class: 'small' }, 'CIEDE2000 at equal light, and where it lies with 90 %'), el('ul', { class: 'pairs' }, ...verdict.pairs.map(pairRow)));
  if (verdict.advice.length) words.append(el('h3', {}, 'What to do'), el('ul', { class: 'notes' }, ...verdict.advice.map((text) => el('li', {}, text))));
  if (words.children.length) body.append(words);
}

listen(() => {
  byId('headline').classList.toggle('busy', store.judging);
  if (shown === store.pane) return;
  shown = store.pane;
  render(store.pane);
});
