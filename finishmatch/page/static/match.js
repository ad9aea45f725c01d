// How large a difference may be: the build's tolerances, in words and numbers.

import { tolerances } from './declared.js';
import { change, listen, store } from './store.js';
import { byId, el } from './dom.js';

const inputs = tolerances.map(({ key, words, usual, most }) => {
  const id = `tolerance-${key}`;
  const input = el('input', { id, type: 'number', min: 0.1, max: most, step: 0.1, onchange: () => write(key, usual, input) });
  byId('match-body').append(el('p', { class: 'field' }, el('label', { for: id }, words), input));
  return { key, usual, input };
});
byId('match-body').append(el('p', { class: 'quiet small' }, 'In CIEDE2000; smaller is stricter.'));

function write(key, usual, input) {
  const typed = Number(input.value);
  if (!(typed > 0 && typed <= input.max)) {
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
