// The points of the card or a part as a table of numbers: the equal other way to dragging them.

import { change, store } from './store.js';
import { markOf } from './draft.js';
import { el, keyed } from './dom.js';
import { addPointAfter, cardCorners, removePoint, setCorners } from './shapes.js';

const BOX = ['Left', 'Top', 'Width', 'Height'];

const number = (label, onchange) => el('input', { type: 'number', step: 'any', 'aria-label': label, onchange });

function value(input) {
  const typed = Number(input.value);
  return input.value.trim() === '' || !Number.isFinite(typed) ? null : typed;
}

function put(input, wanted) {
  if (document.activeElement !== input) input.value = String(wanted);
}

// A table of points. `write(index, axis, value)` is called with every number typed.
function pointTable(what, write, extra) {
  const body = el('tbody');
  const heads = ['Point', 'x', 'y', ...(extra ? ['Change'] : [])].map((words) => el('th', { scope: 'col' }, words));
  const table = el('table', { class: 'coords' }, el('caption', {}, `${what}, in pixels`), el('thead', {}, el('tr', {}, ...heads)), body);
  const makeRow = ({ i }) => {
    const inputs = ['x', 'y'].map((axis, k) => number(`Point ${i + 1}, ${axis}`, (event) => {
      const typed = value(event.target);
      if (typed !== null) write(i, k, typed);
    }));
    return el('tr', {}, el('th', { scope: 'row' }, String(i + 1)), ...inputs.map((input) => el('td', {}, input)), ...(extra ? [el('td', {}, ...extra(i))] : []));
  };
  const update = (points) => {
    const rows = points.map((at, i) => ({ at, i }));
    keyed(body, rows, ({ i }) => String(i), makeRow, (row, { at }) => {
      [...row.querySelectorAll('input')].forEach((input, k) => {
        put(input, at[k]);
      });
    });
  };
  return { node: table, update };
}

export function cardTable() {
  const write = (index, axis, typed) => change((draft) => {
    setCorners(draft, cardCorners().map((corner, i) => (i === index ? corner.with(axis, typed) : corner)));
  });
  const table = pointTable('Corners of the patch grid, from the first patch along the first row', write);
  return { node: table.node, update: () => table.update(cardCorners() ?? []) };
}

export function outlineTable(name) {
  const write = (index, axis, typed) => change((draft) => {
    const mark = markOf(draft, store.photo, name);
    mark.outline[index] = mark.outline[index].with(axis, typed);
  });
  const extra = (i) => [
    el('button', { type: 'button', class: 'small', 'aria-label': `Add a point after point ${i + 1}`, onclick: () => addPointAfter(name, i) }, 'Add'),
    el('button', { type: 'button', class: 'small', 'aria-label': `Remove point ${i + 1}`, onclick: () => removePoint(name, i) }, 'Remove'),
  ];
  const table = pointTable('Outline', write, extra);
  return { node: table.node, update: () => table.update(markOf(store.draft, store.photo, name)?.outline ?? []) };
}

export function boxTable(name) {
  const inputs = BOX.map((label, i) => number(label, (event) => {
    const typed = value(event.target);
    if (typed === null || (i > 1 && typed < 2)) return;
    change((draft) => {
      const mark = markOf(draft, store.photo, name);
      mark.box = mark.box.with(i, typed);
    });
  }));
  const rows = BOX.map((label, i) => el('tr', {}, el('th', { scope: 'row' }, label), el('td', {}, inputs[i])));
  const node = el('table', { class: 'coords' }, el('caption', {}, 'Box, in pixels'), el('tbody', {}, ...rows));
  const update = () => markOf(store.draft, store.photo, name)?.box?.forEach((wanted, i) => {
    put(inputs[i], wanted);
  });
  return { node, update };
}
