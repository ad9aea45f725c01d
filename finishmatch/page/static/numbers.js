// Every part has a number for life. The build file keeps it with the part's facts: so it is the same on every device, goes where
// the build goes, and whoever works on the same build sees it too.

import { allNames, factsOf, setFact } from './draft.js';

const known = new Map(); // every name that a part ever had here -> its number
let highest = 0;

// Begin with a build: its own numbers, then the order in the file.
export function openNumbers(draft) {
  known.clear();
  highest = 0;
  learnNumbers(draft);
}

// What the file says binds: a part that had another's number here takes a new one.
export function learnNumbers(draft) {
  const said = new Map();
  for (const { name, number } of draft.part ?? []) if (number && ![...said.values()].includes(number)) said.set(name, number);
  for (const [name, number] of known) if (!said.has(name) && [...said.values()].includes(number)) known.delete(name);
  for (const [name, number] of said) give(name, number);
  for (const name of allNames(draft)) numberOf(name);
}

// Write into a draft what every part's number is.
export function keepNumbers(draft) {
  for (const name of allNames(draft)) if (factsOf(draft, name).number !== numberOf(name)) setFact(draft, name, 'number', numberOf(name));
}

function give(name, number) {
  known.set(name, number);
  highest = Math.max(highest, number);
}

export function numberOf(name) {
  if (!known.has(name)) {
    const asked = Number(/^part (\d+)$/.exec(name)?.[1] ?? 0);
    const free = asked > 0 && asked < 10_000 && ![...known.values()].includes(asked);
    give(name, free ? asked : highest + 1);
  }
  return known.get(name);
}

// A part that is called otherwise keeps its number; one that joins another takes that one's.
export function renamedTo(from, to) {
  if (!known.has(to)) give(to, numberOf(from));
}

// A name for a part that nobody has named yet, of a number that no part ever had.
export function takeName() {
  const name = `part ${highest + 1}`;
  numberOf(name);
  return name;
}

export const isUnnamed = (name) => /^part \d+$/.test(name);
