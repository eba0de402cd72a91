/** Condition: is the scan fit to work on, and what mending changed. */

import { button, check, el } from './dom.js';
import { figure } from './figures.js';

export const condition = {
  group: 'head',
  lead: 'Faults of the scan, each with its place. Mending closes what must be closed and says what it changed.',
  bodies: (bench) => {
    const before = bench.memory.condition?.before === true;
    const names = bench.store.step('condition').bodies?.map((body) => body.name) ?? [];
    if (!names.length) return [{ step: 'scan', name: 'scan' }];
    const name = before || !names.includes('after') ? 'before' : 'after';
    return [{ step: 'condition', name: names.includes(name) ? name : names[0] }];
  },
  controls: (bench) => [
    check('mend', 'Mend what must be a solid', bench.store.value('part.mend'), (on) => bench.change({ 'part.mend': on })),
    twoStates(bench),
  ],
  figures: (bench, figures) => {
    const before = figures.scan ?? {};
    const after = figures.mended;
    return [
      figure('Closed solid', before.solid, '', { how: after ? 'before mending' : undefined, main: true }),
      figure('Triangles', before.triangles),
      figure('Open edges', before.open_edges),
      figure('Edges shared by more than two', before.non_manifold_edges),
      figure('Crossings with itself', before.self_intersections),
      figure('Separate bodies', before.bodies),
      figure('Size', before.size_mm?.map((side) => side.toFixed(1)).join(' × '), 'mm'),
      figure('Spacing of the points', before.spacing_mm ?? undefined, 'mm', { digits: 2 }),
      figure('Noise of the surface', before.noise_mm ?? undefined, 'mm', { digits: 2, how: 'estimated from the scan itself' }),
      ...mendedRows(after),
    ];
  },
};

function twoStates(bench) {
  const names = bench.store.step('condition').bodies?.map((body) => body.name) ?? [];
  if (!names.includes('before') || !names.includes('after')) return null;
  const before = bench.memory.condition.before === true;
  const turn = (value) => () => {
    bench.memory.condition.before = value;
    bench.memory.condition.map = undefined;
    bench.render({ whole: true });
  };
  const face = (words, value) => button(words, turn(value), { id: `state-${words}`, 'aria-pressed': String(before === value), class: 'half' });
  return el('div', { class: 'halves', role: 'group', 'aria-label': 'View before or after mending' }, face('before', true), face('after', false));
}

function mendedRows(mended) {
  if (!mended) return [];
  return [
    figure('Solid after mending', mended.solid ?? true, '', { main: true }),
    figure('Largest move of a point', mended.largest_move_mm ?? mended.max_moved_mm, 'mm'),
    figure('Volume after mending', mended.volume_mm3, 'mm³'),
  ];
}
