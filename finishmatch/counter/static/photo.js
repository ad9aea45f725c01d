// A photo on the page: taken or dropped, its parts outlined, one clicked.

import { el, shape, trouble } from '../../page/static/dom.js';
import * as api from './api.js';

// A button that takes photos, and a place to drop them. `taken` is given each photo as the server knows it.
export function taker(box, taken, several) {
  const id = `${box.id}-file`;
  const busy = el('p', { role: 'status', class: 'quiet' });
  const take = async (files) => {
    const all = [...files].filter((file) => file.type.startsWith('image/')).slice(0, several ? undefined : 1);
    if (files.length && !all.length) trouble('That is no photo.');
    for (const [i, file] of all.entries()) {
      busy.textContent = all.length > 1 ? `Looking at photo ${i + 1} of ${all.length}…` : 'Looking at the photo…';
      try {
        taken(await api.addPhoto(file));
        trouble('');
      } catch (error) {
        trouble(error.message);
      }
    }
    busy.textContent = '';
  };
  const input = el('input', { type: 'file', id, accept: 'image/*', multiple: several ? '' : null, onchange: () => take(input.files).then(() => { input.value = ''; }) });
  const view = box.closest('section');
  view.addEventListener('dragover', (event) => event.preventDefault());
  view.addEventListener('drop', (event) => {
    event.preventDefault();
    take(event.dataTransfer.files);
  });
  document.addEventListener('paste', (event) => {
    if (!view.hidden && event.clipboardData.files.length) take(event.clipboardData.files);
  });
  box.replaceChildren(el('div', { class: 'take' }, input, el('label', { class: 'button strong', for: id }, several ? 'Take or choose photos' : 'Take or choose a photo'), el('span', { class: 'quiet' }, 'or drop it here, or paste it'), busy));
}

// The photo with the parts that were found; `at` is told a point that was clicked, `on` an outline.
export function stage(photo, { at, on, chosen, said }) {
  const size = Math.max(photo.width, photo.height);
  const drawing = shape('svg', { viewBox: `0 0 ${photo.width} ${photo.height}`, class: 'over', 'aria-hidden': 'false', role: 'group', 'aria-label': said });
  const draw = () =>
    drawing.replaceChildren(...photo.outlines.map((outline, i) => {
      const press = () => on(i);
      return shape('g', { class: `thing${chosen(i) ? ' chosen' : ''}`, tabindex: 0, role: 'button', 'aria-pressed': String(chosen(i)), 'aria-label': `Part ${i + 1} of ${photo.outlines.length}`, onclick: (event) => { event.stopPropagation(); press(); }, onkeydown: (event) => { if (event.key === 'Enter' || event.key === ' ') { event.preventDefault(); press(); } } },
        shape('polygon', { points: outline.map((point) => point.join(',')).join(' '), class: 'casing', 'stroke-width': size / 110 }),
        shape('polygon', { points: outline.map((point) => point.join(',')).join(' '), class: 'edge', 'stroke-width': size / 260 }));
    }));
  drawing.addEventListener('click', (event) => {
    const box = drawing.getBoundingClientRect();
    at([((event.clientX - box.left) / box.width) * photo.width, ((event.clientY - box.top) / box.height) * photo.height]);
  });
  draw();
  const told = photo.hasCard ? `${photo.card} found` : 'No card found';
  return { node: el('figure', { class: 'stage' }, el('div', { class: 'photo' }, el('img', { src: `/photo/${photo.id}`, alt: `The photo ${photo.name}`, width: photo.width, height: photo.height }), drawing), el('figcaption', {}, [photo.name, told, ...photo.notes].join(' · '))), draw };
}

