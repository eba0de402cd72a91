/** Mould: the two halves, opened and cut through, with the proof that they hold. */

import { el, sign, slider } from './dom.js';
import { entry } from './entries.js';
import { figure, number } from './figures.js';
import { extent, open } from './stage.js';
import { applyCut } from './viewtools.js';

/** How far the mould stands open at first, so that the cavity can be seen. */
const OPEN_AT_FIRST = 40;

export const mould = {
  group: 'mould',
  room: 1.9,
  lead: 'Two halves around the part, with register keys, sprue, vents and bolts; each is proved before it is handed over.',
  bodies: () => [
    { step: 'mould', name: 'half_a', opens: 1 },
    { step: 'mould', name: 'half_b', opens: -1 },
    { step: 'mould', name: 'casting' },
    { step: 'mould', name: 'channels', behind: -0.1 },
  ],
  view: (bench) => viewOf(bench),
  status: (bench, figures) => (figures?.proof ? [proofLine(bench, figures)] : []),
  controls: (bench, figures) => [
    figures && bench.stage ? openSlider(bench) : null,
    el('details', { id: figures ? 'mould-settings' : 'mould-choices', open: !figures }, el('summary', { text: 'Choices for the mould' }),
      ['body', 'wall_mm', 'key_count', 'bolts', 'bolt_count', 'sprue_diameter_mm', 'vent_diameter_mm', 'marks'].map((name) => entry(bench, `mould.${name}`)),
      entry(bench, 'print.process', { words: 'Print process', hint: null, options: [['fff', 'fused filament'], ['sla', 'vat, cured by light'], ['sls', 'powder bed']] }),
      entry(bench, 'print.bed_mm', { words: 'Room of the printer, mm', hint: null })),
  ],
  figures: (bench, figures) => [
    figure('Cavity', figures.cavity_volume_mm3, 'mm³', { digits: 4 }),
    figure('Sprue, vents and cup', figures.channels_volume_mm3, 'mm³', { digits: 3 }),
    figure('Trapped volume', figures.trapped_mm3, 'mm³', { digits: 2 }),
    figure('Deepest undercut', figures.max_undercut_mm, 'mm', { digits: 2, how: figures.undercut ? `95 % within ${number(figures.undercut.p95_mm, { digits: 2 })} mm` : undefined }),
    figure('Least wall', figures.least_wall_mm, 'mm', { digits: 2 }),
    figure('Screw length', figures.screw_length_mm ?? undefined, 'mm'),
    ...(figures.halves ?? []).map((half) => figure(half.name === 'half_a' ? 'Upper half' : 'Lower half', half.volume_mm3, 'mm³', { digits: 3, how: half.printing?.fits_bed === false ? 'does not fit the bed' : 'fits the bed' })),
  ],
  after: (bench, figures) => (figures?.proof ? [proofTable(figures)] : []),
  follow: (bench) => apply(bench),
};

export function viewOf(bench) {
  const figures = bench.store.step('mould').figures;
  if (!figures?.pull_direction) return null;
  return { up: figures.pull_direction, toward: figures.pour_up ?? [0, -1, 0], turn: -1.1, over: 0.75 };
}

function proofLine(bench, { proof }) {
  const stopped = bench.store.step('mould').state === 'stopped';
  const kind = proof.holds && !stopped ? 'done' : 'stop';
  const passed = stopped ? 'The proof passed, but a finding stops this mould.' : 'The mould holds: every check of the proof passed.';
  const words = proof.holds ? passed : 'The mould does not hold; see the findings.';
  return el('p', { class: `verdict ${kind}`, id: 'proof' }, sign(kind), words);
}

function proofTable({ proof, identity_error: identity, outer_volume_mm3: outer }) {
  const rows = [
    ['Both halves are closed solids in one piece', proof.halves?.every((half) => half.solid && half.pieces === 1)],
    ['The halves do not overlap', proof.halves_overlap_mm3 !== undefined ? `${number(proof.halves_overlap_mm3, { digits: 2 })} mm³` : undefined],
    ['Halves, cavity, channels and hollows fill the body', identity === undefined ? undefined : `to ${number(identity * 1, { digits: 1 })} of ${number(Math.round(outer))} mm³`],
    ['Overlap with the casting while opening', `${number(proof.release_interference_mm3, { digits: 2 })} mm³`],
  ].filter((row) => row[1] !== undefined);
  return el('details', { id: 'proof-table', open: true }, el('summary', { text: 'The proof' }),
    el('table', { class: 'figures' }, el('tbody', {}, rows.map(([claim, value]) =>
      el('tr', {}, el('th', { scope: 'row', text: claim }), el('td', {}, el('b', { text: value === true ? 'yes' : value === false ? 'no' : value })))))));
}

function openSlider(bench) {
  const memory = bench.memory.mould;
  return slider('open-mould', 'Open the mould', {
    low: 0, high: 100, step: 1, value: memory.open ?? OPEN_AT_FIRST,
    read: (share) => (share > 0 ? `each half ${number(wayOf(bench, share), { digits: 2 })} mm` : 'closed'),
    onInput: (share) => {
      memory.open = share;
      apply(bench);
    },
  });
}

/** Fully open, each half has gone its own height. */
function wayOf(bench, share) {
  const box = bench.stage.shown.size ? extent(bench.stage) : null;
  if (!box || box.isEmpty()) return 0;
  const pull = bench.store.step('mould').figures.pull_direction;
  const size = [box.max.x - box.min.x, box.max.y - box.min.y, box.max.z - box.min.z];
  return (share / 100) * 0.9 * pull.reduce((sum, value, i) => sum + Math.abs(value) * size[i], 0);
}

function apply(bench) {
  const figures = bench.store.step('mould').figures;
  const memory = bench.memory.mould;
  if (!figures?.pull_direction || !bench.stage.shown.size) return;
  open(bench.stage, figures.pull_direction, wayOf(bench, memory.open ?? OPEN_AT_FIRST));
  applyCut(bench, memory.cut);
}
