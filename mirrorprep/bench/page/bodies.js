/** Reading the display copies that the server sends, and making them fit to draw. */

import { BufferAttribute, BufferGeometry } from './vendor/three.module.min.js';
import { getBuffer } from './api.js';
import { paint, tableOf } from './palette.js';

const CREASE = Math.cos((40 * Math.PI) / 180);
const KEPT = 24;
const cache = new Map();

/** Unpack the binary form: length, header, positions, indices, maps. */
export function unpack(buffer) {
  const length = new DataView(buffer).getUint32(0, true);
  const header = JSON.parse(new TextDecoder().decode(new Uint8Array(buffer, 4, length)));
  let at = 4 + length;
  const take = (Kind, count) => {
    const values = new Kind(buffer, at, count);
    at += 4 * count;
    return values;
  };
  const whole = (header.triangles ?? 0) > 0;
  const positions = whole ? take(Float32Array, 3 * header.vertices) : new Float32Array(0);
  const indices = whole ? take(Uint32Array, 3 * header.triangles) : new Uint32Array(0);
  const maps = {};
  for (const map of header.maps ?? []) {
    maps[map.name] = { ...map, table: tableOf(map.table), values: take(Float32Array, header.vertices) };
  }
  return { header, positions, indices, maps };
}

/** Load a body under the key of its record; the same key is never loaded twice. */
export async function loadBody(step, name, key) {
  const address = `api/body/${step}/${name}?v=${encodeURIComponent(key ?? '')}`;
  if (!cache.has(address)) {
    if (cache.size >= KEPT) forget(cache.keys().next().value);
    cache.set(address, getBuffer(address).then((buffer) => made(unpack(buffer))));
    cache.get(address).catch(() => cache.delete(address));
  }
  return cache.get(address);
}

function forget(address) {
  cache.get(address).then((body) => body.geometry.dispose()).catch(() => {});
  cache.delete(address);
}

function made({ header, positions, indices, maps }) {
  const geometry = new BufferGeometry();
  const { places, normals } = creased(positions, indices);
  geometry.setAttribute('position', new BufferAttribute(places, 3));
  geometry.setAttribute('normal', new BufferAttribute(normals, 3));
  geometry.computeBoundingSphere();
  geometry.computeBoundingBox();
  return { header, geometry, corners: indices, maps };
}

/** Colour a body's corners by one of its maps. */
export function colorBy(body, map) {
  let colors = body.geometry.getAttribute('color');
  if (!colors) {
    colors = new BufferAttribute(new Float32Array(3 * body.corners.length), 3);
    body.geometry.setAttribute('color', colors);
  }
  paint(colors.array, body.corners, map.values, map);
  colors.needsUpdate = true;
}

/** Every corner gets a place of its own and the mean normal of the faces around it, creases aside. */
function creased(positions, indices) {
  const faces = faceNormals(positions, indices);
  const { start, around } = facesAround(indices, positions.length / 3);
  const places = new Float32Array(3 * indices.length);
  const normals = new Float32Array(3 * indices.length);
  for (let corner = 0; corner < indices.length; corner++) {
    const v = indices[corner];
    const f = 3 * ((corner / 3) | 0);
    meanNormal(faces, f, around, start[v], start[v + 1], normals, 3 * corner);
    for (let axis = 0; axis < 3; axis++) places[3 * corner + axis] = positions[3 * v + axis];
  }
  return { places, normals };
}

function faceNormals(p, indices) {
  const doubled = new Float32Array(indices.length);
  const unit = new Float32Array(indices.length);
  for (let f = 0; f < indices.length; f += 3) {
    const [a, b, c] = [3 * indices[f], 3 * indices[f + 1], 3 * indices[f + 2]];
    const ux = p[b] - p[a], uy = p[b + 1] - p[a + 1], uz = p[b + 2] - p[a + 2];
    const vx = p[c] - p[a], vy = p[c + 1] - p[a + 1], vz = p[c + 2] - p[a + 2];
    const x = uy * vz - uz * vy, y = uz * vx - ux * vz, z = ux * vy - uy * vx;
    const length = Math.hypot(x, y, z) || 1;
    doubled.set([x, y, z], f);
    unit.set([x / length, y / length, z / length], f);
  }
  return { doubled, unit };
}

function facesAround(indices, vertices) {
  const start = new Uint32Array(vertices + 1);
  for (let i = 0; i < indices.length; i++) start[indices[i] + 1]++;
  for (let v = 0; v < vertices; v++) start[v + 1] += start[v];
  const next = start.slice();
  const around = new Uint32Array(indices.length);
  for (let corner = 0; corner < indices.length; corner++) around[next[indices[corner]]++] = 3 * ((corner / 3) | 0);
  return { start, around };
}

function meanNormal({ doubled, unit }, f, around, from, to, out, at) {
  let x = 0, y = 0, z = 0;
  for (let i = from; i < to; i++) {
    const g = around[i];
    const along = unit[f] * unit[g] + unit[f + 1] * unit[g + 1] + unit[f + 2] * unit[g + 2];
    if (along < CREASE) continue;
    x += doubled[g];
    y += doubled[g + 1];
    z += doubled[g + 2];
  }
  const length = Math.hypot(x, y, z) || 1;
  out[at] = x / length;
  out[at + 1] = y / length;
  out[at + 2] = z / length;
}
