/** Under the view: which bodies are shown, what colours them, where they are cut. */

import { button, check, choice, el, refill } from './dom.js';
import { dress, fit, reach } from './stage.js';
import { figure } from './figures.js';
import { colorOf } from './palette.js';

const AXES = { side: 'from the side', front: 'from the front', top: 'from above' };

/** Fill the row of tools for what is shown; `memory` keeps the choices of a step. */
export function fillTools(bench, memory, { cut = true } = {}) {
  const { stage } = bench;
  const node = document.getElementById('tools');
  if (!stage) return node.replaceChildren();
  const shown = [...stage.shown.values()];
  const maps = shown.flatMap((item) => Object.values(item.body.maps).map((map) => [item, map]));
  return refill(node, [
    shown.length ? el('fieldset', { class: 'bodies' }, el('legend', { text: 'Show' }), shown.map((item) => bodyCheck(bench, item, memory))) : null,
    maps.length ? mapChoice(bench, maps, memory) : null,
    shown.length && cut ? cutTools(bench, memory) : null,
  ]);
}

function bodyCheck(bench, item, memory) {
  const row = check(`show-${item.name}`, item.label, item.mesh.visible, (on) => {
    item.mesh.visible = on;
    memory.hidden = { ...memory.hidden, [item.name]: !on };
    bench.stage.cutter.refresh();
    bench.stage.draw();
  });
  const swatch = el('i', { class: 'swatch', 'aria-hidden': 'true' });
  swatch.style.background = item.color ?? colorOf(item.name);
  row.insertBefore(swatch, row.lastChild);
  return row;
}

function mapChoice(bench, maps, memory) {
  const options = [['', 'its own colour'], ...maps.map(([item, map]) => [`${item.name} ${map.name}`, map.label ?? map.name])];
  return choice('map', 'Coloured by', options, memory.map ?? '', (value) => {
    memory.map = value;
    applyMap(bench, value);
  });
}

/** Colour by `body map`, and show its scale. */
export function applyMap(bench, value) {
  const [name, map] = (value ?? '').split(' ');
  let scale = null;
  for (const item of bench.stage?.shown.values() ?? []) {
    item.map = item.name === name && item.body.maps[map] ? map : undefined;
    dress(bench.stage, item);
    if (item.map) scale = item.body.maps[map];
  }
  legend(scale);
  bench.stage?.draw();
}

/** The scale of a map: its colours, its ends with unit, and what grey means. */
export function legend(map) {
  const node = document.getElementById('legend');
  node.hidden = !map;
  if (!map) return;
  const bar = el('canvas', { width: map.table.size, height: 1, 'aria-hidden': 'true' });
  const pen = bar.getContext('2d');
  map.table.css.forEach((color, i) => {
    pen.fillStyle = color;
    pen.fillRect(i, 0, 1, 1);
  });
  const end = (value, beyond) => el('span', { text: `${beyond}${figure('', value, map.unit, { digits: 2 }).amount}` });
  const middle = map.diverging ? [el('span', { text: '0' })] : [];
  node.replaceChildren(
    el('b', { text: map.label ?? map.name }), bar,
    el('p', {}, end(map.low, map.diverging ? '≤ ' : ''), ...middle, end(map.high, '≥ ')),
    el('small', { text: 'grey: not known' }),
  );
}

function cutTools(bench, memory) {
  memory.cut ??= { axis: 'side', share: 0 };
  const apply = () => applyCut(bench, memory.cut);
  const range = el('input', { type: 'range', id: 'cut', min: 0, max: 100, step: 1, value: memory.cut.share, 'aria-label': 'Cut through' });
  range.value = memory.cut.share;
  const words = () => (memory.cut.share > 0 ? `${memory.cut.share} % cut away` : 'uncut');
  const reading = el('output', { for: 'cut', text: words() });
  range.addEventListener('input', () => {
    memory.cut.share = Number(range.value);
    reading.textContent = words();
    apply();
  });
  const axis = choice('cut-axis', 'Cut through', Object.entries(AXES), memory.cut.axis, (value) => {
    memory.cut.axis = value;
    apply();
  });
  return el('div', { class: 'cut' }, axis, range, reading);
}

/** Cut away a share of what is shown, square to an axis of the step's first view. */
export function applyCut(bench, cut) {
  const { stage } = bench;
  if (!stage || !bench.frame) return;
  if (!cut || cut.share <= 0) return stage.cutter.clear();
  const axis = bench.frame[cut.axis].clone();
  const eye = stage.camera.position.clone().sub(stage.controls.target);
  if (axis.dot(eye) < 0) axis.negate(); /* the cut faces the eye */
  const { low, high } = reach(stage, axis);
  return stage.cutter.set(axis.toArray(), high - (cut.share / 100) * (high - low), { hatch: true });
}
