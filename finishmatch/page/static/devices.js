// A phone that may come in beside this computer.

import * as api from './api.js';
import { watchDevices } from './admission.js';
import { listen, lookAgain, store } from './store.js';
import { byId } from './dom.js';

const WORDS = { title: 'Phone', may: 'may mark and add photos.', command: 'finishmatch mark --phone' };
const opener = byId('devices-open');
let watching = false;

opener.addEventListener('click', () => byId('devices').showModal());

listen(() => {
  opener.hidden = !store.devices;
  if (!store.devices || watching) return;
  watching = true;
  watchDevices(byId('devices'), { ask: api.devices, admit: api.admit, words: WORDS, after: lookAgain });
});
