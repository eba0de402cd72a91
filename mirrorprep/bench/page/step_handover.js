/** Handover: the sheet, the files, and the list to tick off. */

import { check, el } from './dom.js';
import { entry } from './entries.js';
import { number } from './figures.js';
import { seatView } from './step_seat.js';

const WHAT = {
  'half_a.stl': 'upper half of the mould', 'half_b.stl': 'lower half of the mould',
  'mould.3mf': 'both halves, named, laid on the bed: print this',
  'mirrored_part.stl': 'the mirrored part', 'mirrored_part.3mf': 'the mirrored part, with its unit',
  'casting.stl': 'what the pour makes; evidence, not for printing', 'traveller.pdf': 'the traveller on paper',
  'traveller.json': 'the traveller as data', 'traveller.html': 'the traveller', 'thumbnail.png': 'a small picture of the part',
  'lesson.html': 'the workflow as a lesson', SHA256SUMS: 'digests, to see that a file arrived whole',
};
const TICKS = [
  'I read the cautions and every finding on the traveller.',
  'I read the safety data sheet and the technical data sheet of the material.',
  'The printer’s bed holds both halves as they lie in mould.3mf.',
  'The traveller goes with the job.',
];

export const handover = {
  group: 'seat',
  lead: 'The files are written, read back and proved; the traveller goes with the job.',
  bodies: (bench) => {
    if (!bench.store.step('seat').bodies?.length) return [{ step: 'measure', name: 'part' }];
    return [{ step: 'seat', name: 'skin', solid: false }, { step: 'seat', name: 'part' }];
  },
  view: (bench, header) => seatView(bench, header),
  controls: (bench) => [
    ...files(bench),
    el('details', { id: 'output-settings' }, el('summary', { text: 'What is handed over' }),
      entry(bench, 'output.pictures', { words: 'Pictures in the traveller', hint: null }),
      entry(bench, 'output.lesson', { words: 'Write the lesson too', hint: null }),
      entry(bench, 'output.page', { words: 'Page of the paper traveller', hint: null })),
  ],
};

function files(bench) {
  const outputs = bench.store.state.outputs ?? [];
  if (!outputs.length) return [];
  const link = (item, props) => el('a', { href: `out/${encodeURIComponent(item.name)}`, ...props }, item.name);
  const sheet = outputs.find((item) => item.name === 'traveller.html');
  return [
    sheet ? el('a', { class: 'firm open-sheet', id: 'open-traveller', href: 'out/traveller.html', target: '_blank', rel: 'noopener' }, 'Open the traveller in a new tab') : null,
    el('h3', { text: 'Files' }),
    el('ul', { class: 'files' }, outputs.filter((item) => item.name !== 'traveller.html').map((item) =>
      el('li', {}, link(item, { download: item.name }), el('span', { text: WHAT[item.name] ?? item.kind ?? '' }), el('small', { text: bytes(item.bytes) })))),
    el('h3', { text: 'Before you print' }),
    el('div', { class: 'ticks' }, TICKS.map((words, i) => tick(bench, words, i))),
  ];
}

const bytes = (count) => (count > 1e6 ? `${number(count / 1e6, { digits: 2 })} MB` : `${number(Math.ceil(count / 1e3))} kB`);

/** Ticks hold for these very files: another run clears them. */
function tick(bench, words, i) {
  const name = `tick-${bench.here().key}-${i}`;
  return check(`tick-${i}`, words, localStorage.getItem(name) === 'yes', (on) => localStorage.setItem(name, on ? 'yes' : ''));
}
