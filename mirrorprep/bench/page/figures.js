/** Numbers in words: no more digits than the uncertainty supports (one digit of it, JCGM 100:2008 7.2.6). */

import { el } from './dom.js';

const THIN = '\u202f';
const MINUS = '−';

const firstDigit = (sd) => 10 ** Math.floor(Math.log10(sd) + 1e-12);

function grouped(text) {
  const [whole, part] = text.split('.');
  const parted = whole.length > 4 ? whole.replace(/\B(?=(\d{3})+$)/g, THIN) : whole;
  return part === undefined ? parted : `${parted}.${part}`;
}

function inSteps(value, step) {
  const decimals = Math.max(0, -Math.round(Math.log10(step)));
  return (Math.round(value / step) * step).toFixed(decimals);
}

function plain(value, digits) {
  if (value === 0) return '0';
  const size = Math.abs(value);
  if (size < 1e-4 || size >= 1e9) return value.toExponential(1).replace('e', ' × 10^').replace('+', '');
  if (Number.isInteger(value)) return String(value);
  const decimals = Math.max(0, digits - 1 - Math.floor(Math.log10(size)));
  return value.toFixed(Math.min(decimals, 6)).replace(/(\.\d*?)0+$/, '$1').replace(/\.$/, '');
}

/** A number in words; `sd` decides how many digits it may show. */
export function number(value, { sd = null, digits = 3 } = {}) {
  if (value === null || value === undefined) return 'unknown';
  if (typeof value === 'boolean') return value ? 'yes' : 'no';
  if (typeof value !== 'number') return String(value);
  if (!Number.isFinite(value)) return 'unknown';
  const text = sd > 0 ? inSteps(value, firstDigit(sd)) : plain(value, digits);
  const magnitude = text.replace('-', '');
  return (text.startsWith('-') && Number(magnitude) !== 0 ? MINUS : '') + grouped(magnitude);
}

const spread = (sd) => grouped(inSteps(Math.ceil(sd / firstDigit(sd) - 1e-9) * firstDigit(sd), firstDigit(sd)));

export function duration(seconds) {
  if (seconds < 90) return `${number(seconds, { digits: 2 })} s`;
  if (seconds < 5400) return `${number(seconds / 60, { digits: 2 })} min`;
  return `${number(seconds / 3600, { digits: 2 })} h`;
}

export const vector = (values, digits = 3) =>
  values.map((value) => (value < 0 ? MINUS : '') + Math.abs(value).toFixed(digits)).join('  ');

/**
 * A row of figures.
 * @param {string} label
 * @param {*} value number, text, yes or no; undefined leaves the row out
 * @param {string} [unit]
 * @param {{sd?: number, low?: number, high?: number, how?: string, main?: boolean}} [more]
 */
export function figure(label, value, unit = '', more = {}) {
  if (value === undefined) return null;
  const amount = number(value, more);
  const space = unit && unit !== '°' ? '\u00a0' : '';
  return { label, amount: value === null ? 'unknown' : `${amount}${space}${unit}`, about: about(unit, more), how: more.how, main: more.main };
}

function about(unit, { sd, low, high }) {
  if (sd > 0 && Number.isFinite(sd)) return `± ${spread(sd)}${unit ? `\u00a0${unit}` : ''} (1 s.d.)`;
  if (low !== undefined && high !== undefined && low !== high) {
    return `${number(low, { digits: 2 })} to ${number(high, { digits: 2 })}${unit ? `\u00a0${unit}` : ''}`;
  }
  return '';
}

/** A range of low, typical and high as a row. */
export const ranged = (label, range, unit, more = {}) =>
  range ? figure(label, range.typical, unit, { low: range.low, high: range.high, digits: 2, ...more }) : null;

export function figureTable(rows) {
  const kept = rows.filter(Boolean);
  if (!kept.length) return null;
  return el('table', { class: 'figures' }, el('tbody', {}, kept.map(figureRow)));
}

function figureRow(row) {
  const kind = row.main ? 'main' : '';
  return el(
    'tr',
    { class: kind },
    el('th', { scope: 'row' }, row.label, row.how ? el('small', { text: row.how }) : null),
    el('td', {}, el('b', { text: row.amount }), row.about ? el('small', { text: row.about }) : null),
  );
}

/** Every plain figure of a record, so that nothing the record holds is out of reach. */
export function allFigures(figures) {
  const rows = [];
  walk(figures, '', rows);
  return el(
    'details',
    { class: 'every' },
    el('summary', { text: `All figures of the record (${rows.length})` }),
    el('table', { class: 'figures fine' }, el('tbody', {}, rows.map(([name, words]) =>
      el('tr', {}, el('th', { scope: 'row' }, el('code', { text: name })), el('td', { text: words }))))),
  );
}

const isVector = (value) => Array.isArray(value) && value.length <= 4 && value.every((item) => typeof item === 'number');

function walk(value, path, rows) {
  if (path.split('.').pop() === 'findings') return;
  if (isVector(value) && value.length) rows.push([path, value.map((item) => number(item, { digits: 4 })).join(', ')]);
  else if (value !== null && typeof value === 'object') {
    for (const [key, item] of Object.entries(value)) walk(item, path ? `${path}.${key}` : key, rows);
  } else rows.push([path, number(value, { digits: 5 })]);
}
