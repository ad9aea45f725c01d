// What else a photo is corrected by: its light, a flat frame, the chart in another photo, a camera that was learnt.

import { change, listen, store } from './store.js';
import { photoOf } from './draft.js';
import { el, field } from './dom.js';
import { fileOptions, nameOf, otherPictures, showOptions } from './beside.js';
import { cardOf } from './shapes.js';
import { cardKind, usualCard } from './declared.js';
import { upload } from './photos.js';

// Whether another photo could be corrected by this one's card.
const showsChart = ({ card }) => Boolean(card) && !card.from && (card.kind === usualCard || !cardKind(card.kind));

const light = el('input', { list: 'lights', maxlength: 200, onchange: () => setPhoto('light', light.value.trim() || null) });
const lights = el('datalist', { id: 'lights' });
const flat = el('select', { onchange: () => setPhoto('flat', flat.value || null) });
const flatFile = el('input', { type: 'file', id: 'flat-file', accept: 'image/*', onchange: addFlat });
const from = el('select', { onchange: () => setFrom(from.value) });
const camera = el('select', { onchange: () => setPhoto('camera', camera.value || null) });
const size = ['Columns', 'Rows'].map((words) => el('input', { type: 'number', min: 1, step: 1, inputmode: 'numeric', 'aria-label': `${words} of the card`, onchange: setLayout }));
const layout = el('fieldset', {}, el('legend', {}, 'Columns and rows of its patches'), el('div', { class: 'pair' }, ...size));

export const lightRows = el('div', { class: 'form' },
  layout,
  field('photo-light', 'Light', light, 'The same words in several photos: taken in the same light.'), lights,
  el('details', { id: 'photo-details' }, el('summary', {}, 'No card, or uneven light'), el('div', { class: 'form' },
    field('photo-from', 'Same light and camera as', from, 'a photo that shows the chart: its chart corrects this one as well'),
    field('photo-camera', 'Camera that was learnt', camera, 'a file that finishmatch card learn wrote, laid beside the build'),
    field('photo-flat', 'Flat frame', flat, 'the same view of a plain, even sheet: it evens the light'),
    el('p', { class: 'chooser' }, el('label', { class: 'button', for: 'flat-file' }, 'Add a flat frame'), flatFile))),
);

function setPhoto(key, value) {
  change((draft) => {
    photoOf(draft, store.photo)[key] = value;
  });
}

async function addFlat() {
  const [file] = flatFile.files;
  const id = file && await upload(file);
  if (id) setPhoto('flat', id);
}

// The chart then lies in the other photo: nothing of where it lies is said here.
function setFrom(id) {
  change((draft) => {
    const photo = photoOf(draft, store.photo);
    const { kind = usualCard, layout: grid } = photo.card ?? {};
    const charted = kind === usualCard || !cardKind(kind);
    photo.card = { kind: charted ? kind : usualCard, ...(charted && grid ? { layout: grid } : {}), ...(id ? { from: id } : {}) };
    tidyCharts(draft);
  });
}

// A photo of the build that shows no chart any more corrects no other.
export function tidyCharts(draft) {
  for (const { card } of draft.photo) {
    const other = card?.from && photoOf(draft, card.from);
    if (other && !showsChart(other)) delete card.from;
    else if (other) delete card.edition;
  }
}

function setLayout() {
  const typed = size.map(({ value }) => Math.round(Number(value)));
  if (typed.every((n) => n >= 1)) change((draft) => {
    photoOf(draft, store.photo).card.layout = typed;
  });
}

function chartOptions(chosen) {
  const own = store.draft.photo.filter((one) => one.file !== store.photo && showsChart(one)).map(({ file }) => file);
  return fileOptions([...own, ...otherPictures()], chosen, 'it shows its own card, or none');
}

listen(() => {
  if (!store.photo) return;
  const photo = photoOf(store.draft, store.photo);
  const card = cardOf(store.draft, store.photo);
  if (document.activeElement !== light) light.value = photo?.light ?? '';
  const words = [...new Set(store.draft.photo.map((one) => one.light).filter(Boolean))];
  lights.replaceChildren(...words.map((value) => el('option', { value })));
  const pictures = [...store.draft.photo.map(({ file }) => file).filter((id) => id !== store.photo), ...otherPictures()];
  showOptions(flat, fileOptions(pictures, photo?.flat, 'none'), photo?.flat ?? '');
  showOptions(from, chartOptions(card.from), card.from ?? '');
  const usual = store.draft.build?.camera ? `as the whole build: ${nameOf(store.draft.build.camera)}` : 'none';
  showOptions(camera, fileOptions(store.beside.cameras, photo?.camera, usual), photo?.camera ?? '');
  layout.hidden = Boolean(cardKind(card.kind));
  size.forEach((input, i) => {
    if (document.activeElement !== input) input.value = card.layout?.[i] ?? '';
  });
});
