/** Picking landmarks on the scan: points of the midline, and left-right pairs. */

import { putJson } from './api.js';
import { button, el } from './dom.js';
import { figure } from './figures.js';
import { drawMarks } from './overlay.js';
import { startPicking, stopPicking } from './picking.js';
import { DONOR_COLOR, MIRRORED_COLOR, PLANE_COLOR } from './mark_colors.js';

export { stopPicking };

const fresh = () => ({ midline: [], pairs: [], half: null });

const held = (bench) => (bench.memory.plane.landmarks ??= fresh());

/** The tools: what is picked so far, what is picked next, undo. */
export function landmarkTools(bench) {
  if (!bench.stage) return null;
  const marks = held(bench);
  const mode = bench.memory.plane.picking;
  const pick = (kind, words) => button(words, () => toggle(bench, kind), { id: `pick-${kind}`, class: 'half', 'aria-pressed': String(mode === kind) });
  const used = bench.store.value('plane.landmarks');
  return el('details', { id: 'landmarks', open: Boolean(mode) || count(marks) > 0 || Boolean(used) },
    el('summary', { text: 'Pick landmarks' }),
    el('p', { class: 'hint', text: 'Points on the midline (as between the eyes, tip of the nose, chin) and pairs left and right (as the corners of the eyes). Three or more guide the search.' }),
    el('div', { class: 'halves' }, pick('midline', 'midline point'), pick('pairs', 'pair')),
    el('p', { class: 'status', role: 'status', id: 'pick-status', text: said(bench, marks, mode) }),
    markList(bench, marks),
    el('p', { class: 'doings' },
      count(marks) ? button('Undo', () => undo(bench), { id: 'undo-mark', class: 'small' }) : null,
      count(marks) ? button('Use these landmarks', () => use(bench, marks), { id: 'use-marks', class: 'firm' }) : null,
      used ? button('Search without landmarks', () => use(bench, fresh()), { id: 'no-marks' }) : null),
    used ? el('p', { class: 'hint', text: `The search is guided by ${used}.` }) : null);
}

const count = (marks) => marks.midline.length + marks.pairs.length + (marks.half ? 1 : 0);

function said(bench, marks, mode) {
  if (mode === 'midline') return 'Click the scan where the midline runs.';
  if (mode === 'pairs') return marks.half ? 'Now the same place on the other side.' : 'Click a place that exists on both sides.';
  return count(marks) ? `${marks.midline.length} on the midline, ${marks.pairs.length} pairs.` : 'Nothing picked yet.';
}

function markList(bench, marks) {
  const row = (words, remove) => el('li', {}, words, button('Remove', () => {
    remove();
    redraw(bench);
  }, { class: 'small' }));
  const place = (mm) => mm.map((value) => figure('', value, '', { digits: 4 }).amount).join('  ');
  return el('ol', { class: 'marks' },
    marks.midline.map((mm, i) => row(`midline  ${place(mm)}`, () => marks.midline.splice(i, 1))),
    marks.pairs.map((pair, i) => row(`pair  ${place(pair[0])} | ${place(pair[1])}`, () => marks.pairs.splice(i, 1))));
}

function toggle(bench, kind) {
  const memory = bench.memory.plane;
  memory.picking = memory.picking === kind ? null : kind;
  stopPicking(bench);
  if (memory.picking) startPicking(bench, (mm) => add(bench, kind, mm));
  redraw(bench);
}

function add(bench, kind, mm) {
  const marks = held(bench);
  marks.order ??= [];
  if (kind === 'midline') marks.midline.push(mm);
  else if (marks.half) {
    marks.pairs.push([marks.half, mm]);
    marks.half = null;
  } else marks.half = mm;
  marks.order.push(kind);
  redraw(bench);
}

function undo(bench) {
  const marks = held(bench);
  const kind = marks.order?.pop() ?? (marks.pairs.length ? 'pairs' : 'midline');
  if (kind === 'midline') marks.midline.pop();
  else if (marks.half) marks.half = null;
  else marks.half = marks.pairs.pop()?.[0] ?? null;
  redraw(bench);
}

function redraw(bench) {
  showLandmarks(bench);
  bench.render({ whole: true });
}

export function showLandmarks(bench) {
  const marks = held(bench);
  drawMarks(bench.stage, 'midline', marks.midline, { color: PLANE_COLOR });
  drawMarks(bench.stage, 'left', [...marks.pairs.map((pair) => pair[0]), ...(marks.half ? [marks.half] : [])], { color: DONOR_COLOR });
  drawMarks(bench.stage, 'right', marks.pairs.map((pair) => pair[1]), { color: MIRRORED_COLOR });
}

async function use(bench, marks) {
  bench.memory.plane.picking = null;
  stopPicking(bench);
  const none = marks.midline.length + marks.pairs.length === 0;
  if (none) bench.memory.plane.landmarks = fresh();
  await bench.attempt(async () => bench.store.take(await putJson('api/points/landmarks', { midline: marks.midline, pairs: marks.pairs })));
  bench.render({ whole: true });
}
