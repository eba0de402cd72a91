/** All entries of the job file in one place. */

import { byId, button, el, refill, sign } from './dom.js';
import { everySetting } from './entries.js';

export function openSettings(bench) {
  if (!bench.store.schema) return;
  const dialog = byId('settings');
  dialog.dataset.open = 'yes';
  fillSettings(bench);
  dialog.showModal();
  dialog.addEventListener('close', () => delete dialog.dataset.open, { once: true });
}

export function fillSettings(bench, { quiet = false } = {}) {
  const dialog = byId('settings');
  if (!dialog.dataset.open) return;
  if (quiet && !bench.said) return;
  const opened = new Set([...dialog.querySelectorAll('details[open]')].map((node) => node.id));
  refill(dialog, [
    el('header', {}, el('h2', { id: 'settings-title', text: 'All settings' }), button('Close', () => dialog.close(), { id: 'settings-close' })),
    el('p', { class: 'lead', text: 'Every entry of the job file. The same file runs on the command line: mirrorprep run job.toml.' }),
    bench.said ? el('div', { class: 'sentence stop', role: 'alert' }, sign('stop'), el('p', { text: `${bench.said.message} ${bench.said.remedy ?? ''}` })) : null,
    everySetting(bench),
  ]);
  for (const node of dialog.querySelectorAll('details')) node.open = opened.has(node.id);
}
