/** Measure: volume, mass, size and the thinnest wall of the part. */

import { button, el } from './dom.js';
import { entry } from './entries.js';
import { figure } from './figures.js';
import { lookAt } from './stage.js';
import { drawMarks } from './overlay.js';
import { CAUTION } from './palette.js';
import { materialOptions } from './materials.js';

export const measure = {
  group: 'part',
  lead: 'How large, how heavy and how thin the mirrored part is, with what the accuracy of the scan leaves open.',
  bodies: () => [{ step: 'measure', name: 'part' }],
  map: () => 'part wall_mm',
  controls: (bench) => [
    entry(bench, 'material.name', { words: 'Material of the part', hint: null, options: materialOptions(bench), tall: true }),
    entry(bench, 'scan.accuracy_mm', { words: 'Accuracy of the scanner, mm', hint: null }),
  ],
  figures: (bench, figures) => [
    figure('Volume', figures.volume_mm3, 'mm³', { sd: figures.volume_sd_mm3, main: true }),
    figure('Mass', figures.mass_g, 'g', { sd: figures.mass_sd_g, how: `at ${figures.density_g_cm3} g/cm³` }),
    figure('Thinnest wall', figures.min_wall_mm, 'mm', { digits: 2 }),
    figure('Surface', figures.area_mm2, 'mm²'),
    figure('Size', figures.size_mm?.map((side) => side.toFixed(1)).join(' × '), 'mm'),
  ],
  after: (bench, figures) => {
    const place = figures?.thinnest_at_mm;
    if (!place || !bench.stage) return [];
    return [el('p', { class: 'doings' }, button('Show the thinnest place', () => {
      drawMarks(bench.stage, 'finding', [place], { color: CAUTION });
      lookAt(bench.stage, place, 20);
    }, { class: 'small', id: 'show-thinnest' }))];
  },
};
