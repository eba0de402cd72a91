/** Things to take hold of in the view: the mirror plane, and the arrow of the pull direction. */

import * as THREE from './vendor/three.module.min.js';
import { TransformControls } from './vendor/TransformControls.js';
import { INK, PLANE, STOP, colorOf } from './palette.js';
import { extent } from './stage.js';
import { drawPlane, layer } from './overlay.js';

/**
 * Let a plane be moved along its normal and turned.
 * @param {Object} stage
 * @param {{normal: number[], offset_mm: number}} plane
 * @param {{mode: 'move'|'turn', onChange: Function, onDone: Function}} options
 */
export function holdPlane(stage, plane, { mode, onChange, onDone }) {
  const sheet = layer(stage, 'plane');
  const { middle, n } = drawPlane(stage, sheet, plane);
  const proxy = new THREE.Object3D();
  proxy.position.copy(middle);
  proxy.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), n);
  stage.world.add(proxy);
  const handle = new TransformControls(stage.camera, stage.canvas);
  handle.setMode(mode === 'turn' ? 'rotate' : 'translate');
  handle.setSpace('local');
  handle.setSize(1.1);
  handle.setColors(colorOf('mirrored'), colorOf('donor'), PLANE, STOP);
  Object.assign(handle, mode === 'turn' ? { showZ: false, showE: false, showXYZE: false } : { showX: false, showY: false });
  handle.attach(proxy);
  stage.scene.add(handle.getHelper());
  const now = () => planeOf(stage, proxy);
  handle.addEventListener('change', stage.draw);
  handle.addEventListener('objectChange', () => {
    drawPlane(stage, layer(stage, 'plane'), now());
    onChange(now());
  });
  handle.addEventListener('dragging-changed', ({ value }) => {
    stage.controls.enabled = !value;
    if (!value) onDone(now());
  });
  stage.draw();
  return () => {
    stage.scene.remove(handle.getHelper());
    stage.world.remove(proxy);
    handle.detach();
    handle.dispose();
    stage.controls.enabled = true;
    stage.draw();
  };
}

function planeOf(stage, proxy) {
  const normal = new THREE.Vector3(0, 0, 1).applyQuaternion(proxy.quaternion);
  return { normal: normal.toArray(), offset_mm: normal.dot(proxy.position.clone().add(stage.origin)) };
}

/** A sphere around what is shown, and an arrow on it that can be dragged to another direction. */
export function holdDirection(stage, direction, { onChange, onDone }) {
  const group = layer(stage, 'pull');
  const box = extent(stage);
  const middle = box.getCenter(new THREE.Vector3());
  const radius = 0.56 * box.getSize(new THREE.Vector3()).length();
  const arrow = arrowOf(radius);
  group.position.copy(middle);
  group.add(...rings(radius), arrow);
  const held = { direction: new THREE.Vector3(...direction).normalize() };
  held.set = (values) => {
    held.direction.set(...values).normalize();
    arrow.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), held.direction);
    stage.draw();
  };
  held.set(direction);
  const stop = dragOnSphere(stage, { middle, radius, arrow }, {
    onMove: (point) => {
      held.set(point.toArray());
      onChange(held.direction.toArray());
    },
    onDone: () => onDone(held.direction.toArray()),
  });
  /** Where the tip of the arrow is on the screen. */
  held.tip = () => {
    const at = middle.clone().addScaledVector(held.direction, 1.06 * radius).project(stage.camera);
    const screen = stage.canvas.getBoundingClientRect();
    return [screen.left + ((at.x + 1) / 2) * screen.width, screen.top + ((1 - at.y) / 2) * screen.height];
  };
  held.release = () => {
    stop();
    layer(stage, 'pull');
  };
  return held;
}

function rings(radius) {
  const circle = new THREE.BufferGeometry().setFromPoints(
    Array.from({ length: 97 }, (_, i) => new THREE.Vector3(Math.cos((i * Math.PI) / 48), Math.sin((i * Math.PI) / 48), 0).multiplyScalar(radius)),
  );
  const turned = (x, y) => {
    const ring = new THREE.Line(circle.clone(), new THREE.LineBasicMaterial({ color: INK, transparent: true, opacity: 0.28 }));
    ring.rotation.set(x, y, 0);
    return ring;
  };
  return [turned(0, 0), turned(Math.PI / 2, 0), turned(0, Math.PI / 2)];
}

/** Two heads: half A goes along the arrow, half B the other way. */
function arrowOf(radius) {
  const arrow = new THREE.Group();
  const part = (geometry, color, z, flip = false) => {
    const mesh = new THREE.Mesh(geometry.rotateX(flip ? -Math.PI / 2 : Math.PI / 2), new THREE.MeshLambertMaterial({ color }));
    mesh.position.z = z;
    arrow.add(mesh);
    return mesh;
  };
  const thick = 0.018 * radius;
  part(new THREE.CylinderGeometry(thick, thick, 0.34 * radius, 16), STOP, 0.83 * radius);
  part(new THREE.ConeGeometry(4 * thick, 10 * thick, 24), STOP, 1.06 * radius).name = 'grip';
  part(new THREE.SphereGeometry(6 * thick, 16, 12), STOP, 1.06 * radius).material.visible = false;
  part(new THREE.CylinderGeometry(thick, thick, 0.34 * radius, 16), PLANE, -0.83 * radius);
  part(new THREE.ConeGeometry(3 * thick, 7 * thick, 24), PLANE, -1.04 * radius, true);
  return arrow;
}

function dragOnSphere(stage, { middle, radius, arrow }, { onMove, onDone }) {
  const ray = new THREE.Raycaster();
  const aimAt = (event) => {
    const box = stage.canvas.getBoundingClientRect();
    const x = (2 * (event.clientX - box.left)) / box.width - 1;
    ray.setFromCamera(new THREE.Vector2(x, 1 - (2 * (event.clientY - box.top)) / box.height), stage.camera);
  };
  let dragging = false;
  const down = (event) => {
    aimAt(event);
    if (!ray.intersectObject(arrow, true).length) return;
    dragging = true;
    stage.controls.enabled = false;
    stage.canvas.setPointerCapture(event.pointerId);
    event.stopImmediatePropagation();
  };
  const move = (event) => {
    if (!dragging) return;
    aimAt(event);
    onMove(onSphere(ray.ray, middle, radius));
  };
  const up = () => {
    if (!dragging) return;
    dragging = false;
    stage.controls.enabled = true;
    onDone();
  };
  const listeners = { pointerdown: down, pointermove: move, pointerup: up, pointercancel: up };
  for (const [name, run] of Object.entries(listeners)) stage.canvas.addEventListener(name, run, { capture: true });
  return () => {
    for (const [name, run] of Object.entries(listeners)) stage.canvas.removeEventListener(name, run, { capture: true });
  };
}

/** Where a ray meets the sphere, on the side of the eye; beyond its rim, the nearest place of the rim. */
function onSphere(ray, middle, radius) {
  const hit = ray.intersectSphere(new THREE.Sphere(middle, radius), new THREE.Vector3());
  const point = hit ?? ray.closestPointToPoint(middle, new THREE.Vector3());
  return point.sub(middle).normalize();
}
