// Devices of the network that want in: the computer's page asks, and can send each away.

import * as api from './api.js';
import { listen, lookAgain, store } from './store.js';
import { byId, el, trouble } from './dom.js';

const LOOK_EVERY_MS = 2000;
const dialog = byId('devices');
const opener = byId('devices-open');
let looking = 0;
let last = '';

opener.addEventListener('click', () => dialog.showModal());

async function say(id, yes) {
  try {
    render(await api.admit(id, yes));
  } catch (error) {
    trouble(error.message);
    look();
  }
}

function row(device) {
  const waits = !device.admitted;
  const button = (words, yes, strong) => el('button', { type: 'button', class: strong ? 'strong' : null, onclick: () => say(device.id, yes) }, words);
  const words = waits ? `asks to come in. Does it show the number ${device.number}?` : 'may mark and add photos.';
  return el('li', { class: 'form' }, el('p', {}, `${device.words} (${device.address}) ${words}`),
    el('p', { class: 'buttons' }, ...(waits ? [button('Yes, let it in', true, true), button('No', false, false)] : [button('Send it away', false, false)])));
}

function render({ closed, devices }) {
  const wanted = JSON.stringify([closed, devices]);
  if (wanted === last) return;
  last = wanted;
  const none = closed ? 'Nobody came for 15 minutes, so the way in is closed. Start finishmatch mark --phone again.' : 'Scan the code that the terminal shows with the phone.';
  dialog.replaceChildren(el('h2', { id: 'devices-title' }, 'Phone'),
    devices.length ? el('ul', { class: 'form' }, ...devices.map(row)) : el('p', {}, none),
    el('p', { class: 'small' }, 'What travels between the two is not encrypted. Use it on a network that you trust.'),
    el('p', {}, el('button', { type: 'button', onclick: () => dialog.close() }, 'Close')));
  if (devices.some(({ admitted }) => !admitted) && !dialog.open) dialog.showModal();
}

async function look() {
  if (document.hidden) return;
  try {
    render(await api.devices());
    await lookAgain();
  } catch (error) {
    trouble(error.message);
  }
}

listen(() => {
  opener.hidden = !store.devices;
  if (!store.devices || looking) return;
  looking = setInterval(look, LOOK_EVERY_MS);
  look();
});
