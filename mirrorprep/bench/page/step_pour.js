/** Pour: how much to mix, how the level rises, where air stays, and what to be careful of. */

import { getJson } from './api.js';
import { byId, el, sign, slider } from './dom.js';
import { entry } from './entries.js';
import { duration, figure, number, ranged } from './figures.js';
import { drawMarks, layer } from './overlay.js';
import { NOTE, STOP } from './palette.js';
import { materialOptions } from './materials.js';

export const pour = {
  group: 'pour',
  lead: 'How much to mix, how long there is, and how the level rises with the sprue up.',
  cut: false,
  bodies: () => [
    { step: 'mould', name: 'half_b' },
    { step: 'mould', name: 'half_a', visible: false },
    { step: 'mould', name: 'casting' },
  ],
  view: (bench) => {
    const { pull_direction: pull, pour_up: up } = bench.store.step('mould').figures ?? {};
    return pull ? { up, toward: pull, turn: 0.12 } : null;
  },
  controls: (bench, figures) => [
    entry(bench, 'material.name', { words: 'Material', hint: null, options: materialOptions(bench), tall: true }),
    el('details', { id: 'data-sheet' }, el('summary', { text: 'Figures from your data sheet' }),
      ['density_g_cm3', 'shrinkage', 'viscosity_pa_s', 'pot_life_s'].map((name) => entry(bench, `material.${name}`))),
    figures && bench.stage ? el('div', { id: 'level-box' }, levelSlider(bench)) : null,
  ],
  figures: (bench, figures) => [
    figure('To mix', figures.mass_g, 'g', { main: true, ...range(figures.quantities?.mass_range_g) }),
    ...Object.entries(figures.parts_by_mass ?? {}).map(([name, grams]) =>
      figure(`of ${name}`, grams, 'g', range(figures.quantities?.parts_by_mass_range?.[name]))),
    ranged('Time to pour', figures.fill_time_range_s, 's'),
    ranged('Time before it thickens', figures.pot_life_range_s, 's', { how: `typically ${duration(figures.pot_life_s)}` }),
    ranged('Lifts the upper half with', figures.holding?.lifting_force_range_n, 'N'),
    figure('Clamp it with', figures.holding?.clamp_load_n, 'N', { digits: 2, how: 'in all, with the factor of the plan' }),
    figure('Air that stays', figures.filling?.trapped_mm3, 'mm³', { digits: 2 }),
    ranged('Shrinkage', percent(figures.shrinkage?.linear), '%'),
  ],
  after: (bench, figures) => (figures ? [cautions(figures), demoulding(figures)] : []),
  follow: (bench, { fresh = false } = {}) => follow(bench, fresh),
  leave: (bench) => bench.stage?.cutter.clear(),
};

const range = (values) => (values ? { low: values.low, high: values.high } : {});
const percent = (values) => (values ? { low: values.low * 100, typical: values.typical * 100, high: values.high * 100 } : null);

function cautions(figures) {
  return el('section', { class: 'group', id: 'pour-cautions' }, el('h3', { text: 'Take care' }),
    el('ul', { class: 'cautions' }, (figures.cautions ?? []).map((words) => el('li', { class: 'caution' }, sign('caution'), el('p', { text: words })))));
}

function demoulding(figures) {
  const steps = figures.demoulding ?? [];
  if (!steps.length) return null;
  return el('details', { id: 'demoulding' }, el('summary', { text: `Opening the mould, in ${steps.length} moves` }), el('ol', {}, steps.map((step) => el('li', { text: step.action }))));
}

function levelSlider(bench) {
  const level = bench.memory.pour.level;
  if (!level) return el('p', { class: 'hint', text: 'Reading how the level rises …' });
  return [
    slider('level', 'Level of the pour', {
      low: 0, high: 100, step: 1, value: bench.memory.pour.share ?? 100,
      read: (share) => readLevel(level, share),
      onInput: (share) => {
        bench.memory.pour.share = share;
        apply(bench);
      },
    }),
    el('p', { class: 'status', id: 'air-status', role: 'status', text: airWords(level, bench.memory.pour.share ?? 100) }),
  ];
}

const heightAt = ({ heights_mm: heights }, share) => heights[0] + (share / 100) * (heights.at(-1) - heights[0]);

function readLevel(level, share) {
  const height = heightAt(level, share);
  const i = level.heights_mm.findIndex((value) => value >= height - 1e-9);
  return `${number((level.volumes_mm3[i < 0 ? level.volumes_mm3.length - 1 : i] ?? 0) / 1000, { digits: 3 })} cm³`;
}

const reached = (level, share) => level.pockets.filter((pocket) => pocketSealed(pocket) <= heightAt(level, share));
const pocketSealed = (pocket) => pocket.saddle_mm ?? pocket.top_mm;

function airWords(level, share) {
  const open = reached(level, share).filter((pocket) => !pocket.vented);
  if (!level.pockets.length) return 'No pocket where air could stay.';
  if (open.length) return `Air stays in ${open.length} ${open.length === 1 ? 'place' : 'places'}: ${number(open.reduce((sum, p) => sum + p.volume_mm3, 0), { digits: 2 })} mm³.`;
  return 'Every pocket the level has reached is vented.';
}

async function follow(bench, fresh) {
  const memory = bench.memory.pour;
  const step = bench.store.step('pour');
  if (!step.figures || !Object.keys(step.figures).length || !bench.stage.shown.size) return;
  if (memory.levelKey !== step.key) {
    memory.levelKey = step.key;
    try {
      memory.level = await getJson('api/level');
    } catch (error) {
      memory.levelKey = null;
      byId('level-box')?.replaceChildren(el('p', { class: 'hint', text: error.message }));
      return;
    }
    if (bench.current === 'pour') bench.render({ whole: true });
    return;
  }
  if (fresh || memory.level) apply(bench);
}

/** Show the liquid up to the level, and the air that stays. */
function apply(bench) {
  const { level, share = 100 } = bench.memory.pour;
  if (!level || bench.current !== 'pour') return;
  const { stage } = bench;
  const up = level.up;
  const base = up[0] * stage.origin.x + up[1] * stage.origin.y + up[2] * stage.origin.z;
  if (share < 100) stage.cutter.set(up, heightAt(level, share) - base, { only: ['casting'], hatch: false });
  else stage.cutter.clear();
  const places = (vented) => reached(level, share).filter((pocket) => Boolean(pocket.vented) === vented).flatMap((pocket) => pocket.places ?? []);
  layer(stage, 'air');
  drawMarks(stage, 'air', places(false), { color: STOP, size: 5 });
  drawMarks(stage, 'vented', places(true), { color: NOTE, size: 3 });
  const words = byId('air-status');
  if (words) words.textContent = airWords(level, share);
}
