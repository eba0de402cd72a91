/** The landscape of directions as a disc in equal areas (Lambert's azimuthal projection); a half turn is the same. */

import { getJson } from './api.js';
import { INK, PAPER, STOP } from './palette.js';

/** Shades of depth, while no map has brought its table yet. */
const SHADES = ['#f2e9d2', '#c9c99c', '#7fae8a', '#3f8a86', '#23606f', '#1d3a52', '#16202f'];

export const loadLandscape = () => getJson('api/landscape');

/** Where a direction lies on the disc of radius 1, on the near side. */
function placeOf({ side, front, top }, direction) {
  const along = (axis) => axis.x * direction[0] + axis.y * direction[1] + axis.z * direction[2];
  let [x, y, z] = [along(side), along(top), along(front)];
  if (z < 0) [x, y, z] = [-x, -y, -z];
  const scale = Math.sqrt(1 / (1 + z));
  return [x * scale, y * scale];
}

/** Draw the disc, the best directions and the one that holds. */
export function drawDisc(bench, canvas, now) {
  const { landscape, choose } = bench.memory.parting;
  if (!canvas || !landscape || !bench.frame) return;
  const pen = canvas.getContext('2d');
  const radius = canvas.width / 2 - 14;
  const at = (direction) => {
    const [x, y] = placeOf(bench.frame, direction);
    return [canvas.width / 2 + x * radius, canvas.height / 2 - y * radius];
  };
  pen.clearRect(0, 0, canvas.width, canvas.height);
  paintField(bench, pen, canvas, landscape, at);
  for (const best of landscape.best ?? []) ring(pen, at(best.direction ?? best), 7, '#ffffff', 3);
  if (now) {
    ring(pen, at(now), 13, PAPER, 9);
    ring(pen, at(now), 13, STOP, 5);
  }
  if (choose) listen(canvas, landscape, at, choose, now);
}

/** Each direction paints the cell around it: the nearest direction of a pixel gives its colour. */
function paintField(bench, pen, canvas, landscape, at) {
  const places = landscape.directions.map(at);
  const shades = bench.stage?.shown.get('part')?.body.maps.undercut_mm?.table.css ?? SHADES;
  const most = Math.max(...landscape.share, 1e-9);
  const cell = Math.max(8, (1.5 * canvas.width) / Math.sqrt(places.length));
  pen.save();
  pen.beginPath();
  pen.arc(canvas.width / 2, canvas.height / 2, canvas.width / 2 - 10, 0, 2 * Math.PI);
  pen.clip();
  const order = places.map((_, i) => i).sort((a, b) => landscape.share[b] - landscape.share[a]);
  for (const i of order) {
    pen.fillStyle = shades[Math.min(shades.length - 1, Math.floor((landscape.share[i] / most) * shades.length))];
    pen.beginPath();
    pen.arc(places[i][0], places[i][1], cell * 0.62, 0, 2 * Math.PI);
    pen.fill();
  }
  pen.restore();
  ring(pen, [canvas.width / 2, canvas.height / 2], canvas.width / 2 - 10, INK, 2);
}

function ring(pen, [x, y], radius, color, width) {
  pen.strokeStyle = color;
  pen.lineWidth = width;
  pen.beginPath();
  pen.arc(x, y, radius, 0, 2 * Math.PI);
  pen.stroke();
}

function listen(canvas, landscape, at, choose, now) {
  const nearest = (x, y) => {
    const far = landscape.directions.map((direction) => {
      const [a, b] = at(direction);
      return (a - x) ** 2 + (b - y) ** 2;
    });
    return landscape.directions[far.indexOf(Math.min(...far))];
  };
  canvas.onclick = (event) => {
    const box = canvas.getBoundingClientRect();
    const scale = canvas.width / box.width;
    choose(nearest((event.clientX - box.left) * scale, (event.clientY - box.top) * scale));
  };
  canvas.onkeydown = (event) => {
    const steps = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
    if (!steps[event.key] || !now) return;
    event.preventDefault();
    const [x, y] = at(now);
    const pace = canvas.width / 18;
    choose(nearest(x + steps[event.key][0] * pace, y + steps[event.key][1] * pace));
  };
}
