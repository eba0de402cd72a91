/** The scale bar: a round length, true everywhere in the view, because the projection is parallel. */

import { mmPerPixel } from './stage.js';

const WIDEST_PX = 130;

export function startScale(stage) {
  const node = document.getElementById('scale');
  const [bar, words] = node.children;
  stage.hooks.add(() => {
    node.hidden = stage.shown.size === 0;
    const scale = mmPerPixel(stage);
    const most = scale * WIDEST_PX;
    const power = 10 ** Math.floor(Math.log10(most));
    const length = [5, 2, 1].map((step) => step * power).find((step) => step <= most) ?? power;
    bar.style.width = `${length / scale}px`;
    const text = `${Number(length.toPrecision(2))} mm`;
    if (words.textContent !== text) words.textContent = text;
  });
}
