// The photos of the build: choose one, add some by file, drop, paste or camera, take one out.

import * as api from './api.js';
import { photoTypes, usualCard } from './declared.js';
import { change, listen, store, tell } from './store.js';
import { marksOf, removePhoto } from './draft.js';
import { byId, el, keyed, say, set, trouble } from './dom.js';
import { counted, touch } from './words.js';

const MOST_BYTES = 200_000_000;
const CARDS = { good: 'card good', fair: 'card weak', poor: 'card weak', none: 'no card', failed: 'card not found' };

const list = byId('photo-list');
const accept = [...new Set(Object.values(photoTypes))].join();
const added = new Set(); // photos that were added on this page: nobody has said yet whether they show a card

function chooser(id, words, more = {}) {
  const input = el('input', { type: 'file', id, accept, multiple: true, ...more, onchange: async () => {
    const files = [...input.files];
    input.value = '';
    await addFiles(files);
  } });
  return el('span', { class: 'chooser' }, el('label', { class: 'button', for: id }, words), input);
}

byId('add').append(
  chooser('add-photos', 'Add photos'),
  ...(touch ? [chooser('take-photo', 'Take a photo', { multiple: false, accept: 'image/*', capture: 'environment' })] : []),
  ...(touch ? [] : [el('p', { class: 'quiet small' }, 'or drop or paste them')]),
);

// Some systems do not tell the type of a file that is chosen.
const typeOf = (file) => file.type || photoTypes[`.${file.name.split('.').pop().toLowerCase()}`] || 'application/octet-stream';

export const nameOf = (id) => store.files[id]?.name ?? 'photo';

export const wasAdded = (id) => added.has(id);

function makeItem({ file }) {
  const picture = el('img', { src: api.thumb(file), alt: '', loading: 'lazy' });
  const name = el('bdi', { class: 'name' });
  const open = el('button', { type: 'button', class: 'thumb', onclick: () => openPhoto(file) }, picture, name, el('span', { class: 'quiet small state' }));
  const remove = el('button', { type: 'button', class: 'small remove', onclick: () => takeOut(file) }, 'Take out');
  return el('li', {}, open, remove);
}

function updateItem(item, { file, card }) {
  const [open, remove] = item.children;
  const [, name, words] = open.children;
  const pane = store.pane.photos[file];
  const asked = pane?.questions.length ?? 0;
  name.textContent = nameOf(file);
  words.textContent = [
    pane ? (pane.grade === 'none' && card?.from ? 'chart in another photo' : CARDS[pane.grade]) : 'not read yet',
    counted(marksOf(store.draft, file).length, 'part'),
    ...(asked ? [counted(asked, 'question')] : []),
  ].join(', ');
  set(open, { 'aria-current': file === store.photo ? 'true' : null, 'data-grade': pane?.grade ?? null });
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

// Bring a photo's file to the build's folder. Null where it was refused, which is then shown.
export async function upload(file) {
  if (file.size > MOST_BYTES) {
    trouble(`${file.name} was not added: it is larger than ${MOST_BYTES / 1e6} MB.`);
    return null;
  }
  try {
    const { id, name } = await api.addPhoto(file, typeOf(file));
    store.files = { ...store.files, [id]: { name } };
    trouble('');
    return id;
  } catch (error) {
    trouble(`${file.name} was not added. ${error.message}`);
    return null;
  }
}

// A photo that was added last may well have been taken of the same bench: the settings of the one before go on.
function put(id) {
  if (store.draft.photo?.some((photo) => photo.file === id)) return;
  added.add(id);
  change((draft) => {
    for (const { card } of draft.photo ?? []) if (card?.from === id) delete card.edition; // now told by the photo itself
    draft.photo = [...(draft.photo ?? []), { file: id, card: { kind: usualCard }, part: [] }];
  });
}

export async function addFiles(files) {
  for (const [i, file] of files.entries()) {
    say(files.length > 1 ? `Adding ${file.name}, ${i + 1} of ${files.length}` : `Adding ${file.name}`);
    const id = await upload(file);
    if (!id) continue;
    put(id);
    openPhoto(id);
  }
}

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
document.addEventListener('paste', (event) => {
  const files = [...event.clipboardData.files];
  if (!files.length) return;
  event.preventDefault();
  addFiles(files);
});

listen(() => {
  document.body.classList.toggle('empty', !store.draft.photo?.length);
  keyed(list, store.draft.photo ?? [], (photo) => photo.file, makeItem, updateItem);
  byId('work-title').textContent = store.photo ? `Photo ${nameOf(store.photo)}` : 'No photo yet';
});
