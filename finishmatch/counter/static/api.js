// What the counter's page asks of its server.

export class Refusal extends Error {
  constructor(status, text, body) {
    super(text);
    this.status = status;
    this.body = body;
  }
}

async function ask(method, path, body, type, signal) {
  let response;
  try {
    response = await fetch(path, { method, body, headers: body === undefined ? {} : { 'Content-Type': type }, signal });
  } catch (error) {
    if (error.name === 'AbortError') throw error;
    throw new Refusal(0, 'The server does not answer. Is finishmatch shelf open still running, and this device still let in?');
  }
  const json = (response.headers.get('Content-Type') ?? '').startsWith('application/json');
  const answer = json ? await response.json() : await response.text();
  if (response.ok) return answer;
  throw new Refusal(response.status, answer?.error?.text ?? String(answer), answer);
}

const send = (method, path, value, signal) => ask(method, path, JSON.stringify(value), 'application/json', signal);

export const here = () => ask('GET', '/api/here');
export const devices = () => ask('GET', '/api/devices');
export const admit = (id, yes) => send('POST', '/api/devices', { id, admit: yes });
export const search = (words, sort, start, signal) =>
  ask('GET', `/api/shelf?${new URLSearchParams({ words, sort, start: String(start) })}`, undefined, undefined, signal);
export const record = (number) => ask('GET', `/api/shelf/${number}`);
export const change = (number, seal, facts) => send('PUT', `/api/shelf/${number}`, { seal, facts });
export const remove = (numbers) => send('POST', '/api/remove', { numbers });
export const putBack = (numbers) => send('POST', '/api/put-back', { numbers });
export const addPhoto = (file) => ask('PUT', `/api/photos?name=${encodeURIComponent(file.name)}`, file, file.type);
export const outline = (photo, [x, y]) => send('POST', '/api/outline', { photo, x, y });
export const match = (wanted, signal) => send('POST', '/api/match', wanted, signal);
export const checkIn = (delivery) => send('POST', '/api/delivery', delivery);
export const sign = (signature) => send('POST', '/api/sign', signature);
export const deliveries = () => ask('GET', '/api/deliveries');
