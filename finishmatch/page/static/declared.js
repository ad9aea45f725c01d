// What the program declares once and the page shows: kinds of card, tolerances, kinds of photo.

import { declared } from './api.js';

// cards: { kind, words, located, plain, editions }; tolerances: { key, words, usual, most }; photoTypes: suffix -> media type.
export const { cards, usualCard, tolerances, photoTypes } = await declared();

export const cardKind = (name) => cards.find(({ kind }) => kind === name);
