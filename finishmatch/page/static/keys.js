// What keys do on a movable point that has the focus.

import { byId, say } from './dom.js';
import * as shapes from './shapes.js';

export const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

// Whether the key was one for the point of this name.
export function keyOnPoint(event, key, view) {
  const point = shapes.points().find((one) => one.key === key);
  const arrow = ARROWS[event.key];
  if (!point) return false;
  if (arrow) {
    const far = event.shiftKey ? 10 : event.altKey ? 0.1 : 1;
    shapes.nudgePoint(point, arrow[0] * far, arrow[1] * far);
    view.show(point.at);
  } else if (point.kind === 'outline' && event.key === 'Delete') {
    shapes.removePoint(point.name, point.i);
    say('Point removed');
  } else if (point.kind === 'outline' && (event.key === 'Insert' || event.key === '+')) {
    shapes.addPointAfter(point.name, point.i);
    say('Point added');
  } else if (event.key === 'Escape') byId('stage').focus();
  else return false;
  return true;
}
