/** Controls for the entries of the job file, made from the schema, so that the page never lags behind it. */

import { button, el } from './dom.js';

const idOf = (name) => `entry-${name.replace('.', '-')}`;

/**
 * A labelled control for one entry.
 * @param {Object} bench
 * @param {string} name as in the job file: table.entry
 * @param {{words?: string, hint?: string|null, options?: Array, tall?: boolean, prefix?: string}} [look]
 */
export function entry(bench, name, look = {}) {
  const schema = bench.store.entry(name);
  if (!schema) return null;
  const id = (look.prefix ?? '') + idOf(name);
  const words = look.words ?? wordsOf(name.split('.')[1]);
  const hint = look.hint === undefined ? schema.text : look.hint;
  const control = controlOf(bench, name, schema, { id, options: look.options });
  const flag = schema.kind === 'flag' && control.type === 'checkbox';
  if (hint) control.setAttribute('aria-describedby', `${id}-hint`);
  const label = el('label', { for: id, text: words });
  const parts = flag ? [control, label] : [label, control];
  return el('div', { class: `entry${flag ? ' flag' : ''}${look.tall ? ' tall' : ''}` }, parts, hint ? el('p', { class: 'hint', id: `${id}-hint`, text: hint }) : null);
}

const UNITS = { mm: 'mm', deg: '°', s: 's' };

function wordsOf(key) {
  const [, stem, unit] = key.match(/^(.*?)(?:_(mm|deg|g_cm3|pa_s|s))?$/);
  const plain = stem.replaceAll('_', ' ');
  const shown = { g_cm3: 'g/cm³', pa_s: 'Pa·s', ...UNITS }[unit];
  return plain.charAt(0).toUpperCase() + plain.slice(1) + (shown ? `, ${shown}` : '');
}

function controlOf(bench, name, schema, { id, options }) {
  const value = bench.store.value(name);
  const send = (given) => bench.change({ [name]: given });
  const choices = options ?? (schema.choices ?? []).map((item) => [item, item === '' ? 'not stated' : item]);
  if (choices.length) return choiceControl(id, choices, value, send);
  if (schema.kind === 'flag') return flagControl(id, schema, value, send);
  if (schema.kind === 'number' || schema.kind === 'whole') return numberControl(id, schema, value, send);
  if (schema.kind === 'triple') return tripleControl(id, value, send);
  if (schema.kind === 'texts') return textControl(id, (value ?? []).join(', '), (text) => send(splitTexts(text)), schema);
  return textControl(id, value ?? '', (text) => send(text), schema);
}

const splitTexts = (text) => text.split(',').map((item) => item.trim()).filter(Boolean);

function choiceControl(id, choices, value, send) {
  const list = el('select', { id, on: { change: () => send(list.value) } }, choices.map(([key, text]) => el('option', { value: key, text })));
  if (!choices.some(([key]) => key === (value ?? ''))) list.prepend(el('option', { value: '', text: 'choose …' }));
  list.value = value ?? '';
  return list;
}

function flagControl(id, schema, value, send) {
  if (schema.optional || value === null) {
    const list = choiceControl(id, [['', 'not stated'], ['true', 'yes'], ['false', 'no']], value === null ? '' : String(value), () =>
      send(list.value === '' ? null : list.value === 'true'));
    return list;
  }
  const box = el('input', { id, type: 'checkbox', checked: value, on: { change: () => send(box.checked) } });
  return box;
}

function numberControl(id, schema, value, send) {
  const box = el('input', {
    id, type: 'text', inputmode: 'decimal', class: 'number', value: value ?? '', placeholder: schema.optional ? 'not stated' : '',
    on: { change: () => send(readNumber(box.value, schema)) },
  });
  return box;
}

/** A number, or the text as it stands: the job file then says in its own words what is wrong with it. */
export function readNumber(text, schema = {}) {
  const clean = text.trim().replace(',', '.').replace('−', '-');
  if (clean === '') return schema.optional || schema.default === null ? null : (schema.default ?? null);
  const value = Number(clean);
  return Number.isFinite(value) ? value : text;
}

function tripleControl(id, value, send) {
  const boxes = [0, 1, 2].map((axis) =>
    el('input', {
      id: axis ? `${id}-${'xyz'[axis]}` : id, type: 'text', inputmode: 'decimal', class: 'number', 'aria-label': 'xyz'[axis],
      value: value ? String(Number(value[axis].toFixed(5))) : '', placeholder: 'xyz'[axis],
      on: { change: () => sendTriple(boxes, send) },
    }));
  const drop = value === null ? null : button('Clear', () => send(null), { class: 'small' });
  return el('span', { class: 'triple' }, boxes, drop);
}

function sendTriple(boxes, send) {
  const texts = boxes.map((box) => box.value.trim());
  if (texts.every((text) => text === '')) send(null);
  else if (texts.every((text) => text !== '')) send(texts.map((text) => readNumber(text)));
}

function textControl(id, value, send, schema) {
  const box = el('input', { id, type: 'text', value, spellcheck: 'false', placeholder: schema.optional ? 'not stated' : '', on: { change: () => send(box.value.trim()) } });
  return box;
}

/** Every table of the job file as a form. */
export function everySetting(bench) {
  return Object.entries(bench.store.schema.tables).map(([table, { text, entries }]) =>
    el(
      'details',
      { class: 'table', id: `table-${table}` },
      el('summary', {}, el('b', { text: table }), ` ${text ?? ''}`),
      Object.keys(entries).map((key) => entry(bench, `${table}.${key}`, { prefix: 'all-', words: key })),
    ),
  );
}
