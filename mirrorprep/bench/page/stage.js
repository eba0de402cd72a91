/** The view: one canvas, one camera in parallel projection, drawn only when something changed. */

import * as THREE from './vendor/three.module.min.js';
import { OrbitControls } from './vendor/OrbitControls.js';
import { makeCutter } from './cutter.js';
import { colorBy } from './bodies.js';
import { PAPER, colorOf } from './palette.js';

const DEPTH_STEPS = 2 ** 24;
const MOST_LOOKED_AT = 20_000;
const TURN_STEP = Math.PI / 24;

/** Build the stage on a canvas, or return null where the browser cannot draw in three dimensions. */
export function makeStage(canvas) {
  let renderer;
  try {
    renderer = new THREE.WebGLRenderer({ canvas, antialias: true, stencil: true });
  } catch {
    return null;
  }
  renderer.localClippingEnabled = true;
  renderer.setClearColor(PAPER);
  const stage = { canvas, renderer, scene: new THREE.Scene(), shown: new Map(), origin: new THREE.Vector3(), hooks: new Set() };
  stage.camera = new THREE.OrthographicCamera(-1, 1, 1, -1, 0.1, 10);
  stage.world = new THREE.Group();
  stage.overlay = new THREE.Group();
  stage.cutter = makeCutter(stage);
  stage.world.add(stage.overlay);
  stage.scene.add(stage.world, stage.camera);
  light(stage.camera);
  stage.span = 200;
  stage.controls = orbit(stage);
  drawOnDemand(stage);
  listen(stage);
  return stage;
}

function light(camera) {
  const sun = (strength, x, y, z) => {
    const lamp = new THREE.DirectionalLight('#ffffff', strength);
    lamp.position.set(x, y, z);
    camera.add(lamp, lamp.target);
  };
  camera.add(new THREE.AmbientLight('#fff6e8', 1.05));
  sun(1.35, -0.7, 0.9, 1);
  sun(0.5, 1, 0.1, 0.6);
  sun(0.55, 0, 0, 1);
}

function orbit(stage) {
  const controls = new OrbitControls(stage.camera, stage.canvas);
  controls.rotateSpeed = 0.9;
  controls.addEventListener('change', () => stage.draw());
  return controls;
}

function drawOnDemand(stage) {
  let waiting = false;
  stage.frames = 0;
  stage.draw = () => {
    if (waiting) return;
    waiting = true;
    requestAnimationFrame(() => {
      waiting = false;
      stage.hooks.forEach((hook) => hook());
      stage.renderer.render(stage.scene, stage.camera);
      stage.frames += 1;
    });
  };
}

function listen(stage) {
  new ResizeObserver(() => resize(stage)).observe(stage.canvas.parentElement);
  resize(stage);
  stage.canvas.addEventListener('keydown', (event) => onKey(stage, event));
}

function resize(stage) {
  const { clientWidth: width, clientHeight: height } = stage.canvas.parentElement;
  if (!width || !height) return;
  stage.renderer.setPixelRatio(Math.min(globalThis.devicePixelRatio, 2));
  stage.renderer.setSize(width, height, false);
  frame(stage);
}

/** Fit the camera's box to the canvas; `span` mm lie across the shorter side at zoom 1. */
function frame(stage) {
  const { clientWidth: width, clientHeight: height } = stage.canvas.parentElement;
  const half = stage.span / 2;
  const wide = width >= height ? half * (width / height) : half;
  const high = width >= height ? half : half * (height / width);
  Object.assign(stage.camera, { left: -wide, right: wide, top: high, bottom: -high });
  stage.camera.updateProjectionMatrix();
  stage.draw();
}

/** Millimetres that one pixel shows. */
export const mmPerPixel = (stage) =>
  (stage.camera.top - stage.camera.bottom) / stage.camera.zoom / stage.canvas.parentElement.clientHeight;

const three = (values) => new THREE.Vector3(...values);

/** A place of the scan in mm as a place of the scene, and back. */
export const placed = (stage, mm) => three(mm).sub(stage.origin);
export const inScan = (stage, point) => point.clone().add(stage.origin).toArray();

/**
 * Show these bodies and no others.
 * @param {Array<{id, body, name, map?, opens?, opacity?, visible?, color?, behind?}>} items; `behind` mm pushes one back,
 * so that where two surfaces agree the other is seen
 */
export function show(stage, items) {
  const wanted = new Set(items.map((item) => item.id));
  for (const [id, shown] of stage.shown) if (!wanted.has(id)) remove(stage, id, shown);
  if (!stage.shown.size && items.length) stage.origin.fromArray(items[0].body.header.center_mm);
  items.forEach((item) => put(stage, item));
  stage.cutter.refresh();
  stage.draw();
}

function remove(stage, id, shown) {
  stage.world.remove(shown.mesh);
  shown.mesh.material.dispose();
  stage.shown.delete(id);
}

function put(stage, item) {
  let shown = stage.shown.get(item.id);
  if (shown && shown.mesh.geometry !== item.body.geometry) {
    remove(stage, item.id, shown);
    shown = null;
  }
  if (!shown) {
    shown = { mesh: new THREE.Mesh(item.body.geometry, skinMaterial()) };
    stage.world.add(shown.mesh);
    stage.shown.set(item.id, shown);
  }
  Object.assign(shown, item);
  shown.home = placed(stage, item.body.header.center_mm);
  shown.mesh.position.copy(shown.home);
  shown.mesh.visible = item.visible !== false;
  dress(stage, shown);
}

/** Both sides are drawn; the inside is darker, so that a hole is seen as one. */
function skinMaterial() {
  const material = new THREE.MeshLambertMaterial({ side: THREE.DoubleSide });
  material.onBeforeCompile = (shader) => {
    shader.fragmentShader = shader.fragmentShader.replace(
      '#include <color_fragment>',
      '#include <color_fragment>\n  if (!gl_FrontFacing) diffuseColor.rgb *= 0.42;',
    );
  };
  return material;
}

/** Colour a body plainly or by a map; a see-through one never hides another. */
export function dress(stage, shown) {
  const { material } = shown.mesh;
  const map = shown.map ? shown.body.maps[shown.map] : null;
  if (map) colorBy(shown.body, map);
  const clear = (shown.opacity ?? 1) < 1;
  if (material.vertexColors !== Boolean(map) || material.transparent !== clear) material.needsUpdate = true;
  material.vertexColors = Boolean(map);
  material.color.set(map ? '#ffffff' : (shown.color ?? colorOf(shown.name)));
  material.transparent = clear;
  material.opacity = shown.opacity ?? 1;
  material.depthWrite = !clear;
  shown.mesh.renderOrder = clear ? 50 : 0;
  material.polygonOffset = Boolean(shown.behind);
  material.polygonOffsetUnits = ((shown.behind ?? 0) * DEPTH_STEPS) / (stage.camera.far - stage.camera.near);
}

/** Let the halves part along the pull direction by a way in mm. */
export function open(stage, direction, way) {
  const along = three(direction).normalize();
  for (const shown of stage.shown.values()) {
    shown.mesh.position.copy(shown.home).addScaledVector(along, way * (shown.opens ?? 0));
  }
  stage.cutter.refresh();
  stage.draw();
}

/** The box around all that is shown, in the scene. */
export function extent(stage) {
  const box = new THREE.Box3();
  for (const { mesh, home, body } of stage.shown.values()) {
    if (mesh.visible) box.union(body.geometry.boundingBox.clone().translate(home));
  }
  return box;
}

/** How far the shown surfaces reach along an axis of the scene: lowest and highest. */
export function reach(stage, axis) {
  let [low, high] = [Infinity, -Infinity];
  for (const { mesh, home, body } of stage.shown.values()) {
    if (!mesh.visible) continue;
    const places = body.geometry.getAttribute('position').array;
    const base = home.dot(axis);
    const pace = 3 * Math.max(1, Math.floor(places.length / 3 / MOST_LOOKED_AT));
    for (let i = 0; i < places.length; i += pace) {
      const along = base + places[i] * axis.x + places[i + 1] * axis.y + places[i + 2] * axis.z;
      if (along < low) low = along;
      if (along > high) high = along;
    }
  }
  return { low, high };
}

/** Look at the whole of what is shown; `toward` points from the bodies to the eye. */
export function fit(stage, { up = null, toward = null, room = stage.room ?? 1.12 } = {}) {
  const box = extent(stage);
  if (box.isEmpty()) return;
  stage.room = room;
  const look = toward ? three(toward).normalize() : stage.camera.position.clone().sub(stage.controls.target).normalize();
  const upright = up ? three(up) : stage.camera.up.clone();
  const high = upright.addScaledVector(look, -look.dot(upright)).normalize();
  const wide = new THREE.Vector3().crossVectors(high, look);
  const [h, w, d] = [high, wide, look].map((axis) => reach(stage, axis));
  const middle = new THREE.Vector3();
  [[h, high], [w, wide], [d, look]].forEach(([way, axis]) => middle.addScaledVector(axis, (way.low + way.high) / 2));
  const { clientWidth: width, clientHeight: height } = stage.canvas.parentElement;
  const aspect = width / Math.max(1, height);
  const [tall, broad] = [h.high - h.low, w.high - w.low];
  const span = aspect >= 1 ? Math.max(tall, broad / aspect) : Math.max(broad, tall * aspect);
  aim(stage, middle, box.getSize(new THREE.Vector3()).length() / 2, { up, toward, span: span * room });
}

function aim(stage, target, radius, { up, toward, span }) {
  const { camera } = stage;
  const eye = toward ? three(toward).normalize() : camera.position.clone().sub(stage.controls.target).normalize();
  if (up) stand(stage, three(up).normalize());
  stage.radius = Math.max(stage.radius ?? 0, radius);
  stage.span = span;
  camera.zoom = 1;
  camera.near = 0.01 * radius;
  camera.far = 14 * stage.radius;
  camera.position.copy(target).addScaledVector(eye, 6 * stage.radius);
  stage.controls.target.copy(target);
  stage.controls.update();
  frame(stage);
}

/** Turning goes around the direction that is up. */
function stand(stage, up) {
  if (stage.camera.up.distanceTo(up) < 1e-9) return;
  stage.camera.up.copy(up);
  const enabled = stage.controls.enabled;
  stage.controls.dispose();
  stage.controls = orbit(stage);
  stage.controls.enabled = enabled;
}

/** Bring a place to the middle of the view, seen from outside. */
export function lookAt(stage, mm, reach = 40) {
  const target = placed(stage, mm);
  const middle = extent(stage).getCenter(new THREE.Vector3());
  const outward = target.clone().sub(middle);
  const toward = outward.length() > 1 ? outward.normalize() : null;
  const near = toward && Math.abs(toward.dot(stage.camera.up)) < 0.95 ? toward.toArray() : null;
  aim(stage, target, stage.radius ?? 100, { up: null, toward: near, span: 2.4 * reach });
}

/** The place of the surface under a pointer event, in mm of the scan, or null. */
export function pick(stage, event, names = null) {
  const box = stage.canvas.getBoundingClientRect();
  const at = new THREE.Vector2(
    (2 * (event.clientX - box.left)) / box.width - 1,
    1 - (2 * (event.clientY - box.top)) / box.height,
  );
  const ray = new THREE.Raycaster();
  ray.setFromCamera(at, stage.camera);
  const wanted = (shown) => shown.mesh.visible && (shown.opacity ?? 1) === 1 && (!names || names.includes(shown.name));
  const meshes = [...stage.shown.values()].filter(wanted).map((shown) => shown.mesh);
  const hit = ray.intersectObjects(meshes, false).find((found) => stage.cutter.keeps(found.point));
  return hit ? inScan(stage, hit.point) : null;
}

function onKey(stage, event) {
  const turns = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
  if (turns[event.key]) turn(stage, ...turns[event.key]);
  else if (event.key === '+' || event.key === '=') zoom(stage, 1.15);
  else if (event.key === '-') zoom(stage, 1 / 1.15);
  else if (event.key === '0') fit(stage);
  else return;
  event.preventDefault();
}

function turn(stage, across, over) {
  const offset = stage.camera.position.clone().sub(stage.controls.target);
  const side = new THREE.Vector3().crossVectors(stage.camera.up, offset).normalize();
  offset.applyAxisAngle(stage.camera.up, across * TURN_STEP);
  const tilted = offset.clone().applyAxisAngle(side, over * TURN_STEP);
  const steep = Math.abs(tilted.clone().normalize().dot(stage.camera.up)) > 0.995;
  stage.camera.position.copy(stage.controls.target).add(steep ? offset : tilted);
  stage.controls.update();
  stage.draw();
}

function zoom(stage, factor) {
  stage.camera.zoom = Math.min(200, Math.max(0.1, stage.camera.zoom * factor));
  stage.camera.updateProjectionMatrix();
  stage.draw();
}
