/** Picking places on the surface: a click that does not drag. The Enter key picks the middle of the view. */

import { pick } from './stage.js';

const STILL_PX = 4;
let stop = null;

/** Call `onPick` with the place in mm of the scan, until picking is stopped. */
export function startPicking(bench, onPick, names = null) {
  stopPicking(bench);
  const { canvas } = bench.stage;
  let start = null;
  const down = (event) => (start = [event.clientX, event.clientY]);
  const up = (event) => {
    const moved = start ? Math.hypot(event.clientX - start[0], event.clientY - start[1]) : Infinity;
    if (moved > STILL_PX || event.button !== 0) return;
    const mm = pick(bench.stage, event, names);
    if (mm) onPick(mm);
  };
  const key = (event) => {
    if (event.key !== 'Enter') return;
    const box = canvas.getBoundingClientRect();
    const mm = pick(bench.stage, { clientX: box.left + box.width / 2, clientY: box.top + box.height / 2 }, names);
    if (mm) onPick(mm);
  };
  const listeners = { pointerdown: down, pointerup: up, keydown: key };
  for (const [name, run] of Object.entries(listeners)) canvas.addEventListener(name, run);
  canvas.classList.add('picking');
  stop = () => {
    for (const [name, run] of Object.entries(listeners)) canvas.removeEventListener(name, run);
    canvas.classList.remove('picking');
  };
}

export function stopPicking() {
  stop?.();
  stop = null;
}
