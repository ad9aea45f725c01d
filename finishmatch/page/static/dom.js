// Elements. Text that others wrote enters the page as text nodes only.

const SVG = 'http://www.w3.org/2000/svg';

function apply(node, props) {
  for (const [key, value] of Object.entries(props)) {
    if (value === null || value === undefined || value === false) node.removeAttribute(key);
    else if (key.startsWith('on')) node.addEventListener(key.slice(2), value);
    else node.setAttribute(key, value === true ? '' : String(value));
  }
  return node;
}

export function el(tag, props = {}, ...children) {
  const node = apply(document.createElement(tag), props);
  node.append(...children.filter((child) => child !== null && child !== undefined));
  return node;
}

export function shape(tag, props = {}, ...children) {
  const node = apply(document.createElementNS(SVG, tag), props);
  node.append(...children);
  return node;
}

export const set = apply;

// Typed as anything: each id is one kind of element, which its caller knows.
/** @type {(id: string) => any} */
export const byId = (id) => document.getElementById(id);

// Bring the children of a parent to stand for items, keeping the node of every item that stays: focus and capture survive.
export function keyed(parent, items, key, make, update) {
  const old = new Map([...parent.children].map((node) => [node.dataset.key, node]));
  let place = parent.firstElementChild;
  for (const item of items) {
    const name = key(item);
    let node = old.get(name);
    if (!node) {
      node = make(item);
      node.dataset.key = name;
    }
    old.delete(name);
    if (node === place) place = place.nextElementSibling;
    else parent.insertBefore(node, place);
    update(node, item);
  }
  for (const node of old.values()) {
    if (node.contains(document.activeElement)) /** @type {any} */ (document.activeElement).blur(); // what this changes comes first
    node.remove();
  }
}

// A labelled control of a form, with what explains it.
export function field(id, label, input, hint) {
  const words = hint ? el('span', { class: 'quiet small', id: `${id}-hint` }, hint) : null;
  return el('p', { class: 'field' }, el('label', { for: id }, label), apply(input, { id, 'aria-describedby': hint ? `${id}-hint` : null }), words);
}

// What just happened, for all: it is seen beside the tools, and a screen reader says it.
export function say(text) {
  byId('spoken').textContent = text;
}

// Trouble is shown until it is closed or the next thing works.
export function trouble(text) {
  const box = byId('trouble');
  box.replaceChildren();
  if (!text) return;
  box.append(el('p', {}, text), el('button', { type: 'button', onclick: () => trouble('') }, 'Close'));
}
