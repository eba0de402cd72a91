/** Mirror: the healthy side and its twin across the plane. */

import { el } from './dom.js';
import { entry } from './entries.js';
import { figure, vector } from './figures.js';
import { drawPlane, layer } from './overlay.js';
import { colorOf } from './palette.js';
import { fileField } from './upload.js';

/** Where the two agree within this, the scan is seen; what stands out is the mirrored side. */
const AGREE_MM = 0.6;

export const mirror = {
  group: 'head',
  lead: 'What is mirrored across the plane: the whole scan, a part of its own file, or, when it is seated, a part cut from the scan.',
  bodies: (bench) => {
    if (!bench.store.step('mirror').bodies?.length) return [{ step: 'plane', name: 'scan' }];
    const whole = !bench.store.value('part.file');
    return [
      { step: 'mirror', name: 'donor', color: whole ? colorOf('scan') : colorOf('donor') },
      { step: 'mirror', name: 'mirrored', behind: AGREE_MM },
    ];
  },
  controls: (bench) => {
    const seated = bench.store.value('seating.seat');
    return [
      el('p', {
        class: 'given',
        text: seated ? 'The part is cut from the scan and seated on the other side in the next step.' : 'The part is mirrored as it is; nothing is seated.',
      }),
      entry(bench, 'seating.seat', { words: 'Seat the part on the recipient side', hint: null }),
      seated ? null : el('details', { id: 'part-file' }, el('summary', { text: 'The healthy part has a file of its own' }),
        entry(bench, 'part.file', { words: 'File of the part', hint: 'In the same coordinates as the scan; empty mirrors the whole scan.' }),
        fileField(bench, 'part', 'Drop the part here, or')),
    ];
  },
  figures: (bench) => {
    const plane = bench.store.step('plane').figures;
    return plane?.normal ? [
      figure('Mirror plane, normal', vector(plane.normal)),
      figure('its offset', plane.offset_mm, 'mm', { sd: plane.sd_mm }),
    ] : [];
  },
  follow: (bench) => {
    const plane = bench.store.step('plane').figures;
    const group = layer(bench.stage, 'plane');
    if (plane?.normal && bench.stage.shown.size) drawPlane(bench.stage, group, plane);
  },
};
