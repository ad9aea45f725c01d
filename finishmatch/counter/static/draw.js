// What several views draw: swatches, a record's card, a verdict.

import { el, shape } from '../../page/static/dom.js';

export const swatch = (colour, words) =>
  shape('svg', { class: 'swatch', viewBox: '0 0 1 1', preserveAspectRatio: 'none', role: 'img', 'aria-label': words ?? 'Its colour' }, shape('rect', { width: 1, height: 1, fill: colour }));

// Two colours that touch, as at equal light.
export const beside = (here, there) =>
  shape('svg', { class: 'swatch beside', viewBox: '0 0 2 1', preserveAspectRatio: 'none', role: 'img', 'aria-label': 'This part on the left, the finish of the shelf on the right, at equal light' },
    shape('rect', { width: 1, height: 1, fill: here }), shape('rect', { x: 1, width: 1, height: 1, fill: there }));

export const facts = (one) => [one.finish, one.maker].filter(Boolean).join(', ');

const SIGNS = { alike: '✓', unsure: '?', differs: '✗' };

export const verdict = (one) => el('p', { class: `verdict ${one.verdict}` }, el('span', { class: 'sign', 'aria-hidden': 'true' }, SIGNS[one.verdict]), ` ${one.verdict}`);

export const picture = (one) => (one.crops.length ? el('img', { src: one.crops[0], alt: '', class: 'crop', loading: 'lazy' }) : null);

// A batch such as 2026-09 is not broken at its hyphen.
export const numbers = (one) => [`No. ${one.number}`, one.stock, one.batch ? `batch ${one.batch.replaceAll('-', '\u2011')}` : null].filter(Boolean).join(' · ');

export function chosen(list, key) {
  for (const node of list.children) node.toggleAttribute('aria-current', node.dataset.key === key);
}
