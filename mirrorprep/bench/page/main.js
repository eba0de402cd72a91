/** The bench: puts the path, the view and the step's panel together and keeps them in step with the server. */

import { postJson } from './api.js';
import { byId, el, watchTyping } from './dom.js';
import { fit, makeStage } from './stage.js';
import { makeStore } from './store.js';
import { fillPath } from './path.js';
import { fillPanel, fillFoot } from './panel.js';
import { fillScene } from './scenes.js';
import { openSettings, fillSettings } from './settings.js';
import { STEPS } from './steps.js';

const CLOSED = 'This bench was closed. Open the address that its terminal shows.';

const bench = {
  store: makeStore(),
  stage: null,
  current: '',
  said: null,
  memory: {},
};

/** Change entries of the job file; a refusal is shown in its own words and the page falls back to what holds. */
bench.change = (changes) => bench.attempt(() => bench.store.change(changes));

/** Do something that the server may refuse. */
bench.attempt = async (action) => {
  try {
    bench.say(null);
    return await action();
  } catch (error) {
    if (error.status === undefined) throw error;
    bench.say(error);
    bench.render({ whole: true });
    return null;
  }
};

bench.say = (error) => {
  bench.said = error;
  fillFoot(bench);
  fillSettings(bench, { quiet: true });
};

bench.post = (path, data) => bench.attempt(async () => bench.store.take(await postJson(path, data)));
bench.run = (through) => bench.post('api/run', { through });
bench.cancel = () => bench.post('api/cancel', {});

/** Go to a step; the address keeps it, so that a reload stays there. */
bench.go = (name) => {
  if (bench.current === name) return;
  STEPS[bench.current]?.leave?.(bench);
  bench.current = name;
  bench.said = null;
  bench.memory[name] ??= {};
  if (location.hash !== `#${name}`) history.replaceState(null, '', `#${name}`);
  bench.render({ whole: true });
  byId('panel-body').scrollTop = 0;
};

bench.fillPanel = () => fillPanel(bench);

bench.next = () => {
  const names = bench.store.state.steps.filter((step) => step.state !== 'left out').map((step) => step.name);
  return names[names.indexOf(bench.current) + 1] ?? null;
};

bench.here = () => bench.store.step(bench.current);

let drawn = {};

/** Draw again what changed: the panel follows the job and its record, the foot follows progress. */
bench.render = ({ whole = false } = {}) => {
  const { state } = bench.store;
  if (!state || !bench.store.schema || !bench.current) return;
  fillTop(state);
  fillPath(bench);
  const print = JSON.stringify([bench.current, state.job, bench.here(), state.problem, state.outputs, Boolean(state.running)]);
  if (whole || print !== drawn.panel) {
    drawn.panel = print;
    fillPanel(bench);
    fillSettings(bench);
  }
  fillFoot(bench);
  fillScene(bench);
};

function fillTop(state) {
  const code = state.job?.job?.code;
  byId('job-line').replaceChildren(
    el('span', { text: code ? `Job ${code}` : 'New job' }),
    el('small', { text: `folder ${state.folder}` }),
  );
  const link = byId('link');
  const words = bench.store.connected ? '' : bench.store.closed ? CLOSED : 'No answer from the bench. Trying again …';
  if (link.textContent !== words) link.textContent = words;
  document.body.classList.toggle('lost', !bench.store.connected);
  byId('caution').textContent = bench.store.schema.caution;
}

/** The first step that still waits, so that a fresh page opens where the work is. */
function firstOpen(state) {
  const wanted = location.hash.slice(1);
  if (state.steps.some((step) => step.name === wanted)) return wanted;
  return (state.steps.find((step) => !['done', 'left out'].includes(step.state)) ?? state.steps.at(-1)).name;
}

function start() {
  watchTyping();
  bench.stage = makeStage(byId('canvas'));
  if (!bench.stage) {
    byId('canvas').hidden = true;
    const note = byId('view-note');
    note.hidden = false;
    note.textContent = 'This browser cannot draw in three dimensions (no WebGL). Every step, figure and finding works all the same; the pictures stand in the traveller.';
  }
  byId('fit').hidden = !bench.stage;
  byId('fit').addEventListener('click', () => fit(bench.stage));
  byId('settings-button').addEventListener('click', () => openSettings(bench));
  globalThis.addEventListener('hashchange', () => {
    if (bench.store.step(location.hash.slice(1))) bench.go(location.hash.slice(1));
  });
  document.querySelector('.skip').addEventListener('click', (event) => {
    event.preventDefault();
    byId('panel').focus();
  });
  bench.store.listen(() => {
    if (!bench.store.schema) return;
    if (!bench.current && bench.store.state) bench.go(firstOpen(bench.store.state));
    else bench.render();
  });
  globalThis.bench = bench;
  bench.store.follow();
}

start();
