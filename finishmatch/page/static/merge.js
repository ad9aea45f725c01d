// Two people changed one build: what each changed since both had the same is taken from each; where both changed the same
// thing, mine stays.

const SEP = '\u0000';

function flatten(draft) {
  const flat = new Map();
  const put = (key, value) => flat.set(key.join(SEP), JSON.stringify(value ?? null));
  put(['build'], draft.build);
  put(['tolerance'], draft.tolerance);
  for (const { part = [], ...photo } of draft.photo ?? []) {
    put(['photo', photo.file], photo);
    for (const mark of part) put(['mark', photo.file, mark.name], mark);
  }
  for (const kind of ['part', 'seller']) for (const one of draft[kind] ?? []) put([kind, one.name], one);
  return flat;
}

function unflatten(flat) {
  const draft = { photo: [], part: [] };
  const photos = new Map();
  const entries = [...flat].map(([key, text]) => [key.split(SEP), JSON.parse(text)]);
  for (const [[kind], value] of entries) {
    if (kind === 'build' || kind === 'tolerance') draft[kind] = value ?? undefined;
    if (kind === 'photo') {
      const photo = { ...value, part: [] };
      photos.set(value.file, photo);
      draft.photo.push(photo);
    }
  }
  for (const [[kind, file], value] of entries) if (kind === 'mark') photos.get(file)?.part.push(value);
  const marked = new Set(draft.photo.flatMap((photo) => photo.part.map((mark) => mark.name)));
  const sellers = entries.filter(([[kind]]) => kind === 'seller').map(([, value]) => value);
  if (sellers.length) draft.seller = sellers;
  for (const [[kind, name], value] of entries) if (kind === 'part' && marked.has(name)) draft.part.push(value);
  return draft;
}

// Both marked a thing under one name that neither knew before: mine gets a name of its own.
function apart(key, value, all, my) {
  const [kind, file] = key.split(SEP);
  const mark = JSON.parse(value);
  let number = 1;
  const free = (name) => ![...all.keys(), ...my.keys()].some((one) => one.startsWith(`mark${SEP}`) && one.endsWith(`${SEP}${name}`));
  while (!free(`part ${number}`)) number += 1;
  const name = `part ${number}`;
  return { key: [kind, file, name].join(SEP), text: JSON.stringify({ ...mark, name }) };
}

export function merged(base, mine, theirs) {
  const [old, my, all] = [flatten(base), flatten(mine), flatten(theirs)];
  for (const [key, value] of my) {
    const both = key.startsWith(`mark${SEP}`) && !old.has(key) && all.has(key) && all.get(key) !== value;
    if (both) {
      const mine = apart(key, value, all, my);
      all.set(mine.key, mine.text);
    } else if (old.get(key) !== value) all.set(key, value);
  }
  for (const key of old.keys()) if (!my.has(key)) all.delete(key);
  return unflatten(all);
}
