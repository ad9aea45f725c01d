// Every part has a number, which it keeps: when others are added, taken out, renamed, and when the page is loaded again.

import { allNames } from './draft.js';

const known = new Map(); // every name that a part ever had here -> its number
let highest = 0;
let kept = '';

const remember = () => {
  try {
    sessionStorage.setItem(kept, JSON.stringify([...known]));
  } catch {
    // without storage the numbers last as long as the page
  }
};

// Begin with a build file: what this page gave out before, then the order in the file.
export function openNumbers(file, draft) {
  known.clear();
  highest = 0;
  kept = `numbers of ${file}`;
  for (const [name, number] of JSON.parse(sessionStorage.getItem(kept) ?? '[]')) give(name, number);
  for (const name of allNames(draft)) numberOf(name);
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
    remember();
  }
  return known.get(name);
}

// A part that is called otherwise keeps its number; one that joins another takes that one's.
export function renamedTo(from, to) {
  if (known.has(to)) return;
  give(to, numberOf(from));
  remember();
}

// A name for a part that nobody has named yet, of a number that no part ever had.
export function takeName() {
  const name = `part ${highest + 1}`;
  numberOf(name);
  return name;
}

export const isUnnamed = (name) => /^part \d+$/.test(name);
