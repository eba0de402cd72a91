/** Parting: the direction in which the halves come off, turned by hand, with the undercut it leaves. */

import { Vector3 } from './vendor/three.module.min.js';
import { postBuffer } from './api.js';
import { unpack } from './bodies.js';
import { button, byId, el, slider } from './dom.js';
import { entry, readNumber } from './entries.js';
import { figure, figureTable, number } from './figures.js';
import { holdDirection } from './handles.js';
import { drawDisc, loadLandscape } from './disc.js';
import { fit } from './stage.js';
import { applyMap, fillTools } from './viewtools.js';
import { angles, directionOf } from './angles.js';

const ASIDE = 0.7;
let held = null;
let asked = { busy: false, next: null };

export const parting = {
  group: 'pull',
  room: 1.75,
  onward: true,
  lead: 'Drag the arrow, or use the sliders: what cannot come off along it turns dark. The search has already looked at every direction; turn it only when you know better.',
  view: (bench, header) => seenAside(bench, header.up ?? [0, 0, 1]),
  bodies: () => [{ step: 'parting', name: 'part' }],
  nothing: 'Nothing to see yet: run the step Measure first.',
  blocked: (bench) => (bench.store.step('measure').state === 'done' ? null : 'Run the step Measure first.'),
  controls: (bench) => [
    el('div', { id: 'pull-tools' }),
    el('h3', { text: 'All directions' }),
    el('p', { class: 'hint', id: 'disc-hint', text: 'Every direction as a place on a disc; the darker, the more is trapped. White rings mark the best, the red ring the one that holds. Click one to take it.' }),
    el('canvas', { id: 'disc', width: 520, height: 520, tabindex: '0', role: 'img', 'aria-label': 'Trapped volume over all directions' }),
    entry(bench, 'mould.parting', { words: 'Parting surface', hint: null, options: [['auto', 'chosen by what is trapped'], ['plane', 'a plane'], ['contour', 'following the contour']], tall: true }),
  ],
  follow: (bench, { fresh = false } = {}) => {
    if (!bench.stage.shown.size) return;
    const now = direction(bench);
    if (!held || fresh) take(bench, now ?? [0, 0, 1]);
    fillPull(bench);
    showDisc(bench);
    if (fresh || bench.memory.parting.asked !== String(now)) ask(bench, now);
    bench.memory.parting.asked = String(now);
  },
  leave: () => {
    held?.release();
    held = null;
  },
};

/** An eye that sees the pull direction aside, so that its arrow can be taken hold of. */
function seenAside(bench, up) {
  const pull = direction(bench);
  if (!pull) return null;
  const axis = new Vector3(...up);
  const level = new Vector3(...pull).addScaledVector(axis, -axis.dot(new Vector3(...pull)));
  if (level.length() < 0.2) return null;
  return { up, toward: level.applyAxisAngle(axis, -ASIDE).toArray(), turn: 0 };
}

/** The first time that the direction is known, look at it aside. */
function lookAside(bench) {
  if (bench.memory.parting.aside || !bench.stage.shown.size) return;
  bench.memory.parting.aside = true;
  const view = seenAside(bench, bench.frame.top.toArray());
  if (view) fit(bench.stage, { ...view, room: parting.room });
}

/** The direction that holds: stated, else found by the mould, else the best of the landscape. */
function direction(bench) {
  return bench.store.value('mould.pull_direction')
    ?? bench.store.step('mould').figures?.pull_direction
    ?? bench.memory.parting.landscape?.best?.[0]?.direction
    ?? null;
}

function take(bench, start) {
  held?.release();
  held = holdDirection(bench.stage, start, {
    onChange: (now) => {
      ask(bench, now);
      fillPull(bench);
    },
    onDone: (now) => state(bench, now),
  });
  bench.pull = held;
}

/** Write the direction into the job. */
function state(bench, now) {
  const rounded = now.map((value) => Number(value.toFixed(5)));
  bench.memory.parting.asked = String(rounded);
  bench.change({ 'mould.pull_direction': rounded });
}

function turnTo(bench, now, { keep = true } = {}) {
  held?.set(now);
  ask(bench, now);
  fillPull(bench, { sliders: false });
  clearTimeout(bench.memory.parting.later);
  if (keep) bench.memory.parting.later = setTimeout(() => state(bench, now), 500);
}

/** The sliders, the typed figures, and what is trapped. */
function fillPull(bench, { sliders = true } = {}) {
  const node = byId('pull-tools');
  if (!node || !held || !bench.frame) return;
  const now = held.direction.toArray();
  if (!node.firstChild) node.append(el('div', { id: 'pull-sliders' }), el('div', { id: 'pull-typed' }), el('div', { id: 'pull-figures', role: 'status' }));
  if (sliders && !byId('pull-sliders').contains(document.activeElement)) fillSliders(bench, now);
  else if (sliders) moveSliders(bench, now);
  if (!byId('pull-typed').contains(document.activeElement)) fillTyped(bench, now);
  fillTrapped(bench);
  drawDisc(bench, byId('disc'), now);
}

function fillSliders(bench, now) {
  const { around, over } = angles(bench.frame, now);
  const go = () => turnTo(bench, directionOf(bench.frame, Number(byId('pull-around').value), Number(byId('pull-over').value)));
  byId('pull-sliders').replaceChildren(
    slider('pull-around', 'Around', { low: -180, high: 180, step: 1, value: around, read: (v) => `${number(Math.round(v))}°`, onInput: go }),
    slider('pull-over', 'Up and down', { low: -90, high: 90, step: 1, value: over, read: (v) => `${number(Math.round(v))}°`, onInput: go }),
  );
}

function moveSliders(bench, now) {
  const { around, over } = angles(bench.frame, now);
  for (const [id, value] of [['pull-around', around], ['pull-over', over]]) {
    if (document.activeElement.id !== id) byId(id).value = value;
  }
}

function fillTyped(bench, now) {
  const boxes = [...'xyz'].map((axis, i) =>
    el('input', { type: 'text', inputmode: 'decimal', class: 'number', id: `pull-${axis}`, 'aria-label': `pull direction ${axis}`, value: now[i].toFixed(4), on: {
      change: () => {
        const given = boxes.map((box) => readNumber(box.value));
        if (given.every((value) => typeof value === 'number') && Math.hypot(...given) > 1e-9) turnTo(bench, given.map((value) => value / Math.hypot(...given)));
        else bench.change({ 'mould.pull_direction': given });
      },
    } }));
  const stated = bench.store.value('mould.pull_direction') !== null;
  byId('pull-typed').replaceChildren(
    el('div', { class: 'entry' }, el('label', { for: 'pull-x', text: 'Pull direction' }), el('span', { class: 'triple' }, boxes)),
    el('p', { class: 'doings' }, el('span', { class: 'status', text: stated ? 'Set by hand.' : bench.store.step('mould').state === 'done' ? 'Found by search.' : 'The best of the directions below; the mould looks closer still.' }),
      stated ? button('Let it be searched', () => reset(bench), { id: 'search-pull', class: 'small' }) : null),
  );
}

async function reset(bench) {
  clearTimeout(bench.memory.parting.later);
  await bench.change({ 'mould.pull_direction': null });
  const now = direction(bench);
  if (now) turnTo(bench, now, { keep: false });
  fillPull(bench);
}

function fillTrapped(bench) {
  const { trapped } = bench.memory.parting;
  const node = byId('pull-figures');
  if (!trapped) return node.replaceChildren();
  return node.replaceChildren(figureTable([
    figure('Trapped volume', trapped.trapped_mm3, 'mm³', { main: true, digits: 2 }),
    figure('Share of the part', trapped.share === undefined ? undefined : trapped.share * 100, '%', { digits: 2 }),
    figure('With a flat parting plane', trapped.plane_trapped_mm3 ?? undefined, 'mm³', { digits: 2 }),
  ]));
}

/** Ask for the undercut of a direction; while one is on its way, only the latest waits. */
async function ask(bench, now) {
  if (!now) return;
  if (asked.busy) {
    asked.next = now;
    return;
  }
  asked.busy = true;
  try {
    const answer = unpack(await postBuffer('api/undercut', { direction: now }));
    if (bench.current === 'parting') showUndercut(bench, answer);
  } catch (error) {
    if (bench.current === 'parting') bench.say(error);
  }
  asked.busy = false;
  const next = asked.next;
  asked.next = null;
  if (next) ask(bench, next);
}

function showUndercut(bench, { header, maps }) {
  const part = bench.stage.shown.get('part');
  if (!part || !maps.undercut_mm) return;
  bench.memory.parting.trapped = header.figures;
  if (maps.undercut_mm.values.length * 3 !== part.body.header.vertices * 3) return;
  part.body.maps.undercut_mm = maps.undercut_mm;
  bench.memory.parting.map = 'part undercut_mm';
  applyMap(bench, 'part undercut_mm');
  if (!byId('map')) fillTools(bench, bench.memory.parting);
  fillTrapped(bench);
  bench.memory.parting.answers = (bench.memory.parting.answers ?? 0) + 1;
}

async function showDisc(bench) {
  const memory = bench.memory.parting;
  const key = bench.store.step('measure').key;
  if (memory.discKey === key) return;
  memory.discKey = key;
  try {
    memory.landscape = await loadLandscape();
    const now = direction(bench);
    if (bench.current !== 'parting' || !now) return;
    held?.set(now);
    lookAside(bench);
    ask(bench, now);
    listenToDisc(bench);
    fillPull(bench);
  } catch (error) {
    memory.discKey = null;
    byId('disc-hint').textContent = error.message;
  }
}

function listenToDisc(bench) {
  bench.memory.parting.choose = (now) => {
    held?.set(now);
    ask(bench, now);
    fillPull(bench);
    state(bench, now);
  };
}
