/** Seat: cutting the part out and laying it on the recipient's skin. */

import { putJson } from './api.js';
import { button, el } from './dom.js';
import { entry } from './entries.js';
import { figure, number } from './figures.js';
import { drawChain, drawMarks } from './overlay.js';
import { startPicking, stopPicking } from './picking.js';
import { fileField } from './upload.js';
import { DONOR_COLOR } from './mark_colors.js';

export const seat = {
  group: 'seat',
  lead: 'The part is cut from the donor side, mirrored, settled on the ring of skin around it and trimmed against that skin. A mirrored ear is a starting shape, not a copy of the lost one.',
  bodies: (bench) => {
    const own = bench.store.step('seat').bodies?.map((body) => body.name) ?? [];
    if (own.length && !bench.memory.seat.picking) return own.map((name) => ({ step: 'seat', name, solid: name !== 'skin' }));
    return [{ step: 'plane', name: 'scan' }, { step: 'condition', name: 'after' }].slice(0, 1);
  },
  view: (bench, header) => seatView(bench, header),
  controls: (bench) => {
    const on = entry(bench, 'seating.seat', { words: 'Seat the part on the recipient side', hint: null });
    return bench.store.value('seating.seat') ? [on, region(bench), fitTools(bench), margin(bench), retention(bench), twoScans(bench)] : [on];
  },
  figures: (bench, figures) => {
    const { moved = {}, deviation = {} } = figures;
    const accuracy = bench.store.value('scan.accuracy_mm');
    return [
      figure('Settled by', moved.shift_mm, 'mm', { digits: 2 }),
      figure('turned by', moved.turn_deg, '°', { digits: 2 }),
      figure('Fit of the ring of skin', moved.ring_rms_mm, 'mm', { digits: 2, how: 'root mean square' }),
      figure('Differs from the healthy side by', deviation.healthy?.rms_mm, 'mm', { digits: 2, how: `root mean square${accuracy ? `; the scan is good for ${accuracy} mm` : ''}` }),
      figure('Length of the rim', figures.rim_length_mm, 'mm'),
      figure('Area of the back', figures.back?.area_mm2, 'mm²'),
      figure('Undercut against the skin', figures.undercut?.volume_mm3, 'mm³', { digits: 2 }),
    ];
  },
  follow: (bench) => drawPicked(bench),
  leave: (bench) => {
    bench.memory.seat.picking = null;
    stopPicking();
  },
};

/** The side on which the part sits. */
export function seatView(bench, header) {
  const away = bench.store.step('seat').figures?.back?.direction;
  return away ? { up: header.up ?? [0, 0, 1], toward: away, turn: 0.25 } : null;
}

const WAYS = [['auto', 'what stands out, with no counterpart'], ['loop', 'inside a loop picked on the scan'], ['plane', 'in front of a plane'], ['box', 'in a box'], ['sphere', 'in a sphere']];
const MORE = {
  plane: ['plane_normal', 'plane_offset_mm'], box: ['box_low', 'box_high'], sphere: ['sphere_center', 'sphere_radius_mm'],
  auto: ['grow_mm'], loop: [],
};

/** What is cut out, and picking a loop or a place beside it. */
function region(bench) {
  const way = bench.store.value('seating.select');
  return el('section', { class: 'group' },
    entry(bench, 'seating.select', { words: 'What is cut out', hint: null, options: WAYS, tall: true }),
    MORE[way]?.map((name) => entry(bench, `seating.${name}`)),
    bench.stage ? pickTools(bench) : null);
}

function pickTools(bench) {
  const memory = bench.memory.seat;
  const loop = (memory.loop ??= []);
  const near = bench.store.value('seating.near');
  const pick = (kind, words) => button(words, () => toggle(bench, kind), { id: `pick-${kind}`, class: 'half', 'aria-pressed': String(memory.picking === kind) });
  const said = { near: 'Click the scan beside the wanted piece.', loop: `Click around the part, on the skin. ${loop.length} points so far; the loop closes by itself.` };
  return el('div', {},
    el('div', { class: 'halves' }, pick('near', 'pick the piece'), pick('loop', 'draw a loop')),
    el('p', { class: 'status', role: 'status', id: 'seat-status', text: said[memory.picking] ?? (near ? `The piece beside ${near.map((x) => number(x, { digits: 3 })).join(', ')} is taken.` : 'The largest piece is taken.') }),
    el('p', { class: 'doings' },
      memory.picking === 'loop' && loop.length ? button('Undo', () => changeLoop(bench, loop.slice(0, -1)), { id: 'undo-loop', class: 'small' }) : null,
      loop.length >= 3 ? button('Use this loop', () => sendLoop(bench, loop), { id: 'use-loop', class: 'firm' }) : null,
      bench.store.value('seating.loop') ? button('Without the loop', () => sendLoop(bench, []), { id: 'no-loop' }) : null,
      near ? button('Take the largest piece', () => bench.change({ 'seating.near': null }), { id: 'no-near' }) : null));
}

function toggle(bench, kind) {
  const memory = bench.memory.seat;
  memory.picking = memory.picking === kind ? null : kind;
  stopPicking();
  if (memory.picking === 'near') startPicking(bench, (mm) => takeNear(bench, mm));
  if (memory.picking === 'loop') startPicking(bench, (mm) => changeLoop(bench, [...memory.loop, mm]));
  bench.render({ whole: true });
}

function takeNear(bench, mm) {
  bench.memory.seat.picking = null;
  stopPicking();
  bench.change({ 'seating.near': mm.map((value) => Number(value.toFixed(3))) });
}

function changeLoop(bench, loop) {
  bench.memory.seat.loop = loop;
  bench.render({ whole: true });
}

async function sendLoop(bench, points) {
  bench.memory.seat.picking = null;
  stopPicking();
  const closed = points.length ? [...points, points[0]] : [];
  if (!points.length) bench.memory.seat.loop = [];
  await bench.attempt(async () => bench.store.take(await putJson('api/points/loop', { points: closed })));
  bench.render({ whole: true });
}

function drawPicked(bench) {
  const { loop = [] } = bench.memory.seat;
  const near = bench.store.value('seating.near');
  drawChain(bench.stage, 'loop', loop, { closed: loop.length > 2, color: DONOR_COLOR });
  drawMarks(bench.stage, 'near', near ? [near] : [], { color: DONOR_COLOR });
}

const group = (id, words, bench, names) =>
  el('details', { id }, el('summary', { text: words }), names.map((name) => entry(bench, `seating.${name}`)));

const fitTools = (bench) => group('seat-fit', 'Settling', bench, ['ring_mm', 'most_shift_mm', 'most_turn_deg', 'direction']);
const margin = (bench) => group('seat-margin', 'Margin and back', bench, ['edge_mm', 'edge_width_mm', 'floor_mm', 'gap_mm', 'close_hollows']);
const retention = (bench) => group('seat-retention', 'Features on the back', bench, ['retention', 'retention_count', 'retention_diameter_mm', 'retention_length_mm']);

function twoScans(bench) {
  return el('details', { id: 'seat-two' }, el('summary', { text: 'The recipient side is another scan' }),
    fileField(bench, 'recipient', 'Drop the scan of the recipient side here, or'),
    ['recipient', 'recipient_units', 'mirrored', 'donor_landmarks', 'recipient_landmarks'].map((name) => entry(bench, `seating.${name}`)));
}
