/** Cutting through: one clipping plane, and caps that show the cut as hatched solid (hatching after ISO 128-50). */

import * as THREE from './vendor/three.module.min.js';
import { INK, colorOf } from './palette.js';

const FIRST_ORDER = 10;

/** Make the cutter of a stage; it is off until `set` is called. */
export function makeCutter(stage) {
  const cutter = { plane: null, group: new THREE.Group(), only: null };
  stage.world.add(cutter.group);
  /** Keep what lies behind the plane `normal · x = offset` of the scene; `only` limits it to some names. */
  cutter.set = (normal, offset, { only = null, hatch = true } = {}) => {
    cutter.plane = new THREE.Plane(new THREE.Vector3(...normal).negate(), offset);
    cutter.only = only;
    cutter.hatch = hatch;
    cutter.refresh();
    stage.draw();
  };
  cutter.clear = () => {
    if (!cutter.plane) return;
    cutter.plane = null;
    cutter.refresh();
    stage.draw();
  };
  cutter.keeps = (point) => !cutter.plane || cutter.only !== null || cutter.plane.distanceToPoint(point) >= 0;
  cutter.refresh = () => refresh(stage, cutter);
  return cutter;
}

function refresh(stage, cutter) {
  empty(cutter.group);
  let order = FIRST_ORDER;
  for (const shown of stage.shown.values()) {
    const cut = cutter.plane && (!cutter.only || cutter.only.includes(shown.name));
    shown.mesh.material.clippingPlanes = cut ? [cutter.plane] : null;
    const solid = (shown.opacity ?? 1) === 1 && shown.solid !== false;
    if (cut && solid && shown.mesh.visible) addCap(stage, cutter, shown, order++);
  }
}

function empty(group) {
  for (const { material, geometry } of group.children) {
    material.dispose();
    if (material.map) geometry.dispose();
  }
  group.clear();
}

/** Count faces into the stencil, then draw the plane where the ray is still inside the body. */
function addCap(stage, cutter, shown, order) {
  const counted = (side, operation) => {
    const material = new THREE.MeshBasicMaterial({
      side, clippingPlanes: [cutter.plane], colorWrite: false, depthWrite: false, depthTest: false,
      stencilWrite: true, stencilFunc: THREE.AlwaysStencilFunc,
      stencilFail: operation, stencilZFail: operation, stencilZPass: operation,
    });
    const mesh = new THREE.Mesh(shown.mesh.geometry, material);
    mesh.position.copy(shown.mesh.position);
    mesh.renderOrder = order;
    return mesh;
  };
  cutter.group.add(
    counted(THREE.BackSide, THREE.IncrementWrapStencilOp),
    counted(THREE.FrontSide, THREE.DecrementWrapStencilOp),
    capMesh(stage, cutter, shown, order + 0.5),
  );
}

function capMesh(stage, cutter, shown, order) {
  const size = 4 * (stage.radius ?? 500);
  const lean = cutter.hatch ? (LINES[shown.name] ?? 0) : 0;
  const material = new THREE.MeshBasicMaterial({
    map: hatchOf(shade(shown), lean, size), side: THREE.DoubleSide,
    stencilWrite: true, stencilRef: 0, stencilFunc: THREE.NotEqualStencilFunc,
    stencilFail: THREE.ReplaceStencilOp, stencilZFail: THREE.ReplaceStencilOp, stencilZPass: THREE.ReplaceStencilOp,
  });
  const cap = new THREE.Mesh(new THREE.PlaneGeometry(size, size), material);
  const toward = cutter.plane.normal.clone().negate();
  cap.position.copy(cutter.plane.coplanarPoint(new THREE.Vector3())).addScaledVector(toward, 1e-3);
  const middle = shown.home.clone();
  cap.position.addScaledVector(middle.sub(middle.clone().projectOnVector(toward)), 1);
  cap.quaternion.setFromUnitVectors(new THREE.Vector3(0, 0, 1), toward);
  cap.renderOrder = order;
  cap.onAfterRender = (renderer) => renderer.clearStencil();
  return cap;
}

const shade = (shown) => shown.color ?? colorOf(shown.name);

const LINES = { half_a: 1, half_b: -1 };
const textures = new Map();

/** Hatching: thin ink lines on the body's colour, the halves in opposite directions. */
function hatchOf(color, lean, size) {
  const name = `${color}${lean}`;
  if (!textures.has(name)) {
    const texture = new THREE.CanvasTexture(tile(color, lean));
    texture.wrapS = texture.wrapT = THREE.RepeatWrapping;
    texture.colorSpace = THREE.SRGBColorSpace;
    textures.set(name, texture);
  }
  textures.get(name).repeat.set(size / 5, size / 5);
  return textures.get(name);
}

function tile(color, lean) {
  const canvas = document.createElement('canvas');
  canvas.width = canvas.height = 64;
  const pen = canvas.getContext('2d');
  pen.fillStyle = color;
  pen.fillRect(0, 0, 64, 64);
  if (!lean) return canvas;
  pen.strokeStyle = INK;
  pen.globalAlpha = 0.55;
  pen.lineWidth = 4;
  for (const shift of [-64, 0, 64]) {
    pen.beginPath();
    pen.moveTo(lean > 0 ? shift : 64 - shift, 64);
    pen.lineTo(lean > 0 ? shift + 64 : -shift, 0);
    pen.stroke();
  }
  return canvas;
}
