// The side pane shows what belongs to the thing selected: the photo, its card, or one part.

import { listen, store, tell } from './store.js';
import { chosenMark } from './shapes.js';
import { byId } from './dom.js';

byId('back').addEventListener('click', () => {
  tell({ selected: null });
  byId('stage').focus({ preventScroll: true });
});

listen(() => {
  const part = Boolean(chosenMark());
  const card = store.selected?.kind === 'card';
  byId('side-back').hidden = !part && !card;
  byId('part').hidden = !part;
  byId('parts').hidden = part || card || !store.photo;
  byId('card').hidden = part || !store.photo;
  byId('card-full').hidden = !card;
  byId('card-open').hidden = card;
  byId('match').hidden = part || card || !store.photo;
});
