// What a click on the photo does. Every tool works by clicks alone; dragging is only another way to say the same.

import { change, store, tell } from './store.js';
import { addMark, marksOf, photoOf } from './draft.js';
import { say } from './dom.js';
import { askName } from './naming.js';
import { takeName } from './numbers.js';
import { Click, click, touch } from './words.js';
import { boxOf, inside, tidy } from './geometry.js';
import { proposeAt, proposeWithin } from './propose.js';
import { cardCorners, edgeAt, guessed, markAt } from './shapes.js';

export const TOOLS = {
  find: { key: 'f', words: 'Find a part', hint: touch ? 'Tap a part: its outline is proposed. Tap again for another.' : 'Click inside a part: its outline is proposed. Click again for another; + and - or the wheel make it larger or smaller.' },
  loop: { key: 'l', words: 'Loop', hint: touch ? 'Draw a loop around a part: the outline of what lies in it is proposed.' : 'Draw a loop around a part, or click points around it and press Enter: the outline of what lies in it is proposed.' },
  box: { key: 'b', words: 'Box', hint: `${Click} two opposite corners, or drag. Of a box, the ellipse that touches its sides is read.` },
  outline: { key: 'o', words: 'Outline', hint: touch ? 'Tap point after point; a tap on the first one closes the outline.' : 'Click point after point; Enter, or a click on the first point, closes the outline. Backspace takes one back.' },
  choose: { key: 'c', words: 'Choose', hint: `${Click} a part or the card to change it; drag its points to move them. Double-${click} an edge to add a point.` },
};

// What is being drawn: points clicked so far, and where the pointer is.
export const sketch = { points: [], to: null };

export function setTool(tool) {
  clearSketch();
  tell({ tool, boxIs: null });
  say(`${TOOLS[tool].words}. ${TOOLS[tool].hint}`);
}

export function clearSketch() {
  const had = sketch.points.length > 0;
  Object.assign(sketch, { points: [], to: null });
  return had;
}

export function sketched() {
  const guess = guessed();
  if (!sketch.points.length) return guess && { points: [...guess, guess[0]] };
  if (store.tool === 'box') return { box: boxOf(sketch.points[0], sketch.to ?? sketch.points[0]) };
  return { points: sketch.points, to: sketch.to, dots: store.tool === 'outline' };
}

// A click at a point of the photo; `reach` is how near counts as on a point.
export function clickAt(point, reach) {
  const at = point.map(tidy);
  if (store.tool === 'find') return proposeAt(at, reach);
  if (store.tool === 'box') return boxClick(at);
  if (store.tool === 'outline' || store.tool === 'loop') return outlineClick(at, reach);
  return choose(at, reach);
}

function place(form) {
  clearSketch();
  if (store.boxIs === 'second card') return placeSecondCard(form.box);
  const name = takeName();
  change((draft) => ({ kind: 'mark', name: addMark(draft, store.photo, form, name) }));
  say(`Added as ${name}.`);
  askName(name);
}

function placeSecondCard(box) {
  tell({ boxIs: null, tool: 'choose' });
  change((draft) => {
    photoOf(draft, store.photo).card.second_box = box;
    return { kind: 'card' };
  });
  say('The second card lies in the box.');
}

function within() {
  const loop = sketch.points;
  clearSketch();
  proposeWithin(loop);
}

// A loop drawn without lifting the pointer.
export function drawLoop(from, to) {
  if (!sketch.points.length) sketch.points.push(from.map(tidy));
  sketch.points.push(to.map(tidy));
  sketch.to = null;
}

export const endLoop = () => closeOutline() || clearSketch();

export function boxClick(at) {
  if (!sketch.points.length) {
    sketch.points = [at];
    say('First corner set.');
    return;
  }
  const box = boxOf(sketch.points[0], at);
  if (box[2] > 2 && box[3] > 2) place({ box });
}

function outlineClick(at, reach) {
  const [first] = sketch.points;
  if (first && sketch.points.length > 2 && Math.hypot(at[0] - first[0], at[1] - first[1]) < reach) return closeOutline();
  sketch.points.push(at);
  say(`Point ${sketch.points.length} set.`);
}

export function closeOutline() {
  if (sketch.points.length < 3) return false;
  if (store.tool === 'outline') place({ outline: sketch.points });
  else if (store.tool === 'loop') within();
  else return false;
  return true;
}

export function takeBack() {
  if (!sketch.points.length) return false;
  sketch.points.pop();
  return true;
}

function choose(point, reach) {
  if (edgeAt(point, reach)) return; // perhaps the first half of a double click
  const mark = markAt(point, marksOf(store.draft, store.photo));
  const corners = cardCorners();
  if (mark) tell({ selected: { kind: 'mark', name: mark.name } });
  else if (corners && inside(point, corners)) tell({ selected: { kind: 'card' } });
  else tell({ selected: null });
  say(mark ? `${mark.name} chosen` : store.selected ? 'Card chosen' : 'Nothing chosen');
}
