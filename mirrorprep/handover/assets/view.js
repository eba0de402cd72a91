"use strict";
(() => {
  const byId = (id) => document.getElementById(id);
  const canvas = byId("view-canvas");
  const header = JSON.parse(byId("view-header").textContent);
  const CREASE = Math.cos((40 * Math.PI) / 180);

  /* ---------- small linear algebra: vectors are arrays of three ---------- */
  const add = (a, b) => a.map((x, i) => x + b[i]);
  const scaled = (a, s) => a.map((x) => x * s);
  const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
  const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
  const unit = (a) => scaled(a, 1 / (Math.hypot(...a) || 1));
  const rgb = (hex) => [1, 3, 5].map((i) => parseInt(hex.slice(i, i + 2), 16));

  /* ---------- unpacking ---------- */
  const inflate = async (text) => {
    const bytes = Uint8Array.from(atob(text.trim()), (c) => c.charCodeAt(0));
    const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("gzip"));
    return new Uint8Array(await new Response(stream).arrayBuffer());
  };

  const unpack = (bytes) => {
    let at = 0;
    const joined = (count, width) => {
      const values = new Uint32Array(count);
      for (let place = 0; place < width; place++) {
        for (let i = 0; i < count; i++) values[i] |= bytes[at + i] << (8 * place);
        at += count;
      }
      return values;
    };
    return header.bodies.map((body) => {
      const n = body.vertices;
      const packed = joined(3 * n, 2);
      const positions = new Float32Array(3 * n);
      for (let axis = 0, step = 0; axis < 3; axis++) {
        for (let i = 0; i < n; i++) {
          step = (step + packed[axis * n + i]) & 0xffff;
          positions[3 * i + axis] = body.low[axis] + (step / 65535) * body.span[axis];
        }
      }
      const indices = joined(3 * body.triangles, 4);
      for (let i = 0, last = 0; i < indices.length; i++) {
        last += indices[i] & 1 ? -((indices[i] + 1) / 2) : indices[i] / 2;
        indices[i] = last;
      }
      const maps = {};
      for (const name of body.maps) {
        maps[name] = bytes.slice(at, at + n);
        at += n;
      }
      return { ...body, positions, indices, mapValues: maps };
    });
  };

  /* every corner gets a place of its own and the mean normal of the faces around it, creases aside */
  const cornered = (body) => {
    const { positions, indices } = body;
    const faces = indices.length / 3;
    const flat = new Float32Array(indices.length);
    const direction = new Float32Array(indices.length);
    const thin = new Uint8Array(faces); /* slivers have no direction of their own worth showing */
    for (let f = 0; f < faces; f++) {
      const [a, b, c] = [0, 1, 2].map((k) => positions.subarray(3 * indices[3 * f + k], 3 * indices[3 * f + k] + 3));
      const [ux, uy, uz, vx, vy, vz] = [b[0] - a[0], b[1] - a[1], b[2] - a[2], c[0] - a[0], c[1] - a[1], c[2] - a[2]];
      const n = [uy * vz - uz * vy, uz * vx - ux * vz, ux * vy - uy * vx];
      const length = Math.hypot(n[0], n[1], n[2]) || 1;
      const edge = Math.max(ux * ux + uy * uy + uz * uz, vx * vx + vy * vy + vz * vz);
      thin[f] = length < 0.02 * edge ? 1 : 0;
      for (let axis = 0; axis < 3; axis++) {
        flat[3 * f + axis] = n[axis];
        direction[3 * f + axis] = n[axis] / length;
      }
    }
    const start = new Uint32Array(body.vertices + 1);
    for (const v of indices) start[v + 1]++;
    for (let v = 0; v < body.vertices; v++) start[v + 1] += start[v];
    const next = start.slice();
    const around = new Uint32Array(indices.length);
    indices.forEach((v, corner) => (around[next[v]++] = (corner / 3) | 0));
    const places = new Float32Array(9 * faces);
    const normals = new Float32Array(9 * faces);
    const size = (g) => Math.hypot(flat[g], flat[g + 1], flat[g + 2]);
    indices.forEach((v, corner) => {
      let f = 3 * ((corner / 3) | 0);
      if (thin[f / 3]) {
        for (let at = start[v]; at < start[v + 1]; at++) if (size(3 * around[at]) > size(f)) f = 3 * around[at];
      }
      for (let at = start[v]; at < start[v + 1]; at++) {
        const g = 3 * around[at];
        const along =
          direction[f] * direction[g] + direction[f + 1] * direction[g + 1] + direction[f + 2] * direction[g + 2];
        if (along < CREASE) continue;
        for (let axis = 0; axis < 3; axis++) normals[3 * corner + axis] += flat[g + axis];
      }
      for (let axis = 0; axis < 3; axis++) places[3 * corner + axis] = positions[3 * v + axis];
    });
    return { places, normals };
  };

  /* ---------- drawing ---------- */
  const VERTEX = `#version 300 es
    in vec3 position; in vec3 normal; in vec3 color;
    uniform mat4 camera; uniform mat3 turn; uniform vec3 shift;
    out vec3 tone; out vec3 facing;
    void main() {
      tone = color;
      facing = turn * normal;
      gl_Position = camera * vec4(position + shift, 1.0);
    }`;
  const FRAGMENT = `#version 300 es
    precision highp float;
    in vec3 tone; in vec3 facing;
    uniform float opacity; uniform float relief;
    out vec4 result;
    void main() {
      vec3 n = length(facing) > 0.0 ? normalize(facing) : vec3(0.0, 0.0, 1.0);
      if (!gl_FrontFacing) n = -n;
      float key = max(dot(n, normalize(vec3(-0.7, 0.9, 1.0))), 0.0);
      float fill = max(dot(n, normalize(vec3(1.0, 0.15, 0.6))), 0.0);
      float front = max(n.z, 0.0);
      float light = mix(0.8 + 0.2 * front, 0.34 + 0.5 * key + 0.16 * fill + 0.22 * front, relief);
      result = vec4(min(tone * light, 1.0), 1.0) * opacity;
    }`;

  const program = (gl) => {
    const made = gl.createProgram();
    for (const [kind, source] of [[gl.VERTEX_SHADER, VERTEX], [gl.FRAGMENT_SHADER, FRAGMENT]]) {
      const shader = gl.createShader(kind);
      gl.shaderSource(shader, source);
      gl.compileShader(shader);
      gl.attachShader(made, shader);
    }
    ["position", "normal", "color"].forEach((name, i) => gl.bindAttribLocation(made, i, name));
    gl.linkProgram(made);
    if (!gl.getProgramParameter(made, gl.LINK_STATUS)) throw new Error(gl.getProgramInfoLog(made));
    return made;
  };

  const upload = (gl, body) => {
    const array = gl.createVertexArray();
    gl.bindVertexArray(array);
    const buffer = (slot, data, kind, norm) => {
      const made = gl.createBuffer();
      gl.bindBuffer(gl.ARRAY_BUFFER, made);
      gl.bufferData(gl.ARRAY_BUFFER, data, gl.STATIC_DRAW);
      gl.enableVertexAttribArray(slot);
      gl.vertexAttribPointer(slot, 3, kind, norm, 0, 0);
      return made;
    };
    const { places, normals } = cornered(body);
    buffer(0, places, gl.FLOAT, false);
    buffer(1, normals, gl.FLOAT, false);
    const colors = buffer(2, new Uint8Array(places.length), gl.UNSIGNED_BYTE, true);
    gl.bindVertexArray(null);
    return { ...body, array, colors };
  };

  const paint = (gl, body, map) => {
    const values = map && body.mapValues[map.name];
    const table = map && map.table.match(/../g).map((x) => parseInt(x, 16));
    const tones = new Uint8Array(3 * body.indices.length);
    const tone = [rgb(body.color), [185, 185, 185]];
    body.indices.forEach((v, corner) => {
      const step = values ? values[v] : 0;
      tones.set(step ? table.slice(3 * step - 3, 3 * step) : tone[values ? 1 : 0], 3 * corner);
    });
    gl.bindBuffer(gl.ARRAY_BUFFER, body.colors);
    gl.bufferData(gl.ARRAY_BUFFER, tones, gl.STATIC_DRAW);
    body.relief = values ? 0.35 : 1;
  };

  /* ---------- state ---------- */
  const state = { turn: null, middle: null, scale: 1, open: 0, map: null, bodies: [], plane: null };

  const rest = () => {
    const toward = unit(header.front);
    const right = unit(cross(header.up, toward));
    state.turn = [right, cross(toward, right), toward];
    state.scale = 0;
    state.middle = null;
  };

  const shiftOf = (body) =>
    header.pull ? scaled(header.pull, body.opens * state.open * header.opening) : [0, 0, 0];

  const reach = () => {
    const low = [Infinity, Infinity, Infinity];
    const high = [-Infinity, -Infinity, -Infinity];
    for (const body of state.bodies.filter((b) => b.shown)) {
      const shift = header.pull ? scaled(header.pull, body.opens * header.opening * state.open) : [0, 0, 0];
      for (let corner = 0; corner < 8; corner++) {
        const p = body.low.map((x, i) => x + shift[i] + (corner & (1 << i) ? body.span[i] : 0));
        state.turn.forEach((axis, i) => {
          low[i] = Math.min(low[i], dot(axis, p));
          high[i] = Math.max(high[i], dot(axis, p));
        });
      }
    }
    return low[0] <= high[0] ? { low, high } : { low: [-1, -1, -1], high: [1, 1, 1] };
  };

  const draw = (gl, shader) => {
    const ratio = window.devicePixelRatio || 1;
    const [width, height] = [canvas.clientWidth * ratio, canvas.clientHeight * ratio].map(Math.round);
    if (canvas.width !== width || canvas.height !== height) Object.assign(canvas, { width, height });
    const { low, high } = reach();
    const fitted = Math.max((high[0] - low[0]) / width, (high[1] - low[1]) / height) * 1.12;
    if (!state.scale) state.scale = fitted * ratio;
    if (!state.middle) {
      const local = low.map((x, i) => (x + high[i]) / 2);
      state.middle = [0, 1, 2].map((i) => state.turn.reduce((sum, axis, k) => sum + axis[i] * local[k], 0));
    }
    const scale = state.scale / ratio;
    const depth = 4 * Math.hypot(...high.map((x, i) => x - low[i])) + 1;
    const sizes = [2 / (width * scale), 2 / (height * scale), -1 / depth];
    const rows = state.turn.map((axis, i) => [...scaled(axis, sizes[i]), -dot(axis, state.middle) * sizes[i]]);
    const camera = [0, 1, 2, 3].flatMap((c) => [...rows.map((row) => row[c]), c === 3 ? 1 : 0]);
    const at = (name) => gl.getUniformLocation(shader, name);
    gl.viewport(0, 0, width, height);
    gl.clearColor(0, 0, 0, 0);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    gl.enable(gl.DEPTH_TEST);
    gl.enable(gl.BLEND);
    gl.blendFunc(gl.ONE, gl.ONE_MINUS_SRC_ALPHA);
    gl.useProgram(shader);
    gl.uniformMatrix4fv(at("camera"), false, camera);
    gl.uniformMatrix3fv(at("turn"), false, [0, 1, 2].flatMap((c) => state.turn.map((axis) => axis[c])));
    const show = (body, opacity) => {
      gl.uniform3fv(at("shift"), shiftOf(body));
      gl.uniform1f(at("opacity"), opacity);
      gl.uniform1f(at("relief"), body.relief);
      gl.bindVertexArray(body.array);
      gl.drawArrays(gl.TRIANGLES, 0, body.indices.length);
    };
    state.bodies.filter((body) => body.shown).forEach((body) => show(body, 1));
    if (state.plane && state.plane.shown) {
      gl.depthMask(false);
      show(state.plane, 0.3);
      gl.depthMask(true);
    }
    tell(state.scale);
  };

  /* ---------- words around the picture ---------- */
  const tell = (mmPerPx) => {
    const wanted = 120 * mmPerPx;
    const power = 10 ** Math.floor(Math.log10(wanted));
    const length = [5, 2, 1].map((s) => s * power).find((x) => x <= wanted);
    byId("view-scale").setAttribute("width", (length / mmPerPx).toFixed(1));
    byId("view-scale-words").textContent = `${+length.toPrecision(3)} mm`;
    canvas.dataset.open = state.open.toFixed(2);
    canvas.dataset.apart = (2 * state.open * header.opening).toFixed(2);
    canvas.dataset.map = state.map ? state.map.name : "";
    canvas.dataset.scale = mmPerPx.toPrecision(4);
    canvas.dataset.triangles = state.bodies.filter((b) => b.shown).reduce((n, b) => n + b.triangles, 0);
  };

  const showMap = (gl, map) => {
    state.map = map;
    state.bodies.forEach((body) => paint(gl, body, map));
    const key = byId("view-key");
    key.hidden = !map;
    if (!map) return;
    const pen = byId("view-key-bar").getContext("2d");
    const table = map.table.match(/../g).map((x) => parseInt(x, 16));
    for (let i = 0; i < 255; i++) {
      pen.fillStyle = `rgb(${table.slice(3 * i, 3 * i + 3)})`;
      pen.fillRect(i, 0, 1, 12);
    }
    const words = (x) => `${x > 0 && map.low < 0 ? "+" : ""}${x} ${map.unit}`.replace("-", "−");
    byId("view-key-low").textContent = words(map.low);
    byId("view-key-high").textContent = words(map.high);
  };

  /* ---------- hands ---------- */
  const turnBy = (dx, dy) => {
    const spin = (axis, angle) => {
      const [c, s] = [Math.cos(angle), Math.sin(angle)];
      state.turn = state.turn.map((v) => {
        const along = scaled(axis, dot(axis, v) * (1 - c));
        return add(add(scaled(v, c), scaled(cross(axis, v), s)), along);
      });
    };
    spin(state.turn[1].slice(), -dx);
    spin(state.turn[0].slice(), -dy);
  };
  const moveBy = (dx, dy) => {
    const [right, up] = state.turn;
    state.middle = add(state.middle, add(scaled(right, -dx * state.scale), scaled(up, dy * state.scale)));
  };

  const hands = (redraw) => {
    const fingers = new Map();
    let spread = 0;
    canvas.addEventListener("pointerdown", (event) => {
      canvas.setPointerCapture(event.pointerId);
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      spread = 0;
    });
    for (const name of ["pointerup", "pointercancel"]) {
      canvas.addEventListener(name, (event) => fingers.delete(event.pointerId));
    }
    canvas.addEventListener("pointermove", (event) => {
      const before = fingers.get(event.pointerId);
      if (!before) return;
      const [dx, dy] = [event.clientX - before[0], event.clientY - before[1]];
      fingers.set(event.pointerId, [event.clientX, event.clientY]);
      if (fingers.size > 1) {
        const [a, b] = [...fingers.values()];
        const now = Math.hypot(a[0] - b[0], a[1] - b[1]);
        if (spread) state.scale *= spread / now;
        spread = now;
        moveBy(dx / 2, dy / 2);
      } else if (event.shiftKey || event.buttons & 6) moveBy(dx, dy);
      else turnBy(dx * 0.008, dy * 0.008);
      redraw();
    });
    canvas.addEventListener("contextmenu", (event) => event.preventDefault());
    canvas.addEventListener(
      "wheel",
      (event) => {
        event.preventDefault();
        state.scale *= Math.exp(event.deltaY * 0.001);
        redraw();
      },
      { passive: false },
    );
    canvas.addEventListener("keydown", (event) => {
      const step = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
      if (step) turnBy(step[0] * 0.12, step[1] * 0.12);
      else if (event.key === "+") state.scale /= 1.15;
      else if (event.key === "-") state.scale *= 1.15;
      else return;
      event.preventDefault();
      redraw();
    });
  };

  const controls = (gl, redraw) => {
    const box = byId("view-bodies");
    const all = state.plane ? [...state.bodies, state.plane] : state.bodies;
    all.forEach((body, i) => {
      const label = document.createElement("label");
      const input = Object.assign(document.createElement("input"), { type: "checkbox", checked: body.shown });
      input.id = `view-body-${i}`;
      input.addEventListener("change", () => {
        body.shown = input.checked;
        redraw();
      });
      const swatch = document.createElementNS("http://www.w3.org/2000/svg", "svg");
      const square = document.createElementNS("http://www.w3.org/2000/svg", "rect");
      for (const [key, value] of [["width", "14"], ["height", "14"], ["fill", body.color]]) {
        square.setAttribute(key, value);
      }
      swatch.setAttribute("class", "swatch");
      swatch.setAttribute("viewBox", "0 0 14 14");
      swatch.append(square);
      label.append(input, swatch, document.createTextNode(body.name));
      box.append(label);
    });
    const maps = byId("view-maps");
    if (maps) {
      maps.addEventListener("change", () => {
        showMap(gl, header.maps.find((map) => map.name === maps.value) || null);
        redraw();
      });
    }
    const slider = byId("view-open");
    if (slider) {
      state.open = slider.valueAsNumber / 100;
      slider.addEventListener("input", () => {
        state.open = slider.valueAsNumber / 100;
        redraw();
      });
    }
    byId("view-reset").addEventListener("click", () => {
      rest();
      redraw();
    });
  };

  const planeBody = () => ({
    name: "mirror plane",
    color: header.planeColor,
    opens: 0,
    shown: header.planeShown,
    vertices: 4,
    triangles: 2,
    positions: new Float32Array(header.plane.flat()),
    indices: new Uint32Array([0, 1, 2, 0, 2, 3]),
    mapValues: {},
  });

  const start = async () => {
    const gl = canvas.getContext("webgl2", { antialias: true, alpha: true });
    if (!gl || typeof DecompressionStream === "undefined") {
      canvas.dataset.state = "absent";
      byId("view-absent").hidden = false;
      byId("view-tools").hidden = true;
      canvas.hidden = true;
      return;
    }
    const shader = program(gl);
    state.bodies = unpack(await inflate(byId("view-data").textContent)).map((body) => upload(gl, body));
    if (header.plane) {
      state.plane = upload(gl, planeBody());
      paint(gl, state.plane, null);
    }
    showMap(gl, null);
    rest();
    let asked = false;
    const redraw = () => {
      if (asked) return;
      asked = true;
      requestAnimationFrame(() => {
        asked = false;
        draw(gl, shader);
      });
    };
    controls(gl, redraw);
    hands(redraw);
    window.addEventListener("resize", redraw);
    draw(gl, shader);
    canvas.dataset.state = "drawn";
  };

  start();
})();
