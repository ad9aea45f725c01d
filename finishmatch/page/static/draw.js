// The photo with everything drawn over it. Lines are white on black, to be seen on any photo.

import { keyed, set, shape } from './dom.js';
import { boxCorners, formPoints, patchQuads } from './geometry.js';
import * as api from './api.js';
import { placed } from './labels.js';

const DENSE_PX = 14;

const text = (points) => points.map(([x, y]) => `${x},${y}`).join(' ');

export class Drawing {
  constructor(stage) {
    this.photo = shape('image', { preserveAspectRatio: 'none', 'aria-hidden': true });
    this.grid = shape('g', { class: 'grid', 'aria-hidden': true });
    this.marks = shape('g', { 'aria-hidden': true });
    this.sketch = shape('g', { class: 'sketch', 'aria-hidden': true });
    this.aim = shape('g', { class: 'aim', 'aria-hidden': true });
    this.handles = shape('g', {});
    this.svg = shape('svg', { class: 'photo' }, this.photo, this.grid, this.marks, this.sketch, this.aim, this.handles);
    this.loupe = new Loupe();
    stage.append(this.svg, this.loupe.node);
  }

  setPhoto(id, { width, height }) {
    const place = { href: api.view(id), x: -0.5, y: -0.5, width, height };
    set(this.photo, place);
    this.loupe.setPhoto(place);
  }

  frame(view) {
    const [w, h] = view.size;
    this.scale = view.scale;
    set(this.svg, { viewBox: `${view.x} ${view.y} ${w / view.scale} ${h / view.scale}` });
    this.svg.classList.toggle('near', view.scale > 2);
  }

  drawCard(corners, second, pane, chosen) {
    const quads = corners && pane?.columns ? patchQuads(corners, pane.columns, pane.row_at, pane.gap) : [];
    const lines = [...(corners ? [corners, ...quads] : []), ...(second ? [second] : [])];
    set(this.grid, { class: chosen ? 'grid chosen' : 'grid' });
    this.grid.replaceChildren(...lines.flatMap((line) => cased('polygon', { points: text(line) })));
    if (corners && quads.length) this.grid.append(this.tag(centre(quads[0]), '1'));
  }

  // Each mark: its form, and of its label the words and the dashes of its set.
  drawMarks(marks, chosen, labels, masks, view) {
    const pieces = (mark) => (mark.mask && Object.hasOwn(masks, mark.name) ? masks[mark.name] : [formPoints(mark)]);
    const drawn = marks.map((mark) => ({ mark, outlines: pieces(mark), label: labels[mark.name] })).filter(({ outlines: [piece] }) => piece?.length);
    /** @param {number[]} point */
    const inPx = ([x, y]) => [(x - view.x) * view.scale, (y - view.y) * view.scale];
    const places = placed(drawn.map(({ outlines, label }) => ({ points: outlines.flat().map(inPx), width: 9 * label.words.length + 12 })), view.size);
    const toPhoto = (/** @type {number[]} */ point) => view.toPhoto(point);
    const shapes = drawn.map(({ mark, outlines, label }) => this.mark(mark, outlines, mark.name === chosen, label.dashes));
    const tags = drawn.map(({ label }, i) => this.label(label.words, toPhoto(places[i].at), places[i].line?.map(toPhoto)));
    this.marks.replaceChildren(...shapes, ...tags);
  }

  // A part drawn by its outlines: those of a mask are several as often as not, and cannot be moved.
  mark(mark, outlines, chosen, dashes) {
    const group = shape('g', { class: `mark${chosen ? ' chosen' : ''}` });
    if (mark.box) group.append(...boxShapes(mark.box));
    else group.append(...outlines.flatMap((outline) => cased('polygon', { points: text(outline) })));
    for (const line of group.querySelectorAll('.line')) set(line, { 'stroke-dasharray': dashes || null });
    return group;
  }

  label(words, at, line) {
    const leader = line ? cased('polyline', { points: text(line) }) : [];
    return shape('g', { class: 'label' }, ...leader, this.tag(at, words));
  }

  // Words of constant size at a place in the photo.
  /** @param {number[]} at */
  tag([x, y], words) {
    const label = shape('text', { x: 0, y: 5, 'text-anchor': 'middle', class: 'tag' }, words);
    return shape('g', { transform: `translate(${x} ${y}) scale(${1 / this.scale})` }, label);
  }

  drawHandles(points, chosenKey, words) {
    const dense = points.length > 4 && spacing(points) * this.scale < DENSE_PX;
    set(this.handles, { class: dense ? 'dense' : null });
    keyed(this.handles, points, (item) => item.key, makeHandle, (node, item) => {
      set(node, {
        transform: `translate(${item.at[0]} ${item.at[1]}) scale(${1 / this.scale})`,
        'aria-label': words(item),
        class: item.key === chosenKey ? 'handle held' : 'handle',
      });
    });
  }

  drawSketch(sketch) {
    this.sketch.replaceChildren();
    if (sketch?.box) this.sketch.append(...boxShapes(sketch.box));
    if (!sketch?.points?.length) return;
    const line = sketch.to ? [...sketch.points, sketch.to] : sketch.points;
    this.sketch.append(...cased('polyline', { points: text(line) }));
    for (const [x, y] of sketch.dots ? sketch.points : []) {
      const dot = shape('circle', { r: 4, class: 'dot' });
      this.sketch.append(shape('g', { transform: `translate(${x} ${y}) scale(${1 / this.scale})` }, dot));
    }
  }

  drawAim(point) {
    this.aim.replaceChildren();
    if (!point) return;
    const cross = cased('path', { d: 'M-16 0H-4M4 0H16M0-16V-4M0 4V16' });
    this.aim.append(shape('g', { transform: `translate(${point[0]} ${point[1]}) scale(${1 / this.scale})` }, ...cross));
  }
}

// What is near the pointer, larger, in a corner of the stage that the pointer is not in.
class Loupe {
  constructor() {
    this.photo = shape('image', { preserveAspectRatio: 'none' });
    this.cross = shape('g', {}, ...cased('path', { d: 'M-9 0H-2M2 0H9M0-9V-2M0 2V9' }));
    this.node = shape('svg', { class: 'loupe', 'aria-hidden': true }, this.photo, this.cross);
    this.node.setAttribute('hidden', '');
  }

  setPhoto(place) {
    set(this.photo, place);
  }

  show(point, view) {
    this.node.toggleAttribute('hidden', !point);
    if (!point) return;
    const span = Math.max(24, 140 / (view.scale * 4));
    const [x, y] = point;
    set(this.node, { viewBox: `${x - span / 2} ${y - span / 2} ${span} ${span}` });
    set(this.cross, { transform: `translate(${x} ${y}) scale(${span / 140})` });
    const [w] = view.size;
    this.node.classList.toggle('right', (x - view.x) * view.scale < w / 2);
  }
}

function makeHandle(item) {
  const knob = item.round
    ? [shape('circle', { r: 6, class: 'knob' })]
    : [shape('rect', { x: -6, y: -6, width: 12, height: 12, class: 'knob' })];
  return shape('g', { role: 'button', tabindex: 0, 'aria-roledescription': 'movable point' }, shape('circle', { r: 14, class: 'reach' }), ...knob);
}

const cased = (tag, props) => [shape(tag, { ...props, class: 'casing' }), shape(tag, { ...props, class: 'line' })];

// A box and what is read of it: the ellipse that touches its sides.
function boxShapes(box) {
  const [x, y, w, h] = box;
  const ellipse = { cx: x + (w - 1) / 2, cy: y + (h - 1) / 2, rx: Math.max(w - 1, 0) / 2, ry: Math.max(h - 1, 0) / 2 };
  return [shape('polygon', { points: text(boxCorners(box)), class: 'frame' }), ...cased('ellipse', ellipse)];
}

// Mean distance from point to point of an outline.
function spacing(points) {
  const steps = points.map(({ at: [x, y] }, i) => Math.hypot(x - points.at(i - 1).at[0], y - points.at(i - 1).at[1]));
  return steps.reduce((sum, step) => sum + step, 0) / steps.length;
}

function centre(points) {
  const sum = points.reduce(([sx, sy], [x, y]) => [sx + x, sy + y], [0, 0]);
  return sum.map((value) => value / points.length);
}
