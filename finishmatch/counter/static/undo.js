// What was done last can be undone for as long as it is offered.

import { byId, el } from '../../page/static/dom.js';

export function offerUndo(words, undo) {
  const box = byId('undo');
  const close = () => box.replaceChildren();
  box.replaceChildren(
    el('p', {}, words),
    el('p', { class: 'buttons' },
      el('button', { type: 'button', onclick: () => { close(); undo(); } }, 'Undo'),
      el('button', { type: 'button', onclick: close }, 'Close')),
  );
}
