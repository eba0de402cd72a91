/** Small pieces of the page. Text always goes in as text, never as markup. */

const SVG = 'http://www.w3.org/2000/svg';

/**
 * Make an element.
 * @param {string} tag
 * @param {Object} [props] class, text, on: {event: handler}, and attributes; null and false leave one out
 * @param {...(Node|string|null)} children
 */
export function el(tag, props = {}, ...children) {
  const node = document.createElement(tag);
  for (const [name, value] of Object.entries(props)) setProperty(node, name, value);
  node.append(...children.flat().filter((child) => child !== null && child !== undefined && child !== false));
  return node;
}

function setProperty(node, name, value) {
  if (value === null || value === undefined || value === false) return;
  if (name === 'on') for (const [event, handler] of Object.entries(value)) node.addEventListener(event, handler);
  else if (name === 'text') node.textContent = value;
  else if (name === 'class') node.className = value;
  else if (name === 'value') node.value = value;
  else if (name === 'checked') node.checked = true;
  else node.setAttribute(name, value === true ? '' : value);
}

export function byId(id) {
  return document.getElementById(id);
}

/** Signs of the sheet: a shape, a colour and always a word beside it. */
const SHAPES = {
  note: 'M8 1.5a6.5 6.5 0 1 1 0 13a6.5 6.5 0 1 1 0-13z',
  caution: 'M8 1.5l7 13H1z',
  stop: 'M5 1h6l4 4v6l-4 4H5l-4-4V5z',
  done: 'M1.5 8.6l1.8-1.8 3 3 6.4-6.6 1.8 1.8-8.2 8.4z',
  ready: 'M4 1.8l9 6.2-9 6.2z',
  empty: 'M8 5.2a2.8 2.8 0 1 1 0 5.6a2.8 2.8 0 1 1 0-5.6z',
  stale: 'M1 6.6h14v2.8H1z',
};

export function sign(kind) {
  const svg = document.createElementNS(SVG, 'svg');
  const path = document.createElementNS(SVG, 'path');
  svg.setAttribute('viewBox', '0 0 16 16');
  svg.setAttribute('class', `sign ${kind}`);
  svg.setAttribute('aria-hidden', 'true');
  path.setAttribute('d', SHAPES[kind] ?? SHAPES.empty);
  svg.append(path);
  return svg;
}

export function button(words, onClick, props = {}) {
  return el('button', { type: 'button', ...props, on: { click: onClick } }, words);
}

/** A labelled check box. */
export function check(id, words, checked, onChange, props = {}) {
  const box = el('input', { type: 'checkbox', id, checked, ...props, on: { change: () => onChange(box.checked) } });
  return el('label', { class: 'check', for: id }, box, el('span', { text: words }));
}

/** A choice of one among several: options are [value, words]. */
export function choice(id, words, options, value, onChange) {
  const list = el(
    'select',
    { id, on: { change: () => onChange(list.value) } },
    options.map(([key, name]) => el('option', { value: key, text: name })),
  );
  list.value = value;
  return el('label', { class: 'row', for: id }, el('span', { text: words }), list);
}

/** A slider with its reading beside it; `read` turns the value into words. */
export function slider(id, words, { low, high, step, value, read, onInput }) {
  const reading = el('output', { for: id, text: read(value) });
  const range = el('input', { type: 'range', id, min: low, max: high, step, value });
  range.value = value;
  range.setAttribute('aria-valuetext', read(value));
  range.addEventListener('input', () => {
    reading.textContent = read(Number(range.value));
    range.setAttribute('aria-valuetext', reading.textContent);
    onInput(Number(range.value));
  });
  return el('div', { class: 'slider' }, el('label', { for: id, text: words }), reading, range);
}

/** Replace what an element holds; focus, folds and the place scrolled to stay as they were. */
export function refill(node, children) {
  const active = node.contains(document.activeElement) ? document.activeElement : null;
  const top = node.scrollTop;
  const folds = [...node.querySelectorAll('details[id]')].map((fold) => [fold.id, fold.open]);
  node.replaceChildren(...children.flat(3).filter(Boolean));
  for (const [id, open] of folds) {
    const fold = node.querySelector(`#${id}`);
    if (fold) fold.open = open;
  }
  node.scrollTop = top;
  if (active?.id) takeUp(byId(active.id), active);
}

/** Put the focus back, and what was being typed. */
function takeUp(field, before) {
  field?.focus({ preventScroll: true });
  if (!field || !before.dataset.typed || before.value === field.value) return;
  field.value = before.value;
  field.setSelectionRange(before.selectionStart, before.selectionEnd);
  field.dataset.typed = 'yes';
  field.addEventListener('blur', () => field.dataset.typed && field.dispatchEvent(new Event('change', { bubbles: true })), { once: true });
}

/** Remember which text field is being typed into, until its change is sent. */
export function watchTyping() {
  document.addEventListener('input', ({ target }) => {
    if (target.type === 'text') target.dataset.typed = 'yes';
  });
  document.addEventListener('change', ({ target }) => delete target.dataset.typed, { capture: true });
}
