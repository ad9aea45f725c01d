// Devices of the network that want in: the computer's page asks, and can send each away.

import { el, trouble } from './dom.js';

const LOOK_EVERY_MS = 2000;

// `ask` and `admit` speak with the server; `words`: title, what a device may do, the command that opens the door;
// `after`: what to do at every look.
export function watchDevices(dialog, { ask, admit, words, after = async () => {} }) {
  let last = '';

  async function say(id, yes) {
    try {
      render(await admit(id, yes));
    } catch (error) {
      trouble(error.message);
      look();
    }
  }

  function row(device) {
    const waits = !device.admitted;
    const button = (said, yes, strong) => el('button', { type: 'button', class: strong ? 'strong' : null, onclick: () => say(device.id, yes) }, said);
    const asks = waits ? `asks to come in. Does it show the number ${device.number}?` : words.may;
    return el('li', { class: 'form' }, el('p', {}, `${device.words} (${device.address}) ${asks}`),
      el('p', { class: 'buttons' }, ...(waits ? [button('Yes, let it in', true, true), button('No', false, false)] : [button('Send it away', false, false)])));
  }

  function render({ closed, devices, most }) {
    const wanted = JSON.stringify([closed, devices]);
    if (wanted === last) return;
    last = wanted;
    const none = closed ? `Nobody came for 15 minutes, so the way in is closed. Start ${words.command} again.` : 'Scan the code that the terminal shows with the device.';
    const room = !closed && devices.length < most;
    dialog.replaceChildren(el('h2', { id: 'devices-title' }, words.title),
      devices.length ? el('ul', { class: 'form' }, ...devices.map(row)) : el('p', {}, none),
      ...(devices.length && room ? [el('p', {}, `The terminal shows the next code; ${most - devices.length} more may come.`)] : []),
      el('p', { class: 'small' }, 'What travels between them is not encrypted. Use it on a network that you trust.'),
      el('p', {}, el('button', { type: 'button', onclick: () => dialog.close() }, 'Close')));
    if (devices.some(({ admitted }) => !admitted) && !dialog.open) dialog.showModal();
  }

  async function look() {
    if (document.hidden) return;
    try {
      render(await ask());
      await after();
    } catch (error) {
      trouble(error.message);
    }
  }

  setInterval(look, LOOK_EVERY_MS);
  look();
}
