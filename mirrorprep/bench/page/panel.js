/** The step's panel: what it is for, its choices, its findings, its figures, and one main button. */

import { byId, button, el, refill, sign } from './dom.js';
import { allFigures, duration, figureTable } from './figures.js';
import { findingList } from './findings.js';
import { STEPS } from './steps.js';
import { stateOf, stateWords } from './path.js';

export function fillPanel(bench) {
  const step = bench.here();
  const face = STEPS[step.name];
  const figures = step.figures && Object.keys(step.figures).length ? step.figures : null;
  const rows = figures && face.figures ? face.figures(bench, figures) : [];
  refill(byId('panel-body'), [
    el('h2', {}, step.title, el('small', { text: stateWords(stateOf(bench, step)) })),
    el('p', { class: 'lead', text: face.lead }),
    ...(face.status?.(bench, figures) ?? []),
    ...(face.controls?.(bench, figures) ?? []),
    findingList(bench, step.findings),
    rows.some(Boolean) ? el('h3', { text: 'Figures' }) : null,
    figureTable(rows),
    ...(face.after?.(bench, figures) ?? []),
    figures ? allFigures(figures) : null,
  ]);
}

/** The foot of the panel: what went wrong, how far a run is, and what to do next. */
export function fillFoot(bench) {
  const { state } = bench.store;
  if (!state || !bench.current) return;
  nameSteps(state.steps);
  const node = byId('panel-foot');
  if (state.running && updateRunning(node, state.running)) return;
  refill(node, [
    bench.said ? sentence('stop', bench.said.message, bench.said.remedy) : null,
    failure(bench, state),
    state.running ? running(bench, state.running) : mainButton(bench, state),
  ]);
  if (state.running) updateRunning(node, state.running);
}

function sentence(kind, message, remedy) {
  return el('div', { class: `sentence ${kind}`, role: 'alert' }, sign(kind), el('p', {}, message, remedy ? el('span', { class: 'remedy', text: ` ${remedy}` }) : null));
}

/** How the last run ended, on the step where it did; a finding that stops is told among the findings. */
function failure(bench, state) {
  if (!state.failed || state.running || state.failed.step !== bench.current || bench.here().state === 'stopped') return null;
  const cancelled = state.failed.exit_code === 130;
  return sentence(cancelled ? 'note' : 'stop', state.failed.message, state.failed.remedy);
}

function running(bench, now) {
  return el(
    'div',
    { class: 'running', 'data-run': 'yes' },
    el('p', { role: 'status' }, el('b', { class: 'what' }), el('span', { class: 'label' })),
    el('progress', { max: 1, 'aria-label': 'Progress' }),
    el('p', {}, el('span', { class: 'took' }), button('Cancel', bench.cancel, { id: 'cancel' })),
  );
}

function updateRunning(node, now) {
  const box = node.querySelector('[data-run]');
  if (!box) return false;
  const put = (name, text) => {
    const part = box.querySelector(name);
    if (part.textContent !== text) part.textContent = text;
  };
  put('.what', titles[now.step] ?? now.step ?? '');
  put('.label', now.label ? `: ${now.label}` : '');
  put('.took', duration(now.seconds ?? 0));
  box.querySelector('progress').value = now.fraction ?? 0;
  return true;
}

const titles = {};
const nameSteps = (steps) => steps.forEach((step) => (titles[step.name] = step.title));

/** One main button: run the step, or go on when it is done. */
function mainButton(bench, state) {
  const step = bench.here();
  const blocked = STEPS[step.name].blocked?.(bench) ?? null;
  const next = bench.next();
  const onward = next ? button(`Go on to ${titles[next]}`, () => bench.go(next), { id: 'main', class: 'main-button' }) : null;
  if (['done', 'left out'].includes(step.state)) return onward;
  if (STEPS[step.name].onward && !blocked) return onward;
  if (step.state === 'stopped') return sentence('stop', 'A finding stops the job here.', 'Change a choice and run again, or accept the finding by name, with responsibility.');
  if (blocked) return el('p', { class: 'blocked', id: 'blocked' }, sign('caution'), blocked);
  if (state.problem) return sentence('caution', state.problem.message, state.problem.remedy);
  const words = step.state === 'stale' ? 'Run this step again' : 'Run this step';
  return button(words, () => bench.run(step.name), { id: 'main', class: 'main-button' });
}
