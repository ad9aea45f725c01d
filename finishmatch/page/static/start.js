// Where nothing is there yet: three steps, a way in for photos, and the builds of the folder.

import * as api from './api.js';
import { listen, open, store } from './store.js';
import { byId, el, shape, trouble } from './dom.js';
import { counted, touch } from './words.js';

const box = byId('start');
let shown = '';

const STEPS = [
  ['Photograph', 'Lay the parts and a reference card flat, side by side, in one even light. A 24-patch chart is best; plain white paper will do.'],
  ['Mark', `${touch ? 'Tap' : 'Click'} each part, or let all be found, and say what it is.`],
  ['Read', 'See at once which parts look alike, which stand out, and how sure that is.'],
];

// A card and parts on a bench, as the photo should show them: outlines alone, for the page has no colour of its own.
function picture() {
  const patches = [0, 1, 2].flatMap((row) => [0, 1, 2, 3].map((column) => shape('rect', { x: 150 + 15 * column, y: 62 + 15 * row, width: 12, height: 12, class: 'fill', opacity: 0.15 + 0.07 * (row * 4 + column) })));
  return shape('svg', { viewBox: '0 0 240 130', class: 'how', role: 'img', 'aria-label': 'Parts and a card side by side on a bench, seen from above' },
    shape('rect', { x: 3, y: 3, width: 234, height: 124, rx: 4 }),
    shape('rect', { x: 144, y: 56, width: 69, height: 54, rx: 2 }), ...patches,
    shape('path', { d: 'M26 34q36-18 74 0q8 8 0 12q-38-14-74 2q-10-6 0-14z' }),
    shape('circle', { cx: 48, cy: 88, r: 22 }), shape('circle', { cx: 48, cy: 88, r: 12 }),
    shape('rect', { x: 92, y: 66, width: 30, height: 46, rx: 2 }), shape('rect', { x: 128, y: 20, width: 62, height: 22, rx: 2 }));
}

function builds() {
  if (!store.builds.length) return [];
  const items = store.builds.map(({ id, file, name, photos }) => el('li', {},
    el('button', { type: 'button', class: 'build', onclick: () => open(api.openBuild(id)).catch((error) => trouble(error.message)) },
      el('bdi', {}, name), el('span', { class: 'quiet small' }, `${file}, ${counted(photos, 'photo')}`))));
  return [el('h3', {}, 'Or go on with a build of this folder'), el('ul', { class: 'builds' }, ...items)];
}

function render() {
  const steps = STEPS.map(([name, words], i) => el('li', {}, el('h3', {}, `${i + 1}. ${name}`), ...(i ? [] : [picture()]), el('p', { class: 'small' }, words)));
  box.replaceChildren(
    el('h2', {}, 'Which of these parts look alike?'),
    el('ol', { class: 'steps' }, ...steps),
    el('p', { class: 'buttons' },
      el('label', { class: 'button strong', for: 'add-photos' }, touch ? 'Choose photos' : 'Choose photos…'),
      ...(touch ? [el('label', { class: 'button', for: 'take-photo' }, 'Take a photo')] : [el('span', { class: 'quiet' }, 'or drop or paste them here')])),
    ...builds(),
  );
}

listen(() => {
  const empty = !store.draft.photo?.length && store.file !== '';
  box.hidden = !empty;
  const wanted = JSON.stringify([empty, store.builds]);
  if (wanted !== shown && empty) render();
  shown = wanted;
});
