// Drawing with WebGL2 and turning the view by mouse, touch and keys. Parallel projection: lengths are to scale.

const SURFACE_VERTEX = `#version 300 es
in vec3 place, normal; in float scale;
uniform mat4 body, view; uniform vec3 half_size; uniform float dot_px, nudge;
out vec3 seen; out float scaled, lit;
void main() {
  lit = dot(normal, normal) < 0.1 ? 1.0 : 0.45 + 0.55 * abs(dot(mat3(view) * normal, normalize(vec3(0.3, 0.45, 0.84))));
  seen = (view * body * vec4(place, 1.0)).xyz; scaled = scale;
  gl_Position = vec4(seen.xy / half_size.xy, -(seen.z + nudge) / half_size.z, 1.0); gl_PointSize = dot_px;
}`;

const SURFACE_PIXEL = `#version 300 es
precision highp float;
in vec3 seen; in float scaled, lit;
uniform vec3 bands[8]; uniform vec3 plain; uniform float faint, hatch, dots, only_short, sharp;
out vec4 colour;
vec3 band(float s) {
  if (s < -50.0) return plain;
  if (s < 0.0) return mix(bands[0], bands[1], clamp(s + 1.0, 0.0, 1.0));
  if (s < 1.0) return mix(bands[2], bands[3], s);
  if (s < 2.0) return mix(bands[4], bands[5], s - 1.0);
  return mix(bands[6], bands[7], clamp(s - 2.0, 0.0, 1.0));
}
void main() {
  vec2 pixel = floor(gl_FragCoord.xy / sharp);
  if (faint > 0.5 && mod(floor(gl_FragCoord.x) + floor(gl_FragCoord.y), 2.0) < 1.0) discard;
  bool is_short = scaled >= -50.0 && scaled < 1.0;
  vec3 c = only_short > 0.5 && !is_short ? plain : band(scaled);
  if (dots > 0.5 && dots < 1.5) {
    vec2 away = gl_PointCoord - 0.5;
    if (dot(away, away) > 0.25) discard;
    c *= lit;
  } else if (dots < 0.5) {
    vec3 across = normalize(cross(dFdx(seen), dFdy(seen)));
    if (hatch > 0.5 && is_short) {
      float stripe = step(mod(pixel.x + pixel.y, 9.0), 1.5);
      if (scaled < 0.0) stripe = max(stripe, step(mod(pixel.x - pixel.y, 9.0), 1.5));
      c = mix(c, scaled < 0.0 ? vec3(1.0) : vec3(0.15), 0.55 * stripe);
    }
    c *= 0.66 + 0.34 * abs(dot(across, normalize(vec3(0.3, 0.45, 0.84))));
  }
  colour = vec4(c, 1.0);
}`;

function linked(gl, vertex, pixel) {
  const program = gl.createProgram();
  for (const [kind, text] of [[gl.VERTEX_SHADER, vertex], [gl.FRAGMENT_SHADER, pixel]]) {
    const shader = gl.createShader(kind);
    gl.shaderSource(shader, text);
    gl.compileShader(shader);
    gl.attachShader(program, shader);
  }
  gl.bindAttribLocation(program, 0, "place");
  gl.bindAttribLocation(program, 1, "scale");
  gl.bindAttribLocation(program, 2, "normal");
  gl.linkProgram(program);
  return gl.getProgramParameter(program, gl.LINK_STATUS) ? program : null;
}

// A canvas to draw bodies on, or null where the browser has no WebGL2 or cannot inflate.
function Canvas(canvas, bands) {
  if (typeof DecompressionStream === "undefined") return null;
  const gl = canvas.getContext("webgl2", { antialias: true });
  const program = gl && linked(gl, SURFACE_VERTEX, SURFACE_PIXEL);
  if (!program) return null;
  const where = {};
  for (let i = 0; i < gl.getProgramParameter(program, gl.ACTIVE_UNIFORMS); i++) {
    const name = gl.getActiveUniform(program, i).name.replace("[0]", "");
    where[name] = gl.getUniformLocation(program, name);
  }
  gl.useProgram(program);
  gl.uniform3fv(where.bands, bands.flat().map(value => value / 255));
  gl.enable(gl.DEPTH_TEST);
  gl.enable(gl.POLYGON_OFFSET_FILL);
  gl.polygonOffset(1, 2);
  gl.vertexAttrib1f(1, -1000);  // without a colour of its own a shape is plain
  gl.vertexAttrib3f(2, 0, 0, 0);
  gl.clearColor(0.925, 0.918, 0.902, 1);

  function buffer(kind, data) {
    const made = gl.createBuffer();
    gl.bindBuffer(kind, made);
    gl.bufferData(kind, data, gl.DYNAMIC_DRAW);
    return made;
  }

  // kind: "surface", "dots" or "lines"; `scale` tells each vertex's place on the colour scale, `normals` shade dots.
  function body(kind, points, faces, scale, normals) {
    const array = gl.createVertexArray(), count = faces ? faces.length : points.length / 3;
    gl.bindVertexArray(array);
    const places = buffer(gl.ARRAY_BUFFER, points);
    gl.enableVertexAttribArray(0);
    gl.vertexAttribPointer(0, 3, gl.FLOAT, false, 0, 0);
    let coloured = null;
    if (scale) {
      coloured = buffer(gl.ARRAY_BUFFER, scale);
      gl.enableVertexAttribArray(1);
      gl.vertexAttribPointer(1, 1, gl.FLOAT, false, 0, 0);
    }
    if (normals) {
      buffer(gl.ARRAY_BUFFER, normals);
      gl.enableVertexAttribArray(2);
      gl.vertexAttribPointer(2, 3, gl.BYTE, true, 0, 0);
    }
    if (faces) buffer(gl.ELEMENT_ARRAY_BUFFER, faces);
    gl.bindVertexArray(null);
    return { kind, array, count, faces: Boolean(faces), places, coloured };
  }

  function move(shape, points) {
    gl.bindBuffer(gl.ARRAY_BUFFER, shape.places);
    gl.bufferData(gl.ARRAY_BUFFER, points, gl.DYNAMIC_DRAW);
    shape.count = points.length / 3;
  }

  function recolour(shape, scale) {
    gl.bindBuffer(gl.ARRAY_BUFFER, shape.coloured);
    gl.bufferSubData(gl.ARRAY_BUFFER, 0, scale);
  }

  function start(camera) {
    const sharp = Math.min(window.devicePixelRatio || 1, 2), wide = canvas.clientWidth, high = canvas.clientHeight;
    if (canvas.width !== Math.round(wide * sharp) || canvas.height !== Math.round(high * sharp)) {
      canvas.width = Math.round(wide * sharp);
      canvas.height = Math.round(high * sharp);
    }
    gl.viewport(0, 0, canvas.width, canvas.height);
    gl.clear(gl.COLOR_BUFFER_BIT | gl.DEPTH_BUFFER_BIT);
    const { right, up } = camera.axes(), rows = [right, up, camera.toward];
    const view = [];
    for (let c = 0; c < 3; c++) view.push(rows[0][c], rows[1][c], rows[2][c], 0);
    view.push(...rows.map(row => -dot(row, camera.target)), 1);
    gl.uniformMatrix4fv(where.view, false, view);
    gl.uniform3f(where.half_size, wide / 2 * camera.perPixel, high / 2 * camera.perPixel, camera.reach);
    gl.uniform1f(where.sharp, sharp);
    return sharp;
  }

  function draw(shape, motion, look = {}) {
    if (!shape.count) return;
    const { m, t } = motion;
    gl.uniformMatrix4fv(where.body, false, [m[0], m[3], m[6], 0, m[1], m[4], m[7], 0, m[2], m[5], m[8], 0, ...t, 1]);
    gl.uniform3fv(where.plain, (look.plain || [150, 150, 150]).map(value => value / 255));
    gl.uniform1f(where.faint, look.faint ? 1 : 0);
    gl.uniform1f(where.hatch, look.hatch ? 1 : 0);
    gl.uniform1f(where.only_short, look.onlyShort ? 1 : 0);
    gl.uniform1f(where.dots, ["surface", "dots", "lines"].indexOf(shape.kind));
    gl.uniform1f(where.nudge, shape.kind === "lines" ? 0.6 : 0);
    gl.uniform1f(where.dot_px, look.dot || 2);
    gl.bindVertexArray(shape.array);
    const mode = { surface: gl.TRIANGLES, dots: gl.POINTS, lines: gl.LINES }[shape.kind];
    if (shape.faces) gl.drawElements(mode, shape.count, gl.UNSIGNED_INT, 0);
    else gl.drawArrays(mode, 0, shape.count);
  }

  return { body, move, recolour, start, draw, gl };
}

function Camera(target, toward, up, perPixel, reach) {
  return {
    target, toward: unit(toward), up: unit(up), perPixel, reach,
    axes() {
      let right = cross(this.up, this.toward);
      if (norm(right) < 1e-4) right = cross(Math.abs(this.toward[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0], this.toward);
      right = unit(right);
      return { right, up: cross(this.toward, right) };
    },
    // Pixel from the canvas's top left corner, and how far towards the eye.
    seen(place, canvas) {
      const away = sub(place, this.target), { right, up } = this.axes();
      return [
        canvas.clientWidth / 2 + dot(away, right) / this.perPixel, canvas.clientHeight / 2 - dot(away, up) / this.perPixel,
        dot(away, this.toward),
      ];
    },
    // Where a ray through a pixel starts; it runs along -toward.
    from(x, y, canvas) {
      const { right, up } = this.axes();
      const aside = times(right, (x - canvas.clientWidth / 2) * this.perPixel);
      const above = times(up, (canvas.clientHeight / 2 - y) * this.perPixel);
      return add(add(this.target, times(this.toward, this.reach)), add(aside, above));
    },
    orbit(aside, above) {
      const { right } = this.axes(), origin = [0, 0, 0];
      const about = moved(turn(origin, this.up, -aside), this.toward);
      const tilted = moved(turn(origin, moved(turn(origin, this.up, -aside), right), -above), about);
      if (Math.abs(dot(tilted, this.up)) < 0.9995) this.toward = unit(tilted);
      else this.toward = unit(about);
    },
    pan(x, y) {
      const { right, up } = this.axes();
      this.target = add(this.target, add(times(right, -x * this.perPixel), times(up, y * this.perPixel)));
    },
    zoom(factor) {
      this.perPixel = Math.min(Math.max(this.perPixel * factor, 0.002), 50);
    },
  };
}

// Drag turns, with shift or the right button or two fingers it pans; wheel, pinch, + and - zoom; arrow keys turn.
function steer(canvas, camera, changed, clicked) {
  const held = new Map();
  let travelled = 0;
  canvas.addEventListener("pointerdown", event => {
    canvas.setPointerCapture(event.pointerId);
    held.set(event.pointerId, [event.offsetX, event.offsetY]);
    travelled = 0;
  });
  canvas.addEventListener("pointermove", event => {
    const before = held.get(event.pointerId);
    if (!before) return;
    const now = [event.offsetX, event.offsetY], x = now[0] - before[0], y = now[1] - before[1];
    travelled += Math.abs(x) + Math.abs(y);
    if (held.size === 2) {
      const other = [...held].find(([id]) => id !== event.pointerId)[1];
      const wide = Math.hypot(now[0] - other[0], now[1] - other[1]);
      if (wide > 1) camera.zoom(Math.hypot(before[0] - other[0], before[1] - other[1]) / wide);
      camera.pan(x / 2, y / 2);
    } else if (event.shiftKey || event.buttons === 2) camera.pan(x, y);
    else if (travelled > 3) camera.orbit(x * 0.008, y * 0.008);
    held.set(event.pointerId, now);
    changed();
  });
  const let_go = event => {
    if (held.delete(event.pointerId) && event.type === "pointerup" && travelled < 4 && event.button === 0 && clicked) clicked(event);
  };
  canvas.addEventListener("pointerup", let_go);
  canvas.addEventListener("pointercancel", let_go);
  canvas.addEventListener("contextmenu", event => event.preventDefault());
  canvas.addEventListener("wheel", event => {
    if (document.activeElement !== canvas && !event.ctrlKey) return;  // the page scrolls until the view is clicked
    event.preventDefault();
    camera.zoom(Math.exp(Math.sign(event.deltaY) * 0.12));
    changed();
  }, { passive: false });
  canvas.addEventListener("keydown", event => {
    const way = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] }[event.key];
    if (way && event.shiftKey) camera.pan(-24 * way[0], -24 * way[1]);
    else if (way) camera.orbit(0.12 * way[0], 0.12 * way[1]);
    else if (event.key === "+" || event.key === "=") camera.zoom(0.85);
    else if (event.key === "-") camera.zoom(1 / 0.85);
    else return;
    event.preventDefault();
    changed();
  });
}

// A bar of a round length, to scale.
function scaleBar(element, perPixel) {
  const length = [1000, 500, 200, 100, 50, 20, 10, 5, 2, 1, 0.5, 0.2, 0.1].find(mm => mm / perPixel <= 140) || 0.1;
  element.style.width = `${length / perPixel}px`;
  element.textContent = `${length} mm`;
}
