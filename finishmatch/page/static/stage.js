// The photo under pointer and keys: zoom, pan, tools, movable points.

import { byId, say } from './dom.js';
import { gestureCancel, gestureEnd, listen, loadFacts, store, tell } from './store.js';
import { marksOf } from './draft.js';
import { inside, formPoints, tidy } from './geometry.js';
import { askName, whereIs } from './naming.js';
import { ARROWS, keyOnPoint } from './keys.js';
import { labelsOf } from './labels.js';
import { Drawing } from './draw.js';
import { View } from './view.js';
import * as propose from './propose.js';
import * as shapes from './shapes.js';
import * as tools from './tools.js';

const REACH_PX = { mouse: 9, pen: 14, touch: 22 };
const DRAG_PX = 5;

const stage = byId('stage');
const drawing = new Drawing(stage);
const view = new View(stage, draw);
const pointers = new Map();
let press = null; // the pointer that is down: what it holds and where it began
let aim = null; // where the keys point
let shown = null;

export const zoomBy = (factor) => view.zoom(factor);
export const zoomFit = () => view.fit();

function draw() {
  const facts = store.facts[store.photo];
  stage.classList.toggle('empty', !facts);
  if (!facts) return;
  drawing.frame(view);
  const pane = store.pane.photos[store.photo];
  drawing.drawCard(shapes.cardCorners(), shapes.secondCard(), pane, store.selected?.kind === 'card');
  drawing.drawMarks(marksOf(store.draft, store.photo), shapes.chosenMark()?.name, labelsOf(marksOf(store.draft, store.photo)), pane?.masks ?? {}, view);
  const points = shapes.points();
  const focused = keyOfFocused();
  const heldKey = press?.point?.key ?? focused;
  drawing.drawHandles(points, heldKey, shapes.pointWords);
  drawing.drawSketch(tools.sketched());
  drawing.drawAim(document.activeElement === stage ? aim : null);
  const held = points.find((point) => point.key === heldKey);
  drawing.loupe.show(held?.at ?? null, view);
}

// Where a mark lies on the stage, in its CSS pixels: left, top, right, bottom; null for one that is not drawn.
export function placeOf(name) {
  const mark = marksOf(store.draft, store.photo).find((one) => one.name === name);
  return mark && formPoints(mark).length ? view.boxOf(formPoints(mark)) : null;
}

listen(() => {
  const facts = store.facts[store.photo];
  if (!facts) loadFacts(store.photo);
  if (facts && shown !== store.photo) {
    shown = store.photo;
    aim = null;
    tools.clearSketch();
    drawing.setPhoto(store.photo, facts);
    view.open(facts.width, facts.height);
  }
  stage.dataset.tool = store.tool;
  draw();
  stage.dataset.scrolls = String(store.tool === 'find' && !store.selected && view.fitted);
});

whereIs(placeOf);

function keyOfFocused() {
  const handle = document.activeElement?.closest?.('.handle');
  return /** @type {SVGElement | null} */ (handle)?.dataset.key;
}

/** @param {number[]} point */
function nearestPoint([x, y], reach) {
  const off = (point) => Math.hypot(point.at[0] - x, point.at[1] - y) * view.scale;
  const near = shapes.points().filter((point) => off(point) <= reach);
  return near.sort((a, b) => off(a) - off(b))[0] ?? null;
}

const reachOf = (event) => REACH_PX[event.pointerType] ?? REACH_PX.mouse;

function onDown(event) {
  if (!shown) return;
  stage.setPointerCapture(event.pointerId);
  const at = view.onStage(event);
  pointers.set(event.pointerId, at);
  if (pointers.size === 2) return startPinch();
  if (pointers.size > 2) return;
  const photo = view.toPhoto(at);
  const point = event.button === 1 ? null : nearestPoint(photo, reachOf(event));
  const mark = shapes.chosenMark();
  const within = mark && event.button !== 1 && store.tool === 'choose' && inside(photo, formPoints(mark));
  const boxing = store.tool === 'box' && !point && event.button === 0;
  const looping = store.tool === 'loop' && event.button === 0;
  press = { at, photo, point, mark: !point && within ? mark : null, boxing, looping, dragged: false, button: event.button };
  aim = null;
  draw();
}

function startPinch() {
  gestureCancel();
  tools.clearSketch();
  view.fingers = [...pointers.values()];
  press = { pinch: true };
}

function onMove(event) {
  const at = view.onStage(event);
  if (!pointers.has(event.pointerId)) {
    stage.classList.toggle('on-point', Boolean(nearestPoint(view.toPhoto(at), REACH_PX.mouse)));
    return hover(at);
  }
  pointers.set(event.pointerId, at);
  if (press?.pinch) return view.pinch([...pointers.values()]);
  if (!press) return;
  const photo = view.toPhoto(at);
  const [dx, dy] = [at[0] - press.at[0], at[1] - press.at[1]];
  if (!press.dragged && Math.hypot(dx, dy) < (press.point ? 2 : DRAG_PX)) return;
  if (!press.dragged && press.boxing && !tools.sketch.points.length) tools.boxClick(press.photo.map(tidy));
  press.dragged = true;
  if (press.looping) {
    tools.drawLoop(press.photo, view.held(photo));
    return draw();
  }
  if (press.point) return shapes.dragPoint(press.point, press.point.at.map((from, i) => from + photo[i] - press.photo[i]));
  if (press.mark) return shapes.dragMark(press.mark, photo[0] - press.photo[0], photo[1] - press.photo[1]);
  if (press.boxing) return hover(at);
  const last = press.last ?? press.at;
  press.last = at;
  view.pan(at[0] - last[0], at[1] - last[1]);
}

function hover(at) {
  if (!tools.sketch.points.length) return;
  tools.sketch.to = view.held(view.toPhoto(at)).map(tidy);
  draw();
}

function onUp(event) {
  pointers.delete(event.pointerId);
  const ended = press;
  if (!ended || pointers.size) return;
  press = null;
  if (ended.point || ended.mark) gestureEnd();
  if (ended.boxing && ended.dragged) tools.boxClick(view.held(view.toPhoto(view.onStage(event))).map(tidy));
  else if (ended.looping && ended.dragged) tools.endLoop();
  else if (isClick(ended)) tools.clickAt(view.held(ended.photo), reachOf(event) / view.scale);
  draw();
}

// A press that did not move clicks through a point, unless points are what is being chosen.
function isClick({ pinch, dragged, point, button }) {
  return !pinch && !dragged && button === 0 && !(point && store.tool === 'choose');
}

function onCancel(event) {
  pointers.delete(event.pointerId);
  press = null;
  gestureCancel();
  draw();
}

function onDouble(event) {
  const photo = view.toPhoto(view.onStage(event));
  const edge = store.tool === 'choose' && !nearestPoint(photo, REACH_PX.mouse) && shapes.edgeAt(photo, REACH_PX.pen / view.scale);
  if (edge) shapes.addPointAfter(edge.name, edge.index, view.held(photo));
}

function onKey(event) {
  if (event.ctrlKey || event.metaKey || !shown) return;
  const handle = event.target.closest('.handle');
  const used = handle ? keyOnPoint(event, handle.dataset.key, view) : false;
  if (used || keyOnStage(event)) {
    event.preventDefault();
    draw();
  }
}

function keyOnStage(event) {
  const arrow = ARROWS[event.key];
  if (arrow) return moveAim(arrow, event.shiftKey ? 60 : event.altKey ? 1 : 12);
  if (event.key === 'Escape') return giveUp();
  if (event.key === 'Enter' && tools.closeOutline()) return true;
  if ((event.key === 'Enter' || event.key === ' ') && event.target === stage) return act();
  if (event.key === 'Backspace') return tools.takeBack();
  if (event.key === 'Delete') return shapes.deleteChosen();
  if (event.key === 'F2' && shapes.chosenMark()) return askName(shapes.chosenMark().name);
  if (propose.stepByKey(event.key)) return true;
  if (event.key === '+' || event.key === '=') view.zoom(1.4, onScreen());
  else if (event.key === '-') view.zoom(1 / 1.4, onScreen());
  else if (event.key === '0') view.fit();
  else {
    const tool = Object.keys(tools.TOOLS).find((name) => tools.TOOLS[name].key === event.key.toLowerCase());
    if (!tool) return false;
    tools.setTool(tool);
  }
  return true;
}

const centre = () => view.held(view.toPhoto(view.size.map((side) => side / 2)));
const onScreen = () => (aim ? [(aim[0] - view.x) * view.scale, (aim[1] - view.y) * view.scale] : undefined);

/** @param {number[]} point */
function moveAim([dx, dy], pixels) {
  const from = aim ?? centre();
  aim = view.held([from[0] + (dx * pixels) / view.scale, from[1] + (dy * pixels) / view.scale]).map(Math.round);
  if (tools.sketch.points.length) tools.sketch.to = aim;
  view.show(aim);
  say(`x ${aim[0]}, y ${aim[1]}`);
  return true;
}

function act() {
  aim ??= centre().map(Math.round);
  tools.clickAt(aim, 8 / view.scale);
  return true;
}

function giveUp() {
  if (gestureCancel() || tools.clearSketch()) say('Drawing dropped');
  else if (store.selected) tell({ selected: null });
  return true;
}

stage.addEventListener('pointerdown', onDown);
stage.addEventListener('pointermove', onMove);
stage.addEventListener('pointerup', onUp);
stage.addEventListener('pointercancel', onCancel);
stage.addEventListener('dblclick', onDouble);
stage.addEventListener('keydown', onKey);
stage.addEventListener('keyup', (event) => event.key in ARROWS && gestureEnd());
stage.addEventListener('wheel', (event) => propose.wheel(event, view.toPhoto(view.onStage(event))) || view.wheel(event), { passive: false });
stage.addEventListener('focusin', draw);
stage.addEventListener('focusout', () => {
  gestureEnd();
  draw();
});
