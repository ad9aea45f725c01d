// The counter's page: three views, one at a time, by the address's fragment.

import { byId } from '../../page/static/dom.js';
import { openDelivery } from './delivery.js';
import { openDoor } from './devices.js';
import { openMatch } from './match.js';
import { openShelf } from './shelf.js';

const VIEWS = { shelf: openShelf, match: openMatch, delivery: openDelivery };

function show() {
  const [name, number] = location.hash.slice(1).split('/');
  const view = name in VIEWS ? name : 'shelf';
  for (const other of Object.keys(VIEWS)) byId(other).hidden = other !== view;
  for (const link of document.querySelectorAll('nav a')) {
    if (link.getAttribute('href') === `#${view}`) link.setAttribute('aria-current', 'page');
    else link.removeAttribute('aria-current');
  }
  VIEWS[view](number);
}

window.addEventListener('hashchange', show);
show();
openDoor();
