// Files of the build's folder that the build could name; looked for again whenever somebody comes back to the page.

import * as api from './api.js';
import { listen, store, tell } from './store.js';

let looked = '';

async function look() {
  try {
    const { files, ...beside } = await api.beside();
    store.files = { ...store.files, ...files };
    tell({ beside });
  } catch {
    // what needs the server says that it is gone
  }
}

export const nameOf = (id) => store.files[id]?.name ?? 'file';

// Options of a select, made again only when they are others and nobody is choosing.
export function showOptions(select, list, chosen) {
  const wanted = JSON.stringify(list);
  if (select.dataset.list !== wanted && document.activeElement !== select) {
    select.replaceChildren(...list.map(([value, words]) => new Option(words, value)));
    select.dataset.list = wanted;
  }
  select.value = chosen;
}

// Files as options; one that is named but no longer there stays one.
export function fileOptions(ids, chosen, none) {
  const all = chosen && !ids.includes(chosen) ? [...ids, chosen] : ids;
  return [['', none], ...all.map((id) => [id, nameOf(id)])];
}

// Pictures of the folder that are no photos of the build.
export const otherPictures = () => store.beside.pictures.filter((id) => !store.draft.photo?.some(({ file }) => file === id));

listen(() => {
  if (!store.file || store.file === looked) return;
  looked = store.file;
  look();
});
window.addEventListener('focus', look);
