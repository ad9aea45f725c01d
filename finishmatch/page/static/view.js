// Which part of the photo the stage shows: zoom and pan. One photo pixel takes `scale` CSS pixels.

import { bounds, clamp } from './geometry.js';

const MOST_SCALE = 16;

export class View {
  constructor(stage, redraw) {
    this.stage = stage;
    this.redraw = redraw;
    [this.width, this.height] = [1, 1];
    [this.x, this.y] = [0, 0];
    this.scale = 1;
    this.fitted = true;
    this.fingers = /** @type {number[][]} */ ([]);
    new ResizeObserver(() => this.resize()).observe(stage);
  }

  get size() {
    return [this.stage.clientWidth || 1, this.stage.clientHeight || 1];
  }

  get fitScale() {
    const [w, h] = this.size;
    return Math.min(w / this.width, h / this.height);
  }

  open(width, height) {
    this.width = width;
    this.height = height;
    this.fit();
  }

  fit() {
    const [w, h] = this.size;
    this.scale = this.fitScale;
    this.x = (this.width - w / this.scale) / 2;
    this.y = (this.height - h / this.scale) / 2;
    this.fitted = true;
    this.redraw();
  }

  resize() {
    if (this.fitted) this.fit();
    else this.redraw();
  }

  // Zoom by a factor, keeping the photo's point under a place of the stage, given in CSS pixels.
  zoom(factor, [px, py] = this.size.map((side) => side / 2)) {
    const scale = clamp(this.scale * factor, this.fitScale * 0.8, MOST_SCALE);
    this.x += px / this.scale - px / scale;
    this.y += py / this.scale - py / scale;
    this.scale = scale;
    this.settle();
  }

  wheel(event) {
    event.preventDefault();
    const pixels = event.deltaY * (event.deltaMode === 1 ? 16 : 1);
    this.zoom(Math.exp(-clamp(pixels, -240, 240) / 400), this.onStage(event));
  }

  pan(dx, dy) {
    this.x -= dx / this.scale;
    this.y -= dy / this.scale;
    this.settle();
  }

  // Two fingers that moved from where they were last.
  /** @param {number[][]} to */
  pinch(to) {
    const [[a, b], [c, d]] = [this.fingers, to];
    const span = (p, q) => Math.hypot(p[0] - q[0], p[1] - q[1]) || 1;
    const middle = (p, q) => [(p[0] + q[0]) / 2, (p[1] + q[1]) / 2];
    const [before, now] = [middle(a, b), middle(c, d)];
    this.pan(now[0] - before[0], now[1] - before[1]);
    this.zoom(span(c, d) / span(a, b), now);
    this.fingers = to;
  }

  // At least a quarter of the stage stays on the photo.
  settle() {
    const [w, h] = this.size.map((side) => side / this.scale);
    this.x = clamp(this.x, -0.75 * w, this.width - 0.25 * w);
    this.y = clamp(this.y, -0.75 * h, this.height - 0.25 * h);
    this.fitted = false;
    this.redraw();
  }

  /** @param {number[]} point */
  show([x, y], margin = 40) {
    const [w, h] = this.size;
    const [px, py] = [(x - this.x) * this.scale, (y - this.y) * this.scale];
    const dx = px < margin ? margin - px : px > w - margin ? w - margin - px : 0;
    const dy = py < margin ? margin - py : py > h - margin ? h - margin - py : 0;
    if (dx || dy) this.pan(dx, dy);
  }

  // Where points lie on the stage, in its CSS pixels: left, top, right, bottom.
  /** @param {number[][]} points */
  boxOf(points) {
    const [left, top, right, bottom] = bounds(points);
    return [left - this.x, top - this.y, right - this.x, bottom - this.y].map((value) => value * this.scale);
  }

  onStage(event) {
    const box = this.stage.getBoundingClientRect();
    return [event.clientX - box.left, event.clientY - box.top];
  }

  /** @param {number[]} point */
  toPhoto([px, py]) {
    return [this.x + px / this.scale, this.y + py / this.scale];
  }

  /** @param {number[]} point */
  held([x, y]) {
    return [clamp(x, 0, this.width - 1), clamp(y, 0, this.height - 1)];
  }
}
