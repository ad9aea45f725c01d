// What a part is called: a name that another photo shows joins it to that part.

import { change, store } from './store.js';
import { marksOf, rename } from './draft.js';
import { say } from './dom.js';
import { renamedTo } from './numbers.js';
import { proposalRenamed } from './propose.js';

// Whether the part could be called so; says why not.
export function callIt(from, to) {
  if (!to || to === from) return true;
  if (marksOf(store.draft, store.photo).some((mark) => mark.name === to)) {
    say(`${to} is marked in this photo already`);
    return false;
  }
  renamedTo(from, to);
  proposalRenamed(from, to);
  change((draft) => {
    rename(draft, store.photo, from, to);
    return { kind: 'mark', name: to };
  });
  say(`Now called ${to}`);
  return true;
}
