/** Colours of bodies, the same as in the pictures of the traveller, and of maps. */

import { Color, SRGBColorSpace } from './vendor/three.module.min.js';

export const INK = '#22303a';
export const PAPER = '#fcfaf5';
export const PLANE = '#2d6cb0';
export const UNKNOWN = '#b9b9b9';
export const STOP = '#8a1c1c';
export const CAUTION = '#b36b00';
export const NOTE = '#4d6a80';

const BODIES = {
  scan: '#d8cdbb', before: '#d8cdbb', after: '#d8cdbb', skin: '#d8cdbb', recipient: '#d8cdbb',
  donor: '#17666f', mirrored: '#c98a24', part: '#a8492c', casting: '#a8492c', cavity: '#a8492c',
  half_a: '#7d9cc0', half_b: '#e9d6aa', channels: '#2b3a55', sprue: '#2b3a55', vents: '#2b3a55',
};

export const colorOf = (name) => BODIES[name] ?? UNKNOWN;

/** A table of a map as CSS colours and as linear values for the card. */
export function tableOf(rows) {
  const scale = rows.some((row) => row.some((value) => value > 1)) ? 1 / 255 : 1;
  const color = new Color();
  const linear = new Float32Array(rows.length * 3);
  const css = rows.map((row, i) => {
    color.setRGB(row[0] * scale, row[1] * scale, row[2] * scale, SRGBColorSpace);
    color.toArray(linear, 3 * i);
    return `#${color.getHexString()}`;
  });
  return { css, linear, size: rows.length };
}

const unknown = new Color(UNKNOWN).toArray();

/** Write the colours of the values into an array of three numbers a corner. */
export function paint(target, corners, values, { table, low, high }) {
  const last = table.size - 1;
  const scale = last / (high - low || 1);
  for (let i = 0; i < corners.length; i++) {
    const value = values[corners[i]];
    if (Number.isFinite(value)) {
      const at = 3 * Math.min(last, Math.max(0, Math.round((value - low) * scale)));
      target[3 * i] = table.linear[at];
      target[3 * i + 1] = table.linear[at + 1];
      target[3 * i + 2] = table.linear[at + 2];
    } else target.set(unknown, 3 * i);
  }
}
