// The photos of the build: choose one, add some, take one out.

import * as api from './api.js';
import { photoTypes, usualCard } from './declared.js';
import { change, listen, store, tell } from './store.js';
import { marksOf, removePhoto } from './draft.js';
import { byId, el, keyed, say, set, trouble } from './dom.js';

const list = byId('photo-list');
const chooser = byId('add-photos');
chooser.accept = [...new Set(Object.values(photoTypes))].join();

// Some systems do not tell the type of a file that is chosen.
const typeOf = (file) => file.type || photoTypes[`.${file.name.split('.').pop().toLowerCase()}`] || 'application/octet-stream';

export const nameOf = (id) => store.files[id]?.name ?? 'photo';

function makeItem({ file }) {
  const picture = el('img', { src: api.thumb(file), alt: '', loading: 'lazy' });
  const name = el('bdi', { class: 'name' });
  const open = el('button', { type: 'button', class: 'thumb', onclick: () => openPhoto(file) }, picture, name, el('span', { class: 'quiet small' }));
  const remove = el('button', { type: 'button', class: 'small remove', onclick: () => takeOut(file) }, 'Take out');
  return el('li', {}, open, remove);
}

function updateItem(item, { file }) {
  const [open, remove] = item.children;
  const [, name, words] = open.children;
  const count = marksOf(store.draft, file).length;
  name.textContent = nameOf(file);
  words.textContent = `${count} ${count === 1 ? 'part' : 'parts'}`;
  set(open, { 'aria-current': file === store.photo ? 'true' : null });
  set(remove, { 'aria-label': `Take ${nameOf(file)} out of the build` });
  remove.hidden = file !== store.photo;
}

function openPhoto(file) {
  tell({ photo: file, selected: null });
  say(`${nameOf(file)} opened`);
}

function takeOut(file) {
  change((draft) => {
    removePhoto(draft, file);
    return null;
  });
  tell({ photo: store.draft.photo[0]?.file ?? null });
  say(`${nameOf(file)} taken out; the file itself stays. Undo brings it back.`);
}

export async function addFiles(files) {
  for (const file of files) {
    say(`Adding ${file.name}`);
    try {
      const { id, name } = await api.addPhoto(file, typeOf(file));
      store.files = { ...store.files, [id]: { name } };
      trouble('');
      if (!store.draft.photo?.some((photo) => photo.file === id)) {
        change((draft) => {
          draft.photo = [...(draft.photo ?? []), { file: id, card: { kind: usualCard }, part: [] }];
        });
      }
      openPhoto(id);
    } catch (error) {
      trouble(`${file.name} was not added. ${error.message}`);
    }
  }
}

chooser.addEventListener('change', async () => {
  await addFiles([...chooser.files]);
  chooser.value = '';
});

for (const type of ['dragenter', 'dragover']) {
  document.addEventListener(type, (event) => {
    if (![.../** @type {DragEvent} */ (event).dataTransfer.types].includes('Files')) return;
    event.preventDefault();
    document.body.classList.add('dropping');
  });
}
document.addEventListener('dragleave', (event) => event.relatedTarget ?? document.body.classList.remove('dropping'));
document.addEventListener('drop', (event) => {
  document.body.classList.remove('dropping');
  if (!event.dataTransfer.files.length) return;
  event.preventDefault();
  addFiles([...event.dataTransfer.files]);
});

listen(() => {
  keyed(list, store.draft.photo ?? [], (photo) => photo.file, makeItem, updateItem);
  byId('work-title').textContent = store.photo ? `Photo ${nameOf(store.photo)}` : 'No photo yet';
});
