// The build as the page holds it: the build file's tables, with ids in the places of paths. Functions from drafts to answers,
// and changes to a draft that is the caller's own copy.

const NAMES_OF_PARTS = ['touches', 'matches']; // keys of a part that name others

export const photoOf = (draft, id) => (draft.photo ?? []).find((photo) => photo.file === id);

export const marksOf = (draft, id) => photoOf(draft, id)?.part ?? [];

export const markOf = (draft, id, name) => marksOf(draft, id).find((mark) => mark.name === name);

export const factsOf = (draft, name) => (draft.part ?? []).find((part) => part.name === name) ?? { name };

export function allNames(draft) {
  const names = (draft.photo ?? []).flatMap((photo) => (photo.part ?? []).map((mark) => mark.name));
  return [...new Set(names)];
}

// Parts that other photos show and this one does not yet.
export function elsewhere(draft, id) {
  const here = new Set(marksOf(draft, id).map((mark) => mark.name));
  return allNames(draft).filter((name) => !here.has(name));
}

export function addMark(draft, id, form, name) {
  const photo = photoOf(draft, id);
  photo.part = [...(photo.part ?? []), { name, ...form }];
  return name;
}

export function removeMark(draft, id, name) {
  const photo = photoOf(draft, id);
  photo.part = marksOf(draft, id).filter((mark) => mark.name !== name);
  tidy(draft);
}

export function removePhoto(draft, id) {
  draft.photo = draft.photo.filter((photo) => photo.file !== id);
  tidy(draft);
}

// Replace the outline of a mark by another form: a box or an outline.
export function reshape(draft, id, name, form) {
  const mark = markOf(draft, id, name);
  for (const key of ['box', 'outline', 'mask']) delete mark[key];
  Object.assign(mark, form);
}

// A name that another photo shows joins this mark to that part; any other name renames the part everywhere.
export function rename(draft, id, from, to) {
  const joins = allNames(draft).includes(to);
  const change = (name) => (name === from ? to : name);
  const photos = joins ? [photoOf(draft, id)] : draft.photo;
  for (const photo of photos) for (const mark of photo.part ?? []) mark.name = change(mark.name);
  if (!joins) {
    for (const part of draft.part ?? []) {
      part.name = change(part.name);
      for (const key of NAMES_OF_PARTS) if (part[key]) part[key] = part[key].map(change);
    }
    const pair = draft.tolerance?.limit_pair;
    if (pair) draft.tolerance.limit_pair = pair.map(change);
  }
  tidy(draft);
}

export function setFact(draft, name, key, value) {
  draft.part ??= [];
  let facts = draft.part.find((part) => part.name === name);
  if (!facts) {
    facts = { name };
    draft.part.push(facts);
  }
  facts[key] = value;
}

// Facts about parts that no photo shows any more would make the file complain.
function tidy(draft) {
  const names = new Set(allNames(draft));
  if (draft.part) {
    draft.part = draft.part.filter((part) => names.has(part.name));
    for (const part of draft.part) for (const key of NAMES_OF_PARTS) if (part[key]) part[key] = part[key].filter((other) => names.has(other));
  }
  const pair = draft.tolerance?.limit_pair;
  const together = (photo) => pair.every((name) => (photo.part ?? []).some((mark) => mark.name === name));
  if (pair && !draft.photo.some(together)) draft.tolerance.limit_pair = null;
}
