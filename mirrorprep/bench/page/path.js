/** The path of the job: ten steps, each with its state, each open at any time. */

import { byId, button, el, refill, sign } from './dom.js';

const WORDS = {
  empty: 'waits', ready: 'ready to run', done: 'done', stale: 'changed since',
  stopped: 'stopped', failed: 'not finished', open: 'yours to turn', 'left out': 'left out', running: 'running',
};
const SIGNS = { ready: 'ready', done: 'done', stale: 'stale', stopped: 'stop', failed: 'stop', 'left out': 'stale', running: 'ready' };

export const stateWords = (state) => WORDS[state] ?? state;

export function fillPath(bench) {
  const { state } = bench.store;
  const print = JSON.stringify([bench.current, state.running?.step, state.failed?.step, state.steps.map((step) => [step.state, worst(step)])]);
  const node = byId('path');
  if (node.dataset.print === print) return;
  node.dataset.print = print;
  const open = state.steps.some((step) => ['ready', 'empty', 'stale'].includes(step.state));
  refill(node, [
    el('ol', {}, state.steps.map((step, i) => pathItem(bench, step, i + 1))),
    open && !state.running && !state.problem
      ? button('Run all that is left', () => bench.run('handover'), { id: 'run-all', class: 'quiet' })
      : null,
  ]);
}

function pathItem(bench, step, count) {
  const state = stateOf(bench, step);
  const here = bench.current === step.name;
  const flag = worst(step);
  return el(
    'li',
    { class: `${state.replace(' ', '-')}${here ? ' here' : ''}` },
    el(
      'button',
      { type: 'button', id: `path-${step.name}`, 'aria-current': here ? 'step' : null, on: { click: () => bench.go(step.name) } },
      el('span', { class: 'count', text: String(count) }),
      el('span', { class: 'name', text: step.title }),
      el('span', { class: 'state' }, sign(SIGNS[state] ?? 'empty'), stateWords(state)),
      flag ? el('span', { class: `flag ${flag}`, title: `has a ${flag}` }, sign(flag), el('span', { class: 'only-read', text: ` has a ${flag}` })) : null,
    ),
  );
}

/** The state of a step, or that it runs, or that its run ended with an error. */
export function stateOf(bench, step) {
  const { running, failed } = bench.store.state;
  if (running) return running.step === step.name ? 'running' : step.state;
  if (step.name === 'parting' && step.state === 'ready') return 'open';
  const broken = failed?.step === step.name && failed.exit_code !== 130 && !['done', 'stopped'].includes(step.state);
  return broken ? 'failed' : step.state;
}

/** The gravest thing a step found, when it is more than a note. */
function worst(step) {
  const found = (step.findings ?? []).filter((finding) => !finding.waived).map((finding) => finding.severity);
  return ['stop', 'caution'].find((severity) => found.includes(severity));
}
