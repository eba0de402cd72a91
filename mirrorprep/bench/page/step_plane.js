/** Mirror plane: how sure it is, its runners-up, turning it by hand, and landmarks. */

import { button, el, sign } from './dom.js';
import { figure, number, vector } from './figures.js';
import { holdPlane } from './handles.js';
import { clearOverlay, drawPlane, layer } from './overlay.js';
import { landmarkTools, showLandmarks, stopPicking } from './landmarks.js';
import { readNumber } from './entries.js';

const WORDS = {
  clear: ['done', 'Clear: the two sides agree in one plane only.'],
  ambiguous: ['caution', 'Ambiguous: another plane fits nearly as well. Look at the runners-up.'],
  weak: ['caution', 'Weak: the surface says little about where the plane lies. Pick landmarks, or set it by hand.'],
  stated: ['note', 'Stated by hand; no search was made, so its uncertainty is not known.'],
};

let release = null;

export const plane = {
  group: 'head',
  lead: 'The mid-sagittal plane, over which the healthy side is mirrored. Blue and orange show where the two sides differ.',
  bodies: (bench) => (bench.store.step('plane').bodies?.length ? [{ step: 'plane', name: 'scan' }] : [{ step: 'condition', name: firstBody(bench) }]),
  map: (bench) => (bench.store.step('plane').bodies?.some((body) => body.maps?.includes('asymmetry_mm')) ? 'scan asymmetry_mm' : ''),
  status: (bench, figures) => {
    if (!figures) return [];
    const [kind, words] = WORDS[figures.status] ?? ['note', figures.status];
    return [el('p', { class: `verdict ${kind}`, id: 'plane-status' }, sign(kind), words)];
  },
  controls: (bench, figures) => [figures ? runners(bench, figures) : null, byHand(bench, figures), landmarkTools(bench)],
  figures: (bench, figures) => [
    figure('Direction known to', figures.sd_deg ?? undefined, '°', { digits: 1, how: '1 s.d.' }),
    figure('Offset', figures.offset_mm, 'mm', { sd: figures.sd_mm }),
    figure('Normal', vector(figures.normal, 4)),
    figure('Left-right difference', figures.asymmetry_rms_mm, 'mm', { digits: 2, how: 'root mean square over the matched area' }),
    figure('Matched area', figures.matched_share === undefined ? undefined : figures.matched_share * 100, '%', { digits: 2 }),
  ],
  follow: (bench) => {
    const memory = bench.memory.plane;
    const figures = bench.store.step('plane').figures;
    if (!bench.stage.shown.size) return;
    if (memory.hold && !release) return takeHold(bench);
    if (release) return undefined;
    drawAll(bench, figures);
    showLandmarks(bench);
    return undefined;
  },
  leave: (bench) => {
    letGo(bench);
    stopPicking(bench);
  },
};

const firstBody = (bench) => bench.store.step('condition').bodies?.[0]?.name ?? 'after';

function drawAll(bench, figures) {
  const group = layer(bench.stage, 'plane');
  const rest = layer(bench.stage, 'runners');
  if (!figures?.normal) return;
  drawPlane(bench.stage, group, figures);
  const chosen = (figures.choice ?? 1) - 1;
  const looked = bench.memory.plane.runner;
  (figures.alternatives ?? []).forEach((other, i) => {
    if (i !== chosen && looked === i) drawPlane(bench.stage, rest, other, { outline: true, color: '#22303a' });
  });
}

/** The ranked planes; looking at one draws its outline, taking one is an entry of the job. */
function runners(bench, figures) {
  const list = figures.alternatives ?? [];
  if (list.length < 2) return null;
  const chosen = bench.store.value('plane.normal') ? -1 : (bench.store.value('plane.choose') ?? 1) - 1;
  const row = (item, i) => {
    const id = `runner-${i + 1}`;
    const box = el('input', { type: 'radio', name: 'runner', id, checked: i === chosen, on: {
      change: () => bench.change({ 'plane.choose': i + 1, 'plane.normal': null, 'plane.offset_mm': null }),
    } });
    const look = button('Outline', () => outline(bench, i), { class: 'small', id: `look-${id}`, 'aria-pressed': String(bench.memory.plane.runner === i) });
    const words = i === 0 ? 'the best plane' : `runner-up ${i}, ${angleWords(list[0], item)}`;
    return el('div', { class: 'runner' }, el('label', { for: id, class: 'check' }, box, el('span', {}, words, el('small', { text: `evidence ${number(item.score, { digits: 2 })}` }))), i === chosen ? null : look);
  };
  return el('fieldset', { class: 'runners' }, el('legend', { text: 'Planes by rank' }), list.slice(0, 6).map(row));
}

function angleWords(first, other) {
  const dot = first.normal.reduce((sum, value, i) => sum + value * other.normal[i], 0);
  return `${number((Math.acos(Math.min(1, Math.abs(dot))) * 180) / Math.PI, { digits: 2 })}° away`;
}

function outline(bench, i) {
  const memory = bench.memory.plane;
  memory.runner = memory.runner === i ? null : i;
  bench.render({ whole: true });
}

/** Turning and moving the plane by a handle, or by figures. */
function byHand(bench, figures) {
  const memory = bench.memory.plane;
  const normal = memory.draft?.normal ?? bench.store.value('plane.normal') ?? figures?.normal;
  const offset = memory.draft?.offset_mm ?? (bench.store.value('plane.normal') ? bench.store.value('plane.offset_mm') : figures?.offset_mm);
  const stated = bench.store.value('plane.normal') !== null;
  const boxes = [...'xyz'].map((axis, i) => el('input', { type: 'text', inputmode: 'decimal', class: 'number', id: `normal-${axis}`, 'aria-label': `normal ${axis}`, value: normal ? normal[i].toFixed(5) : '' }));
  const place = el('input', { type: 'text', inputmode: 'decimal', class: 'number', id: 'plane-offset', value: offset === undefined || offset === null ? '' : offset.toFixed(3) });
  const take = () => {
    const given = memory.draft ?? { normal: boxes.map((box) => readNumber(box.value)), offset_mm: readNumber(place.value) };
    letGo(bench);
    bench.change({ 'plane.normal': given.normal, 'plane.offset_mm': given.offset_mm, 'plane.choose': null });
  };
  const typed = () => (memory.draft = null);
  [...boxes, place].forEach((box) => box.addEventListener('input', typed));
  const hold = (mode, words) => button(words, () => toggleHold(bench, mode), { id: `hold-${mode}`, 'aria-pressed': String(memory.hold === mode), class: 'half' });
  return el('details', { id: 'by-hand', open: Boolean(memory.hold) || stated },
    el('summary', { text: 'Set the plane by hand' }),
    bench.stage && normal ? el('div', { class: 'halves' }, hold('move', 'move'), hold('turn', 'turn')) : null,
    el('div', { class: 'entry' }, el('label', { for: 'normal-x', text: 'Normal' }), el('span', { class: 'triple' }, boxes)),
    el('div', { class: 'entry' }, el('label', { for: 'plane-offset', text: 'Offset, mm' }), place),
    el('p', { class: 'doings' }, button('Take this plane', take, { id: 'take-plane', class: 'firm' }),
      stated ? button('Let it be searched', () => bench.change({ 'plane.normal': null, 'plane.offset_mm': null }), { id: 'search-plane' }) : null));
}

function toggleHold(bench, mode) {
  const memory = bench.memory.plane;
  const same = memory.hold === mode;
  letGo(bench);
  memory.hold = same ? null : mode;
  if (memory.hold) takeHold(bench);
  bench.render({ whole: true });
}

function takeHold(bench) {
  const memory = bench.memory.plane;
  const figures = bench.store.step('plane').figures;
  const start = memory.draft ?? figures;
  if (!start?.normal) return;
  layer(bench.stage, 'runners');
  release = holdPlane(bench.stage, start, {
    mode: memory.hold,
    onChange: (now) => showDraft(memory, now),
    onDone: (now) => showDraft(memory, now),
  });
}

function showDraft(memory, now) {
  memory.draft = now;
  ['x', 'y', 'z'].forEach((axis, i) => {
    const box = document.getElementById(`normal-${axis}`);
    if (box) box.value = now.normal[i].toFixed(5);
  });
  const place = document.getElementById('plane-offset');
  if (place) place.value = now.offset_mm.toFixed(3);
}

function letGo(bench) {
  release?.();
  release = null;
  Object.assign(bench.memory.plane ?? {}, { hold: null, draft: null });
  if (bench.stage) clearOverlay(bench.stage);
}
