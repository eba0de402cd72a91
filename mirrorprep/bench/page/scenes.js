/** Bringing the bodies of a step into the view. */

import { byId } from './dom.js';
import { loadBody } from './bodies.js';
import { startScale } from './scale.js';
import { Vector3 } from './vendor/three.module.min.js';
import { fit, open, show } from './stage.js';
import { clearOverlay } from './overlay.js';
import { applyCut, applyMap, fillTools } from './viewtools.js';
import { STEPS } from './steps.js';

let scaled = false;
let last = '';
let turn = 0;

/** Show the bodies that belong to the current step; nothing is loaded twice. */
export async function fillScene(bench) {
  if (!bench.stage) return;
  if (!scaled) startScale(bench.stage);
  scaled = true;
  const face = STEPS[bench.current];
  const wanted = (face.bodies?.(bench) ?? []).filter((body) => has(bench, body));
  const print = JSON.stringify([bench.current, wanted.map((body) => [body.step, body.name, keyOf(bench, body)])]);
  if (print === last) {
    if (!wanted.length) empty(bench, true);
    return face.follow?.(bench);
  }
  if (bench.toolsOf !== bench.current) byId('tools').replaceChildren();
  bench.toolsOf = bench.current;
  last = print;
  const mine = ++turn;
  note(bench, wanted.length ? 'Fetching the bodies …' : '');
  try {
    const loaded = await Promise.all(wanted.map((body) => loadBody(body.step, body.name, keyOf(bench, body))));
    if (mine === turn) place(bench, face, wanted, loaded);
  } catch (error) {
    if (mine !== turn) return;
    last = '';
    note(bench, error.message);
  }
}

const has = (bench, { step, name }) => bench.store.step(step)?.bodies?.some((body) => body.name === name);
const keyOf = (bench, { step }) => bench.store.step(step).key;
const labelOf = (bench, { step, name }) => bench.store.step(step).bodies.find((body) => body.name === name).label ?? name;

function place(bench, face, wanted, loaded) {
  const { stage } = bench;
  const memory = bench.memory[bench.current];
  note(bench, '');
  clearOverlay(stage);
  stage.cutter.clear();
  const items = wanted.map((body, i) => ({
    map: undefined, opacity: 1, color: undefined, opens: 0, solid: true,
    ...body, id: body.name, body: loaded[i], label: labelOf(bench, body),
    visible: !(memory.hidden?.[body.name] ?? body.visible === false),
  }));
  show(stage, items);
  open(stage, [0, 0, 1], 0);
  empty(bench, items.length === 0);
  if (items.length) stand(bench, face, loaded);
  memory.map ??= face.map?.(bench) ?? '';
  if (!items.some((item) => memory.map.startsWith(`${item.name} `))) memory.map = face.map?.(bench) ?? '';
  applyMap(bench, memory.map);
  fillTools(bench, memory, { cut: face.cut !== false });
  applyCut(bench, memory.cut);
  bench.fillPanel();
  face.follow?.(bench, { fresh: true });
}

/** Choose the view; steps that show the same thing keep the eye where it is. */
function stand(bench, face, loaded) {
  const header = loaded[0].header;
  const view = face.view?.(bench, header) ?? { up: header.up ?? [0, 0, 1], toward: header.toward ?? [0, -1, 0.2] };
  const up = new Vector3(...view.up).normalize();
  const front = new Vector3(...view.toward).addScaledVector(up, -up.dot(new Vector3(...view.toward))).normalize();
  bench.frame = { top: up, front, side: new Vector3().crossVectors(up, front).normalize() };
  const group = `${face.group}${up.toArray().map((x) => x.toFixed(2))}`;
  if (bench.group === group) return;
  bench.group = group;
  fit(bench.stage, { up: view.up, toward: front.clone().addScaledVector(up, view.over ?? 0.16).addScaledVector(bench.frame.side, view.turn ?? 0.45).toArray(), room: face.room ?? 1.12 });
}

function note(bench, words) {
  const node = byId('view-note');
  node.hidden = !words;
  node.textContent = words;
}

function empty(bench, on) {
  const node = byId('empty-note');
  node.hidden = !on;
  const { nothing = 'Nothing to see yet: run this step first.' } = STEPS[bench.current];
  node.textContent = typeof nothing === 'function' ? nothing(bench) : nothing;
}
