/** Directions as two angles in the frame of the view: around the upright axis, and up from the level. */

const DEG = Math.PI / 180;

/** @returns {{around: number, over: number}} in degrees */
export function angles({ side, front, top }, direction) {
  const along = (axis) => axis.x * direction[0] + axis.y * direction[1] + axis.z * direction[2];
  const over = Math.asin(Math.max(-1, Math.min(1, along(top)))) / DEG;
  return { around: Math.atan2(along(side), along(front)) / DEG, over };
}

export function directionOf({ side, front, top }, around, over) {
  const level = Math.cos(over * DEG);
  const [f, s, t] = [level * Math.cos(around * DEG), level * Math.sin(around * DEG), Math.sin(over * DEG)];
  return ['x', 'y', 'z'].map((axis) => f * front[axis] + s * side[axis] + t * top[axis]);
}
