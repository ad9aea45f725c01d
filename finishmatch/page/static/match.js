// How large a difference may be: the build's tolerances, in words and numbers.

import { change, listen, store } from './store.js';
import { byId, el } from './dom.js';

const FIELDS = [['touching', 'Parts that touch', 1.5], ['together', 'Seen in one glance', 2.5], ['apart', 'Never side by side', 4]];

const inputs = FIELDS.map(([key, label, usual]) => {
  const id = `tolerance-${key}`;
  const input = el('input', { id, type: 'number', min: 0.1, max: 100, step: 0.1, onchange: () => write(key, usual, input) });
  byId('match-body').append(el('p', { class: 'field' }, el('label', { for: id }, label), input));
  return { key, usual, input };
});
byId('match-body').append(el('p', { class: 'quiet small' }, 'In CIEDE2000; smaller is stricter.'));

function write(key, usual, input) {
  const typed = Number(input.value);
  if (!(typed > 0 && typed <= 100)) {
    input.value = store.draft.tolerance?.[key] ?? usual;
    return;
  }
  change((draft) => {
    draft.tolerance = { ...draft.tolerance, [key]: typed };
  });
}

listen(() => {
  for (const { key, usual, input } of inputs) {
    if (document.activeElement !== input) input.value = store.draft.tolerance?.[key] ?? usual;
  }
});
