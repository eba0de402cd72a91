/** What is drawn over the bodies: planes, marks of places, loops, arrows. Each kind has a layer of its own. */

import * as THREE from './vendor/three.module.min.js';
import { INK, PLANE } from './palette.js';
import { extent, mmPerPixel, placed, reach } from './stage.js';

const MARK_PX = 6;
const MARGIN = 0.05;

/** A layer by its name, emptied. */
export function layer(stage, name) {
  let group = stage.overlay.getObjectByName(name);
  if (!group) {
    group = new THREE.Group();
    group.name = name;
    stage.overlay.add(group);
  }
  group.traverse((node) => {
    node.material?.dispose();
    node.geometry?.dispose();
  });
  group.clear();
  stage.draw();
  return group;
}

export function clearOverlay(stage) {
  for (const group of [...stage.overlay.children]) layer(stage, group.name);
}

/** The four corners of a plane over all that is shown. */
function rim(stage, { normal, offset_mm: offset }) {
  const n = new THREE.Vector3(...normal).normalize();
  const box = extent(stage);
  const middle = box.getCenter(new THREE.Vector3());
  const shift = n.dot(middle.clone().add(stage.origin)) - offset;
  middle.addScaledVector(n, -shift);
  const up = stage.camera.up.clone();
  const high = up.addScaledVector(n, -up.dot(n));
  if (high.length() < 0.2) high.set(1, 0, 0).addScaledVector(n, -n.x);
  high.normalize();
  const wide = new THREE.Vector3().crossVectors(high, n);
  const [h, w] = [high, wide].map((axis) => {
    const way = reach(stage, axis);
    middle.addScaledVector(axis, (way.low + way.high) / 2 - middle.dot(axis));
    return (0.5 + MARGIN) * (way.high - way.low);
  });
  const corner = (a, b) => middle.clone().addScaledVector(wide, a * w).addScaledVector(high, b * h);
  return { corners: [corner(-1, -1), corner(1, -1), corner(1, 1), corner(-1, 1)], middle, n };
}

/** Draw a plane as a tinted sheet, or as a dashed outline. */
export function drawPlane(stage, group, plane, { outline = false, color = PLANE } = {}) {
  const { corners, middle, n } = rim(stage, plane);
  const line = new THREE.BufferGeometry().setFromPoints([...corners, corners[0]]);
  const pen = outline
    ? new THREE.LineDashedMaterial({ color, dashSize: 5, gapSize: 5 })
    : new THREE.LineBasicMaterial({ color });
  const edge = new THREE.Line(line, pen);
  if (outline) edge.computeLineDistances();
  group.add(edge);
  if (!outline) {
    const sheet = new THREE.BufferGeometry().setFromPoints(corners);
    sheet.setIndex([0, 1, 2, 0, 2, 3]);
    const paint = new THREE.MeshBasicMaterial({ color, transparent: true, opacity: 0.22, side: THREE.DoubleSide, depthWrite: false });
    const mesh = new THREE.Mesh(sheet, paint);
    mesh.renderOrder = 60;
    group.add(mesh);
  }
  stage.draw();
  return { middle, n };
}

/** Mark places as balls of a fixed size on the screen. */
export function drawMarks(stage, name, places, { color = INK, size = MARK_PX, onTop = true } = {}) {
  const group = layer(stage, name);
  for (const mm of places) {
    const ball = new THREE.Mesh(
      new THREE.SphereGeometry(1, 16, 12),
      new THREE.MeshBasicMaterial({ color, depthTest: !onTop, transparent: onTop }),
    );
    ball.position.copy(placed(stage, mm));
    ball.renderOrder = 80;
    ball.userData.px = size;
    group.add(ball);
  }
  keepSize(stage);
  return group;
}

/** Keep marks at their size on the screen, whatever the zoom. */
function keepSize(stage) {
  if (stage.sized) return stage.draw();
  stage.sized = true;
  stage.hooks.add(() => {
    const scale = mmPerPixel(stage);
    stage.overlay.traverse((node) => node.userData.px && node.scale.setScalar(node.userData.px * scale));
  });
  return stage.draw();
}

/** Draw a chain of places, closed or open. */
export function drawChain(stage, name, places, { closed = false, color = INK } = {}) {
  const group = drawMarks(stage, name, places, { color });
  if (places.length < 2) return;
  const points = places.map((mm) => placed(stage, mm));
  if (closed) points.push(points[0]);
  const line = new THREE.Line(
    new THREE.BufferGeometry().setFromPoints(points),
    new THREE.LineBasicMaterial({ color, depthTest: false, transparent: true }),
  );
  line.renderOrder = 79;
  group.add(line);
  stage.draw();
}
