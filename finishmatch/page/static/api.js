// What the page asks of its server.

export class Refusal extends Error {
  constructor(status, text, body) {
    super(text);
    this.status = status;
    this.body = body;
  }
}

// Browsers finish a request of a page that closes only if it is small.
const KEPT_ALIVE = 60_000;

async function ask(method, path, body, type, signal) {
  let response;
  try {
    const headers = body === undefined ? {} : { 'Content-Type': type };
    response = await fetch(path, { method, body, headers, keepalive: typeof body === 'string' && body.length < KEPT_ALIVE, signal });
  } catch {
    throw new Refusal(0, 'The server does not answer. Is finishmatch mark still running?');
  }
  const json = (response.headers.get('Content-Type') ?? '').startsWith('application/json');
  const answer = json ? await response.json() : await response.text();
  if (response.ok) return answer;
  throw new Refusal(response.status, answer?.error?.text ?? String(answer), answer);
}

const send = (method, path, value, signal) => ask(method, path, JSON.stringify(value), 'application/json', signal);

export const declared = () => ask('GET', '/api/declared');
export const state = () => ask('GET', '/api/state');
export const beside = () => ask('GET', '/api/beside');
export const save = (revision, draft) => send('PUT', '/api/build', { revision, draft });
export const openBuild = (build) => send('POST', '/api/open', { build });
export const verdict = (draft, budget, signal) => send('POST', '/api/verdict', { draft, budget }, signal);
export const progress = () => ask('GET', '/api/progress');
export const devices = () => ask('GET', '/api/devices');
export const admit = (id, yes) => send('POST', '/api/devices', { id, admit: yes });
export const outlines = (file, [x, y], card, signal) => send('POST', '/api/outline', { file, x, y, card }, signal);
export const ready = (file, card) => send('POST', '/api/ready', { file, card });
export const parts = (file, card, signal) => send('POST', '/api/parts', { file, card }, signal);
export const plainCard = (file, kind) => send('POST', '/api/plain-card', { file, kind });
export const within = (file, loop, signal) => send('POST', '/api/within', { file, loop }, signal);
export const photoFacts = (id) => ask('GET', `/api/photos/${id}`);
export const addPhoto = (file, type) => ask('PUT', `/api/photos?name=${encodeURIComponent(file.name)}`, file, type);
export const view = (id) => `/photo/${id}/view`;
export const thumb = (id) => `/photo/${id}/thumb`;
