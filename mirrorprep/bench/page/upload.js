/** Giving a file: by the button, or dropped on the field. */

import { BenchError, putFile } from './api.js';
import { button, el } from './dom.js';

/** A field that takes a scan for a role: scan, part or recipient. */
export function fileField(bench, role, words) {
  const suffixes = bench.store.schema.suffixes ?? ['.stl', '.ply', '.obj', '.off', '.glb', '.3mf'];
  const input = el('input', { type: 'file', id: `file-${role}`, accept: suffixes.join(','), class: 'only-read', on: { change: () => send(bench, role, input.files[0]) } });
  const zone = el(
    'div',
    { class: 'drop', id: `drop-${role}` },
    el('p', { text: words }),
    button('Choose a file …', () => input.click(), { id: `choose-${role}`, class: 'firm' }),
    input,
    el('p', { class: 'hint', text: `${suffixes.map((suffix) => suffix.replace('.', '').toUpperCase()).join(', ')}. The file stays on this machine; its name is not kept.` }),
  );
  zone.addEventListener('dragover', (event) => {
    event.preventDefault();
    zone.classList.add('over');
  });
  zone.addEventListener('dragleave', () => zone.classList.remove('over'));
  zone.addEventListener('drop', (event) => {
    event.preventDefault();
    zone.classList.remove('over');
    send(bench, role, event.dataTransfer.files[0]);
  });
  return zone;
}

async function send(bench, role, file) {
  if (!file) return;
  await bench.attempt(async () => {
    const most = bench.store.schema.upload_bytes;
    if (most && file.size > most) {
      throw new BenchError(`The file has ${Math.ceil(file.size / 2 ** 20)} MiB; the bench takes ${Math.floor(most / 2 ** 20)}.`, {
        remedy: 'Thin the scan out, or crop it to the region of interest.', status: 413,
      });
    }
    bench.busy = `Taking the file in (${Math.ceil(file.size / 2 ** 20)} MiB) …`;
    bench.render({ whole: true });
    try {
      bench.store.take(await putFile(`api/scan/${role}?name=${encodeURIComponent(file.name)}`, file));
    } finally {
      bench.busy = null;
    }
  });
  bench.render({ whole: true });
}
