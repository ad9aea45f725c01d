// The marking page.

import './photos.js';
import './start.js';
import './next.js';
import './card.js';
import './part.js';
import './match.js';
import './panes.js';
import './live.js';
import './devices.js';
import { zoomBy, zoomFit } from './stage.js';
import { byId, el, say, set, trouble } from './dom.js';
import { canRedo, canUndo, flush, listen, lookAgain, open, redo, resolve, store, undo, whenConflict } from './store.js';
import { setTool, TOOLS } from './tools.js';

const KEYS = [
  ['Tab', 'goes from one control or corner to the next'],
  ['Arrow keys', 'on the photo: move the cross; on a corner or point: move it by 1 pixel (Shift: 10, Alt: 0.1)'],
  ['Enter or Space', 'on the photo: click at the cross'],
  ['Enter', 'close the outline being drawn; Backspace takes a point back'],
  ['F, L, B, O, C', 'on the photo: find a part, loop, box, outline, choose'],
  ['+, -, 0', 'on the photo: zoom in, out, whole photo (or the wheel, or two fingers); just after an outline was proposed, + and - take a larger or smaller one'],
  ['Insert, Delete', 'on a point of an outline: add one after it, remove it'],
  ['Delete', 'on the photo: delete the chosen mark'],
  ['Esc', 'drop what is being drawn; choose nothing'],
  ['F2', 'on the photo: say what the chosen part is called'],
  ['Ctrl+Z, Ctrl+Shift+Z', 'undo, redo'],
  ['Ctrl+V', 'add the photo that was copied'],
  ['?', 'show these keys'],
];

for (const [name, tool] of Object.entries(TOOLS)) {
  byId('tools').append(el('button', { type: 'button', 'data-tool': name, onclick: () => setTool(name) }, tool.words));
}
byId('zoom').append(
  el('button', { type: 'button', 'aria-label': 'Zoom out', onclick: () => zoomBy(1 / 1.5) }, '−'),
  el('button', { type: 'button', 'aria-label': 'Zoom in', onclick: () => zoomBy(1.5) }, '+'),
  el('button', { type: 'button', onclick: zoomFit }, 'Whole photo'),
);

byId('undo').addEventListener('click', doUndo);
byId('redo').addEventListener('click', doRedo);
byId('help-open').addEventListener('click', () => byId('help').showModal());
byId('help').append(
  el('h2', { id: 'help-title' }, 'Keys'),
  el('dl', {}, ...KEYS.flatMap(([keys, words]) => [el('dt', {}, keys), el('dd', {}, words)])),
  el('p', {}, el('button', { type: 'button', onclick: () => byId('help').close() }, 'Close')),
);

function doUndo() {
  if (!canUndo()) return;
  undo();
  say('Undone');
}

function doRedo() {
  if (!canRedo()) return;
  redo();
  say('Done again');
}

document.addEventListener('keydown', (event) => {
  if (event.key === '?' && !/** @type {Element} */ (event.target).matches('input, select')) return byId('help').open || byId('help').showModal();
  if (!(event.ctrlKey || event.metaKey) || /** @type {Element} */ (event.target).matches('input:not([type=checkbox])')) return;
  const key = event.key.toLowerCase();
  if (key === 'z' && !event.shiftKey) doUndo();
  else if (key === 'y' || key === 'z') doRedo();
  else return;
  event.preventDefault();
});

whenConflict((theirs) => {
  const dialog = byId('conflict');
  const decide = (both) => () => {
    dialog.close();
    resolve(theirs, both);
  };
  dialog.replaceChildren(
    el('h2', { id: 'conflict-title' }, 'The build file was changed elsewhere'),
    el('p', {}, 'Another page or an editor saved it since this page read it. Nothing is lost yet: what is here can be brought back with Undo whatever you choose.'),
    el('p', { class: 'buttons' },
      el('button', { type: 'button', class: 'strong', onclick: decide(true) }, 'Keep both changes'),
      el('button', { type: 'button', onclick: decide(false) }, 'Take the other version')),
  );
  if (!dialog.open) dialog.showModal();
});
byId('conflict').addEventListener('cancel', (event) => event.preventDefault());

listen(() => {
  byId('build-name').textContent = store.draft.build?.name ?? 'Marking page';
  byId('build-file').textContent = store.file;
  byId('report').hidden = !store.pane.verdict;
  if (byId('saved').textContent !== store.saved) byId('saved').textContent = store.saved;
  byId('undo').setAttribute('aria-disabled', String(!canUndo()));
  byId('redo').setAttribute('aria-disabled', String(!canRedo()));
  byId('hint').textContent = TOOLS[store.tool].hint;
  for (const button of byId('tools').children) set(button, { 'aria-pressed': String(button.dataset.tool === store.tool) });
});

document.addEventListener('visibilitychange', () => (document.hidden ? flush() : lookAgain()));
window.addEventListener('focus', lookAgain);

open().catch((error) => trouble(error.message));
