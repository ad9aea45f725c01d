// The build: its name, how close is alike, what may be spent, and rarer: families, currency, camera, sellers.

import { tolerances } from './declared.js';
import { setBudget } from './judging.js';
import { change, listen, store } from './store.js';
import { allNames, marksOf } from './draft.js';
import { byId, el, field } from './dom.js';
import { fileOptions, showOptions } from './beside.js';
import { sellers } from './sellers.js';

const FAMILIES = [
  ['auto', 'tell by labels, and else by colour'],
  ['by label', 'those of one label'],
  ['by colour', 'those of like colour, whatever the label'],
  ['one', 'all of them'],
];

const body = el('div', { class: 'form' });
byId('match-body').append(el('details', { id: 'build-settings' }, el('summary', {}, 'How close is alike, name, budget'), body));

const file = el('p', { class: 'quiet small' });
const name = el('input', { maxlength: 200, onchange: () => writeBuild('name', name.value.trim() || store.draft.build.name) });
const finish = el('input', { maxlength: 200, onchange: () => writeBuild('finish', finish.value.trim() || null) });
const sure = el('select', { onchange: () => write('confidence', Number(sure.value)) }, ...[80, 90, 95, 99].map((percent) => el('option', { value: percent / 100 }, `${percent} %`)));
const pair = [0, 1].map(() => el('select', { onchange: writePair }));
const budget = el('input', { type: 'number', min: 0, step: 'any', inputmode: 'decimal', onchange: () => setBudget(budget.value === '' ? null : Math.max(0, Number(budget.value))) });

const inputs = tolerances.map(({ key, words, usual, most }) => {
  const input = el('input', { type: 'number', min: 0.1, max: most, step: 0.1, inputmode: 'decimal', onchange: () => writeTolerance(key, usual, input) });
  return { node: field(`tolerance-${key}`, words, input), key, usual, input };
});

const currency = el('input', { maxlength: 200, list: 'currencies', autocomplete: 'off', onchange: () => writeBuild('currency', currency.value.trim() || null) });
const currencies = el('datalist', { id: 'currencies' }, ...['EUR', 'GBP', 'USD', 'CHF', 'SEK', 'JPY'].map((value) => el('option', { value })));
const families = el('select', { onchange: () => writeBuild('families', families.value) }, ...FAMILIES.map(([value, words]) => el('option', { value }, words)));
const camera = el('select', { onchange: () => writeBuild('camera', camera.value || null) });

body.append(
  file,
  el('h3', {}, 'How far parts may lie apart'),
  el('div', { class: 'three' }, ...inputs.map(({ node }) => node)),
  el('details', {}, el('summary', {}, 'What the numbers mean'), el('p', { class: 'small' }, 'CIEDE2000: a trained eye sees a difference of about 1 side by side. Smaller is stricter. A pair of parts that you call just acceptable is better than any number.')),
  el('fieldset', {}, el('legend', {}, 'These two are just acceptable'), el('div', { class: 'pair' }, field('limit-one', 'One', pair[0]), field('limit-other', 'Other', pair[1]))),
  field('confidence', 'How sure a verdict must be', sure),
  field('budget', 'What may be spent on all offers', budget, 'left out: any sum'),
  field('build-called', 'Name of the build', name),
  field('build-finish', 'Finish that is wished for', finish),
  el('details', { id: 'build-details' }, el('summary', {}, 'Details'), el('div', { class: 'form' },
    field('build-families', 'Which parts are meant to be one finish', families),
    field('build-currency', 'Currency of all prices', currency), currencies,
    field('build-camera', 'Camera that took the photos', camera, 'a file that finishmatch card learn wrote, laid beside the build: for photos without a chart'))),
  sellers,
);

function writeBuild(key, value) {
  change((draft) => {
    draft.build = { ...draft.build, [key]: value };
  });
}

function write(key, value) {
  change((draft) => {
    draft.tolerance = { ...draft.tolerance, [key]: value };
  });
}

function writeTolerance(key, usual, input) {
  const typed = Number(input.value);
  if (typed > 0 && typed <= input.max) return write(key, typed);
  input.value = store.draft.tolerance?.[key] ?? usual;
}

// Both must be named, and one photo must show both.
function writePair() {
  const [one, other] = pair.map(({ value }) => value);
  if (!one || !other) return store.draft.tolerance?.limit_pair && write('limit_pair', null);
  if (one !== other && together(one).includes(other)) write('limit_pair', [one, other]);
}

const together = (one) => (store.draft.photo ?? [])
  .map((photo) => marksOf(store.draft, photo.file).map((mark) => mark.name))
  .filter((names) => names.includes(one)).flat().filter((other) => other !== one);

function showPair() {
  if (pair.includes(/** @type {any} */ (document.activeElement))) return;
  const chosen = store.draft.tolerance?.limit_pair ?? pair.map(({ value }) => value);
  const lists = [allNames(store.draft), chosen[0] ? [...new Set(together(chosen[0]))] : allNames(store.draft)];
  pair.forEach((select, i) => {
    select.replaceChildren(el('option', { value: '' }, 'none'), ...lists[i].map((one) => el('option', { value: one }, one)));
    select.value = lists[i].includes(chosen[i]) ? chosen[i] : '';
  });
}

const showUnlessTyped = (input, value) => {
  if (document.activeElement !== input) input.value = value;
};

listen(() => {
  for (const { key, usual, input } of inputs) showUnlessTyped(input, store.draft.tolerance?.[key] ?? usual);
  showUnlessTyped(name, store.draft.build?.name ?? '');
  showUnlessTyped(finish, store.draft.build?.finish ?? '');
  showUnlessTyped(currency, store.draft.build?.currency ?? '');
  showUnlessTyped(families, store.draft.build?.families ?? 'auto');
  const learnt = store.draft.build?.camera;
  showOptions(camera, fileOptions(store.beside.cameras, learnt, 'none'), learnt ?? '');
  showUnlessTyped(budget, store.budget ?? '');
  const confidence = store.draft.tolerance?.confidence ?? 0.9;
  if (![...sure.options].some((option) => Number(option.value) === confidence)) sure.append(el('option', { value: confidence }, `${Math.round(confidence * 100)} %`));
  showUnlessTyped(sure, String(confidence));
  showPair();
  file.textContent = `Saved in ${store.file}`;
});
