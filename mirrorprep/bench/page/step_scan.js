/** Scan in: the file, its unit, whose it is and what for. */

import { button, check, choice, el, sign } from './dom.js';
import { entry } from './entries.js';
import { figure } from './figures.js';
import { fileField } from './upload.js';

const WITH_UNIT = /\.(glb|3mf)$/i;
const UNIT_WORDS = { mm: 'millimetres', cm: 'centimetres', m: 'metres', in: 'inches', ft: 'feet', micron: 'micrometres' };

export const scan = {
  group: 'head',
  lead: 'Bring the scan to the bench, and say whose it is and what the part is for.',
  nothing: (bench) => (bench.store.value('scan.file') ? 'The scan lies in the folder. Run this step to read it.' : 'No scan yet. Give one at the right, or take the invented head to see the whole way.'),
  bodies: () => [{ step: 'scan', name: 'scan' }],
  controls: (bench) => [bench.store.value('scan.file') ? fileGiven(bench) : fileAsked(bench), ...request(bench)],
  blocked: (bench) => {
    if (!bench.store.value('scan.file')) return 'Give a scan first, or take the invented head.';
    if (unitMissing(bench)) return 'Say the unit of the scan first.';
    return null;
  },
  figures: (bench, figures) => {
    const { scan: file = {} } = figures;
    const checked = bench.store.step('condition')?.figures?.scan ?? {};
    const size = file.size_mm ?? checked.size_mm;
    return [
      figure('Triangles', file.triangles ?? checked.triangles),
      size ? figure('Size', size.map((side) => side.toFixed(0)).join(' × '), 'mm', { how: 'along the axes of the file: a check of the unit' }) : null,
      figure('Format', file.format?.toUpperCase()),
      figure('Unit', file.units),
    ];
  },
};

function fileAsked(bench) {
  return [
    bench.busy ? el('p', { class: 'busy', role: 'status', text: bench.busy }) : fileField(bench, 'scan', 'Drop the scan here, or'),
    el(
      'div',
      { class: 'or' },
      el('p', { text: 'No scan at hand? An invented head with one ear shows every step; it is nobody’s likeness.' }),
      button('Take the invented head', () => bench.post('api/demo', {}), { id: 'take-demo', class: 'firm' }),
    ),
  ];
}

function fileGiven(bench) {
  const named = bench.store.value('scan.file');
  const again = el('details', { id: 'other-scan' }, el('summary', { text: 'Take another scan' }), fileField(bench, 'scan', 'Drop the other scan here, or'),
    button('Take the invented head', () => bench.post('api/demo', { replace: true }), { class: 'small' }));
  return [el('p', { class: 'given' }, el('b', { text: named }), ' lies in the job’s folder.'), unitChoice(bench, named), again];
}

/** A format without a unit must be asked; a guess is possible and is a caution. */
function unitChoice(bench, named) {
  const known = WITH_UNIT.test(named);
  const guessed = sessionStorage.getItem('unit-guessed') === named;
  const stated = bench.store.value('scan.units');
  const options = (bench.store.schema.units ?? Object.keys(UNIT_WORDS)).map((unit) => [unit, `${UNIT_WORDS[unit] ?? unit} (${unit})`]);
  const rest = known ? ['', 'the file’s own'] : ['guess', 'not known: guess it from the size'];
  const first = known || stated || guessed ? [] : [['', 'choose …']];
  const row = choice('scan-units', 'Unit of the scan', [...first, ...options, rest], stated || (guessed ? 'guess' : ''), (value) => {
    sessionStorage.setItem('unit-guessed', value === 'guess' ? named : '');
    bench.change({ 'scan.units': value === 'guess' ? '' : value });
    bench.render({ whole: true });
  });
  const ask = unitMissing(bench) ? el('p', { class: 'sentence caution' }, sign('caution'), el('span', { text: 'This format says no unit. A wrong one makes a part of the wrong size: ask whoever scanned.' })) : null;
  return el('div', {}, row, ask);
}

function unitMissing(bench) {
  const named = bench.store.value('scan.file');
  return !WITH_UNIT.test(named) && !bench.store.value('scan.units') && sessionStorage.getItem('unit-guessed') !== named;
}

function request(bench) {
  return [
    el('h3', { text: 'The request' }),
    entry(bench, 'job.code', { words: 'Job code', hint: 'Letters, digits and hyphens. Never a name: the code is cut into the mould and stands on every sheet.' }),
    entry(bench, 'job.purpose', { words: 'Purpose', hint: null, options: [['research', 'research'], ['teaching', 'teaching'], ['demonstration', 'demonstration']] }),
    ...people(bench),
    entry(bench, 'scan.accuracy_mm', { words: 'Accuracy of the scanner, mm', hint: 'One standard deviation, from its data sheet. It decides how many digits the figures show.' }),
    entry(bench, 'job.tolerance_mm', { words: 'Deviation you accept, mm', hint: null }),
    el('details', { id: 'more-request' }, el('summary', { text: 'More about the request' }),
      entry(bench, 'job.use', { words: 'What the part is for', hint: null }), entry(bench, 'job.features', { words: 'Features that matter', hint: 'Parted by commas.' })),
  ];
}

/** Whether a person was scanned, and the reason why it is asked. */
function people(bench) {
  const human = bench.store.value('job.human_data');
  const radio = (value, words) => {
    const id = `human-${value}`;
    const box = el('input', { type: 'radio', name: 'human', id, checked: human === value, on: { change: () => bench.change({ 'job.human_data': value }) } });
    return el('label', { for: id, class: 'check' }, box, el('span', { text: words }));
  };
  const consent = check('consent', 'Consent to this use is recorded', bench.store.value('job.consent') === 'recorded', (on) =>
    bench.change({ 'job.consent': on ? 'recorded' : '' }));
  return [
    el('fieldset', { class: 'asked' }, el('legend', { text: 'Does the scan show a person?' }), radio(false, 'no'), radio(true, 'yes'),
      el('p', { class: 'hint', text: 'Scans of people are sensitive personal data. They stay on this machine, and the work begins only with their consent on record.' })),
    human === true ? consent : null,
  ];
}
