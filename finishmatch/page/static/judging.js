// How a draft comes to its verdict: asked for after every change, counted while photos are read, dropped when it is out of date.

import * as api from './api.js';
import { store, tell } from './store.js';

const JUDGE_AFTER_MS = 40;
const DROP_AFTER_MS = 1500;
const PROGRESS_EVERY_MS = 300;

let timer = 0;
let asking = null; // what is being judged, so that it can be dropped when it is no longer what is wanted

export function judge() {
  clearTimeout(timer);
  timer = setTimeout(ask, JUDGE_AFTER_MS);
}

async function ask() {
  if (!store.draft.photo?.length) return;
  if (asking) return dropIfLong();
  const sent = [store.draft, store.budget];
  asking = { began: Date.now(), stop: new AbortController() };
  tell({ judging: true });
  const counting = setInterval(countPhotos, PROGRESS_EVERY_MS);
  try {
    const pane = await api.verdict(...sent, asking.stop.signal);
    store.pane = pane;
  } catch (error) {
    if (!asking.stop.signal.aborted) store.pane = { ...store.pane, message: error.message, verdict: null };
  }
  clearInterval(counting);
  asking = null;
  tell({ judging: false, progress: null });
  if (sent[0] !== store.draft || sent[1] !== store.budget) ask();
}

// What takes long and is no longer wanted is dropped; what was measured meanwhile is kept by the server.
function dropIfLong() {
  if (Date.now() - asking.began > DROP_AFTER_MS) asking.stop.abort();
}

async function countPhotos() {
  try {
    const progress = await api.progress();
    if (asking && progress.of > 1 && progress.done < progress.of) tell({ progress });
  } catch {
    // the verdict itself will say that the server is gone
  }
}

export function setBudget(budget) {
  tell({ budget });
  judge();
}
