// Points and polygons in photo pixels. Origin: the centre of the top left pixel.

/** @typedef {number[]} Point x and y */
/** @typedef {Point[]} Polygon */
/** @typedef {{width: number, height: number}} Size */

export const clamp = (value, low, high) => Math.min(Math.max(value, low), high);

export const tidy = (value) => Math.round(value * 10) / 10;

/** @type {(point: Point, points: Polygon) => boolean} */
export function inside([x, y], points) {
  let within = false;
  points.forEach(([x1, y1], i) => {
    const [x2, y2] = points.at(i - 1);
    if (y1 > y !== y2 > y && x < ((x2 - x1) * (y - y1)) / (y2 - y1) + x1) within = !within;
  });
  return within;
}

/** @type {(points: Polygon) => number} */
export function areaOf(points) {
  const doubled = points.reduce((sum, [x, y], i) => {
    const [px, py] = points.at(i - 1);
    return sum + px * y - x * py;
  }, 0);
  return Math.abs(doubled) / 2;
}

/** @type {(point: Point, from: Point, to: Point) => number} */
export function toSegment([x, y], [x1, y1], [x2, y2]) {
  const [dx, dy] = [x2 - x1, y2 - y1];
  const along = clamp(((x - x1) * dx + (y - y1) * dy) / (dx * dx + dy * dy || 1), 0, 1);
  return Math.hypot(x - x1 - along * dx, y - y1 - along * dy);
}

// The edge of a polygon that lies nearest to a point, as the index of its first end, and how far off it is.
/** @type {(point: Point, points: Polygon) => {index: number, distance: number}} */
export function nearestEdge(point, points) {
  const off = points.map((from, i) => toSegment(point, from, points[(i + 1) % points.length]));
  const distance = Math.min(...off);
  return { index: off.indexOf(distance), distance };
}

// A box is the pixels from x, y on, width and height of them; its corners are the outermost pixels' centres.
/** @type {(box: number[]) => Polygon} */
export const boxCorners = ([x, y, w, h]) => [[x, y], [x + w - 1, y], [x + w - 1, y + h - 1], [x, y + h - 1]];

/** @type {(one: Point, other: Point) => number[]} */
export function boxOf([x1, y1], [x2, y2]) {
  const [left, top] = [Math.min(x1, x2), Math.min(y1, y2)];
  return [left, top, Math.abs(x2 - x1) + 1, Math.abs(y2 - y1) + 1].map(tidy);
}

export function formPoints(form) {
  if (form.box) return boxCorners(form.box);
  return form.outline ?? [];
}

/** @type {(points: Polygon) => number[]} left, top, right, bottom */
export function bounds(points) {
  const [xs, ys] = [points.map(([x]) => x), points.map(([, y]) => y)];
  return [Math.min(...xs), Math.min(...ys), Math.max(...xs), Math.max(...ys)];
}

// Move all points together, kept inside the picture.
/** @type {(points: Polygon, dx: number, dy: number, size: Size) => Polygon} */
export function moved(points, dx, dy, { width, height }) {
  const [left, top, right, bottom] = bounds(points);
  const x = clamp(dx, -left, width - 1 - right);
  const y = clamp(dy, -top, height - 1 - bottom);
  return points.map(([px, py]) => [tidy(px + x), tidy(py + y)]);
}

// The plane map that takes the unit square to four corners (Heckbert, "Fundamentals of Texture Mapping", 1989, 2.2.3).
/** @type {(corners: Polygon) => (u: number, v: number) => Point} */
function squareTo([[x0, y0], [x1, y1], [x2, y2], [x3, y3]]) {
  const [sx, sy] = [x0 - x1 + x2 - x3, y0 - y1 + y2 - y3];
  const [dx1, dx2, dy1, dy2] = [x1 - x2, x3 - x2, y1 - y2, y3 - y2];
  const whole = dx1 * dy2 - dx2 * dy1;
  const g = (sx * dy2 - dx2 * sy) / whole;
  const h = (dx1 * sy - sx * dy1) / whole;
  const [a, b] = [x1 - x0 + g * x1, x3 - x0 + h * x3];
  const [d, e] = [y1 - y0 + g * y1, y3 - y0 + h * y3];
  return (u, v) => [(a * u + b * v + x0) / (g * u + h * v + 1), (d * u + e * v + y0) / (g * u + h * v + 1)];
}

// The patches of a chart whose grid has these corners, each as four points. `rowAt`: where its rows begin, in patch pitches.
/** @type {(corners: Polygon, columns: number, rowAt: number[], gap: number) => Polygon[]} */
export function patchQuads(corners, columns, rowAt, gap) {
  const at = squareTo(corners);
  const height = rowAt.at(-1) + 1 - gap;
  const quads = [];
  for (const row of rowAt) {
    for (let column = 0; column < columns; column += 1) {
      const u = [column / (columns - gap), (column + 1 - gap) / (columns - gap)];
      const v = [row / height, (row + 1 - gap) / height];
      quads.push([at(u[0], v[0]), at(u[1], v[0]), at(u[1], v[1]), at(u[0], v[1])]);
    }
  }
  return quads;
}
