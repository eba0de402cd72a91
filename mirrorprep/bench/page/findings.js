/** Findings as a list; a click takes the view to the place. */

import { button, el, sign } from './dom.js';
import { lookAt } from './stage.js';
import { drawMarks } from './overlay.js';
import { CAUTION, NOTE, STOP } from './palette.js';

const COLORS = { note: NOTE, caution: CAUTION, stop: STOP };
const ORDER = ['stop', 'caution', 'note'];

export function findingList(bench, findings) {
  if (!findings?.length) return null;
  const sorted = [...findings].sort((a, b) => ORDER.indexOf(a.severity) - ORDER.indexOf(b.severity));
  return el(
    'section',
    { class: 'findings', 'aria-label': 'Findings' },
    el('h3', { text: findings.length === 1 ? 'One finding' : `${findings.length} findings` }),
    el('ul', {}, sorted.map((finding) => findingItem(bench, finding))),
  );
}

function findingItem(bench, finding) {
  const places = finding.where ?? [];
  const go = places.length && bench.stage
    ? button(places.length > 1 ? `Show the places (${places.length})` : 'Show the place', () => goTo(bench, finding), { class: 'small' })
    : null;
  return el(
    'li',
    { class: finding.severity },
    sign(finding.severity),
    el(
      'div',
      {},
      el('p', {}, el('b', { text: `${finding.severity}: ` }), finding.message),
      el('p', { class: 'remedy' }, finding.remedy ? `${finding.remedy} ` : '', el('code', { text: finding.code })),
      finding.waived ? el('p', { class: 'remedy', text: 'Accepted by a responsible person; the traveller says so.' }) : null,
      el('p', { class: 'doings' }, go, waiver(bench, finding)),
    ),
  );
}

/** A finding that stops the job can be accepted by name; the acceptance stands in the traveller. */
function waiver(bench, finding) {
  if (finding.severity !== 'stop') return null;
  const codes = bench.store.value('waive.codes') ?? [];
  if (codes.includes(finding.code)) {
    return button('Take the acceptance back', () => bench.change({ 'waive.codes': codes.filter((code) => code !== finding.code) }), { class: 'small' });
  }
  return button('Accept it, with responsibility', () => bench.change({ 'waive.codes': [...codes, finding.code] }), { class: 'small' });
}

let turn = { code: '', at: -1 };

/** Go to the finding's places one after the other. */
export function goTo(bench, finding) {
  const name = finding.code + finding.message;
  turn = { code: name, at: turn.code === name ? (turn.at + 1) % finding.where.length : 0 };
  drawMarks(bench.stage, 'finding', finding.where.slice(0, 200), { color: COLORS[finding.severity] });
  lookAt(bench.stage, finding.where[turn.at]);
}
