// The chosen thing's movable points: the card's corners, a box's corners, an outline's points.

import { change, gestureChange, store } from './store.js';
import { markOf, photoOf, removeMark, reshape } from './draft.js';
import { say } from './dom.js';
import { areaOf, boxCorners, boxOf, clamp, formPoints, inside, moved, nearestEdge, tidy } from './geometry.js';

const CORNERS = ['first patch', 'end of the first row', 'last patch', 'start of the last row'];
const BOX_CORNERS = ['top left', 'top right', 'bottom right', 'bottom left'];

export const cardOf = (draft, id) => photoOf(draft, id)?.card ?? { kind: 'none' };

// Where the card's corners are: as the file says, or as they were found.
export function cardCorners() {
  const card = cardOf(store.draft, store.photo);
  if (card.kind === 'none') return null;
  if (card.corners) return card.corners;
  if (card.box) return boxCorners(card.box);
  return store.pane.photos[store.photo]?.corners ?? null;
}

// Where a plain card that is not placed yet may lie, for the person to say so.
export const guessed = () => (store.guess?.photo === store.photo && !cardCorners() ? store.guess.corners : null);

// Where a second plain card lies.
export function secondCard() {
  const { second_box: box } = cardOf(store.draft, store.photo);
  return box ? boxCorners(box) : null;
}

export function chosenMark() {
  const { selected } = store;
  return selected?.kind === 'mark' ? markOf(store.draft, store.photo, selected.name) : undefined;
}

export function points() {
  const mark = chosenMark();
  if (mark) {
    const kind = mark.box ? 'box' : 'outline';
    return formPoints(mark).map((at, i) => ({ key: `${kind}-${i}`, at, kind, i, round: !mark.box, name: mark.name }));
  }
  if (store.selected?.kind !== 'card') return [];
  return (cardCorners() ?? []).map((at, i) => ({ key: `card-${i}`, at, kind: 'card', i, round: false }));
}

export function pointWords({ kind, i, at, name }) {
  const where = `x ${tidy(at[0])}, y ${tidy(at[1])}`;
  if (kind === 'card') return `Card corner ${i + 1}, ${CORNERS[i]}, ${where}`;
  if (kind === 'box') return `${name}, ${BOX_CORNERS[i]} corner, ${where}`;
  return `${name}, point ${i + 1}, ${where}`;
}

/** @param {any} draft @param {any} point @param {number[]} to */
function setPoint(draft, { kind, i, name }, [x, y]) {
  const at = [tidy(x), tidy(y)];
  if (kind === 'card') return setCorners(draft, cardCorners().map((corner, k) => (k === i ? at : corner)));
  const mark = markOf(draft, store.photo, name);
  if (kind === 'box') mark.box = boxWithCorner(boxCorners(mark.box), i, at);
  else mark.outline[i] = at;
}

/** @param {number[][]} corners @param {number} i @param {number[]} at */
function boxWithCorner(corners, i, [x, y]) {
  const [fx, fy] = corners[(i + 2) % 4];
  const [sx, sy] = [i === 1 || i === 2 ? 1 : -1, i > 1 ? 1 : -1];
  return boxOf([fx, fy], [sx > 0 ? Math.max(x, fx + 2) : Math.min(x, fx - 2), sy > 0 ? Math.max(y, fy + 2) : Math.min(y, fy - 2)]);
}

export function setCorners(draft, corners) {
  const card = photoOf(draft, store.photo).card;
  card.corners = corners.map(([x, y]) => [tidy(x), tidy(y)]);
  delete card.box;
}

// A card's corners may lie outside the picture (a card cut by its edge); a part's points may not.
/** @param {any} point @param {number[]} to */
function held(point, [x, y]) {
  const { width, height } = store.facts[store.photo];
  const reach = point.kind === 'card' ? Math.max(width, height) / 4 : 0;
  return [clamp(x, -reach, width - 1 + reach), clamp(y, -reach, height - 1 + reach)];
}

export const dragPoint = (point, to) => gestureChange((draft) => setPoint(draft, point, held(point, to)));

export const nudgePoint = (point, dx, dy) =>
  gestureChange((draft) => setPoint(draft, point, held(point, [point.at[0] + dx, point.at[1] + dy])));

export function dragMark(start, dx, dy) {
  gestureChange((draft) => {
    const mark = markOf(draft, store.photo, start.name);
    const shifted = moved(formPoints(start), dx, dy, store.facts[store.photo]);
    if (start.box) mark.box = boxOf(shifted[0], shifted[2]);
    else mark.outline = shifted;
  });
}

export function addPointAfter(name, index, at) {
  change((draft) => {
    const { outline } = markOf(draft, store.photo, name);
    const next = outline[(index + 1) % outline.length];
    const middle = at ?? [(outline[index][0] + next[0]) / 2, (outline[index][1] + next[1]) / 2];
    outline.splice(index + 1, 0, middle.map(tidy));
  });
}

export function removePoint(name, index) {
  change((draft) => {
    const { outline } = markOf(draft, store.photo, name);
    if (outline.length > 3) outline.splice(index, 1);
  });
}

// A box as the outline that is read of it, for finer adjustment.
export function toOutline(name) {
  change((draft) => {
    const [x, y, w, h] = markOf(draft, store.photo, name).box;
    const angle = (k) => (k / 16) * 2 * Math.PI;
    const outline = [...Array(16).keys()].map((k) => [
      tidy(x + ((w - 1) / 2) * (1 + Math.cos(angle(k)))),
      tidy(y + ((h - 1) / 2) * (1 + Math.sin(angle(k)))),
    ]);
    reshape(draft, store.photo, name, { outline });
  });
}

export function deleteChosen() {
  const mark = chosenMark();
  if (!mark) return false;
  say(`${mark.name} deleted; Undo brings it back`);
  change((draft) => {
    removeMark(draft, store.photo, mark.name);
    return null;
  });
  return true;
}

// The smallest mark under a point, and the edge of the chosen outline near it.
export function markAt(point, marks) {
  const under = marks.filter((mark) => formPoints(mark).length && inside(point, formPoints(mark)));
  return under.sort((a, b) => areaOf(formPoints(a)) - areaOf(formPoints(b)))[0];
}

export function edgeAt(point, within) {
  const mark = chosenMark();
  if (!mark?.outline) return null;
  const { index, distance } = nearestEdge(point, mark.outline);
  return distance <= within ? { name: mark.name, index } : null;
}
