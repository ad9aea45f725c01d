// How this device is worked, for the words that speak of it.

export const touch = matchMedia('(pointer: coarse)').matches;
export const narrow = matchMedia('(max-width: 63.99rem)');
export const Click = touch ? 'Tap' : 'Click';
export const click = Click.toLowerCase();

export const counted = (n, one, many = `${one}s`) => `${n} ${n === 1 ? one : many}`;
