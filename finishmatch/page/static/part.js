// The parts of the photo, and what is known of the chosen one.

import { change, listen, pieces, setsOf, store, tell } from './store.js';
import { allNames, elsewhere, markOf, marksOf, reshape } from './draft.js';
import { byId, el, field, keyed, say, set } from './dom.js';
import { chosenMark, deleteChosen, toOutline } from './shapes.js';
import { boxTable, outlineTable } from './coords.js';
import { fileOptions, otherPictures, showOptions } from './beside.js';
import { firstFields, moreFields, refreshAll, showUnlessTyped } from './facts.js';
import { numberOf } from './numbers.js';
import { canStep, findParts, step } from './propose.js';
import { callIt } from './rename.js';
import { Click, counted } from './words.js';

const list = el('ul', { class: 'part-list' });
const none = el('p', { class: 'quiet' }, `None yet. ${Click} a part in the photo, or let all be found.`);
const find = el('p', { class: 'buttons' }, el('button', { type: 'button', id: 'find-parts', onclick: findParts }, 'Find the parts'));
byId('parts-body').append(none, find, list);
const form = byId('part-body');

let built = ''; // what the form was built for
let refresh = () => {};

function makeItem({ name }) {
  const button = el('button', { type: 'button', class: 'part', onclick: () => tell({ selected: { kind: 'mark', name } }) });
  button.append(el('span', { class: 'tag' }), el('bdi', {}, name), el('span', { class: 'words quiet small' }));
  return el('li', {}, button);
}

function updateItem(item, { name }) {
  const button = item.firstElementChild;
  const asked = questionsOf(name).length;
  const [tag, , words] = button.children;
  const set_ = setsOf()[name];
  tag.textContent = `${numberOf(name)}${set_ ? ` ${set_.letter}` : ''}`;
  words.textContent = asked ? counted(asked, 'question') : pieceOf(name)?.words ?? '';
  set(button, { 'aria-current': store.selected?.name === name ? 'true' : null });
}

const pieceOf = (name) => pieces().find((piece) => piece.name === name);

const questionsOf = (name) => (store.pane.photos[store.photo]?.questions ?? []).filter(({ part }) => part === name);

function nameFields(name) {
  const input = el('input', { maxlength: 200, required: true, autocomplete: 'off', onchange: () => {
    if (!callIt(name, input.value.trim())) input.value = name;
  } });
  const others = elsewhere(store.draft, store.photo);
  const select = el('select', { onchange: () => select.value && callIt(name, select.value) }, el('option', { value: '' }, 'a part of its own'), ...others.map((other) => el('option', { value: other }, other)));
  const same = others.length ? field('part-same', 'Same part as in another photo', select) : null;
  return { nodes: [field('part-name', 'Name', input), same].filter(Boolean), refresh: () => showUnlessTyped(input, name) };
}

// What is doubtful about the mark, and the two answers.
function questions(name) {
  const box = el('div', { class: 'question' });
  const right = () => {
    change((draft) => {
      markOf(draft, store.photo, name).meant = true;
    });
    say(`${name}: the mark is right`);
  };
  const show = () => {
    const texts = questionsOf(name).map(({ text }) => text);
    box.hidden = !texts.length;
    if (box.dataset.said === texts.join()) return;
    box.dataset.said = texts.join();
    box.replaceChildren(...texts.map((text) => el('p', {}, text)), el('p', { class: 'buttons' },
      el('button', { type: 'button', onclick: right }, 'The mark is right'),
      el('button', { type: 'button', onclick: deleteChosen }, 'Delete it')));
  };
  return { node: box, refresh: show };
}

// Of a fresh proposal: those around it, for whoever has neither wheel nor keys.
function sizeButtons(name) {
  const button = (words, direction) => el('button', { type: 'button', onclick: () => step(direction) }, words);
  const node = el('p', { class: 'buttons' }, button('Smaller outline', -1), button('Larger outline', 1));
  return { node, refresh: () => {
    node.hidden = !canStep(name);
  } };
}

function notes(name) {
  const node = el('ul', { class: 'notes small' });
  return { node, refresh: () => node.replaceChildren(...(pieceOf(name)?.notes ?? []).map((text) => el('li', {}, text))) };
}

// A picture that shows the part bright on black, made elsewhere: the one chosen takes the place of what was drawn.
function maskField(name) {
  const select = el('select', { onchange: () => select.value && change((draft) => reshape(draft, store.photo, name, { mask: select.value })) });
  const node = el('details', {}, el('summary', {}, 'Mark it by a picture'), field('part-mask', 'What is not black in it is the part', select));
  return { node, refresh: () => {
    const { mask } = markOf(store.draft, store.photo, name) ?? {};
    node.hidden = !mask && !otherPictures().length;
    showOptions(select, fileOptions(otherPictures(), mask, mask ? 'as it is' : 'none'), mask ?? '');
  } };
}

function build(mark) {
  const { name } = mark;
  const names = nameFields(name);
  const rows = [...firstFields(name), moreFields(name)];
  const above = [questions(name), sizeButtons(name)];
  const below = [notes(name), maskField(name)];
  const coords = mark.box ? boxTable(name) : mark.outline ? outlineTable(name) : null;
  const where = coords ? el('details', {}, el('summary', {}, mark.box ? 'Box as numbers' : 'Outline as numbers'), coords.node) : el('p', { class: 'quiet' }, 'Marked by a mask file.');
  const turn = mark.box ? el('button', { type: 'button', onclick: () => toOutline(name) }, 'Turn into an outline') : null;
  const remove = el('button', { type: 'button', onclick: deleteChosen }, 'Delete this mark');
  form.replaceChildren(...above.map((one) => one.node), ...names.nodes, ...rows.map((one) => one.node), below[0].node, where, below[1].node, el('p', { class: 'buttons' }, ...[turn, remove].filter(Boolean)));
  refresh = () => {
    refreshAll([...above, names, ...rows, ...below]);
    coords?.update();
  };
}

listen(() => {
  const marks = marksOf(store.draft, store.photo);
  none.hidden = marks.length > 0;
  find.hidden = !marks.length; // the next thing to do then, which is offered above
  keyed(list, marks, (mark) => mark.name, makeItem, updateItem);
  const mark = chosenMark();
  const wanted = mark ? JSON.stringify([store.photo, mark.name, Boolean(mark.box), Boolean(mark.mask), allNames(store.draft)]) : '';
  if (wanted !== built && mark) build(mark);
  built = wanted;
  if (!mark) return;
  byId('part-title').textContent = `Part ${numberOf(mark.name)}`;
  refresh();
});
