// Further counters: devices of the network that may use this shelf, let in and sent away at the machine that holds it.

import { watchDevices } from '../../page/static/admission.js';
import { byId, trouble } from '../../page/static/dom.js';
import * as api from './api.js';

const WORDS = { title: 'Devices', may: 'may use the shelf.', command: 'finishmatch shelf open --devices' };
const opener = byId('devices-open');

opener.addEventListener('click', () => byId('devices').showModal());

export async function openDoor() {
  try {
    const { devices } = await api.here();
    opener.hidden = !devices;
    if (devices) watchDevices(byId('devices'), { ask: api.devices, admit: api.admit, words: WORDS });
  } catch (error) {
    trouble(error.message);
  }
}
