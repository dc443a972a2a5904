// Numbers out of the page, places and turns, rays. Shared by all pages; touches no element.
// A place is [x, y, z] in mm from the scene's origin. A motion is { m, t }: p -> m p + t, m row by row.

async function inflated(text) {
  const raw = atob(text), bytes = new Uint8Array(raw.length);
  for (let i = 0; i < raw.length; i++) bytes[i] = raw.charCodeAt(i);
  const stream = new Blob([bytes]).stream().pipeThrough(new DecompressionStream("deflate"));
  return new Uint8Array(await new Response(stream).arrayBuffer());
}

// Columns of whole numbers, as outputs/packing.py packs them.
async function unpacked(packed) {
  const bytes = await inflated(packed.data), all = packed.n * packed.k, columns = [];
  for (let c = 0; c < packed.k; c++) {
    const column = new Int32Array(packed.n);
    let before = 0;
    for (let i = 0; i < packed.n; i++) {
      let code = 0;
      for (let plane = 0, at = c * packed.n + i; plane < packed.planes; plane++, at += all) code |= bytes[at] << (8 * plane);
      const value = (code >>> 1) ^ -(code & 1);
      column[i] = before = packed.differences ? before + value : value;
    }
    columns.push(column);
  }
  return columns;
}

async function places(packed) {
  const [x, y, z] = await unpacked(packed), out = new Float32Array(3 * packed.n);
  for (let i = 0; i < packed.n; i++) {
    out[3 * i] = x[i] * packed.step;
    out[3 * i + 1] = y[i] * packed.step;
    out[3 * i + 2] = z[i] * packed.step;
  }
  return out;
}

async function corners(packed) {
  const [first, second, third] = await unpacked(packed), out = new Uint32Array(3 * packed.n);
  for (let i = 0, at = 0; i < packed.n; i++) {
    at += first[i];
    out[3 * i] = at;
    out[3 * i + 1] = at + second[i];
    out[3 * i + 2] = at + third[i];
  }
  return out;
}

const NOTHING = -(1 << 24);

async function lengths(packed) {
  const [steps] = await unpacked(packed), out = new Float32Array(packed.n);
  for (let i = 0; i < packed.n; i++) out[i] = steps[i] === NOTHING ? NaN : steps[i] * packed.step;
  return out;
}

const add = (a, b) => [a[0] + b[0], a[1] + b[1], a[2] + b[2]];
const sub = (a, b) => [a[0] - b[0], a[1] - b[1], a[2] - b[2]];
const times = (a, k) => [a[0] * k, a[1] * k, a[2] * k];
const dot = (a, b) => a[0] * b[0] + a[1] * b[1] + a[2] * b[2];
const cross = (a, b) => [a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]];
const norm = a => Math.sqrt(dot(a, a));
const unit = a => times(a, 1 / (norm(a) || 1));
const at = (array, i) => [array[3 * i], array[3 * i + 1], array[3 * i + 2]];

const STILL = { m: [1, 0, 0, 0, 1, 0, 0, 0, 1], t: [0, 0, 0] };

const turned = (m, p) => [
  m[0] * p[0] + m[1] * p[1] + m[2] * p[2], m[3] * p[0] + m[4] * p[1] + m[5] * p[2], m[6] * p[0] + m[7] * p[1] + m[8] * p[2],
];
const moved = (motion, p) => add(turned(motion.m, p), motion.t);

// First b, then a.
function after(a, b) {
  const m = [];
  for (let r = 0; r < 3; r++)
    for (let c = 0; c < 3; c++) m.push(a.m[3 * r] * b.m[c] + a.m[3 * r + 1] * b.m[3 + c] + a.m[3 * r + 2] * b.m[6 + c]);
  return { m, t: moved(a, b.t) };
}

// Undoes a turn, a shift and an even growth.
function undone(a) {
  const k = 1 / dot([a.m[0], a.m[3], a.m[6]], [a.m[0], a.m[3], a.m[6]]);
  const m = [0, 3, 6, 1, 4, 7, 2, 5, 8].map(i => a.m[i] * k);
  return { m, t: times(turned(m, a.t), -1) };
}

const slid = along => ({ m: STILL.m, t: along });

// Right-handed by `angle`, rad, about the line through `point` along `axis`.
function turn(point, axis, angle) {
  const [x, y, z] = unit(axis), c = Math.cos(angle), s = Math.sin(angle), d = 1 - c;
  const m = [c + x * x * d, x * y * d - z * s, x * z * d + y * s, y * x * d + z * s, c + y * y * d, y * z * d - x * s,
    z * x * d - y * s, z * y * d + x * s, c + z * z * d];
  return { m, t: sub(point, turned(m, point)) };
}

const grown = (point, k) => ({ m: STILL.m.map(value => value * k), t: times(point, 1 - k) });

// A surface that can be asked what a ray meets. Triangles that are neighbours in the list lie near each other.
function Surface(vertices, faces) {
  const each = 96, count = faces.length / 3, boxes = [];
  for (let start = 0; start < count; start += each) {
    const stop = Math.min(start + each, count), low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let i = 3 * start; i < 3 * stop; i++)
      for (let c = 0; c < 3; c++) {
        const value = vertices[3 * faces[i] + c];
        if (value < low[c]) low[c] = value;
        if (value > high[c]) high[c] = value;
      }
    boxes.push({ start, stop, low, high });
  }

  const low = [0, 1, 2].map(c => Math.min(...boxes.map(box => box.low[c])));
  const high = [0, 1, 2].map(c => Math.max(...boxes.map(box => box.high[c])));

  function mayMeet(box, from, way, least, most) {
    for (let c = 0; c < 3; c++) {
      if (Math.abs(way[c]) < 1e-12) {
        if (from[c] < box.low[c] || from[c] > box.high[c]) return false;
        continue;
      }
      const a = (box.low[c] - from[c]) / way[c], b = (box.high[c] - from[c]) / way[c];
      least = Math.max(least, Math.min(a, b));
      most = Math.min(most, Math.max(a, b));
      if (least > most) return false;
    }
    return true;
  }

  // Moeller and Trumbore 1997: distance along the ray, or NaN.
  function meets(face, from, way) {
    const a = at(vertices, faces[3 * face]), e = sub(at(vertices, faces[3 * face + 1]), a), f = sub(at(vertices, faces[3 * face + 2]), a);
    const p = cross(way, f), det = dot(e, p);
    if (Math.abs(det) < 1e-12) return NaN;
    const s = sub(from, a), u = dot(s, p) / det;
    if (u < 0 || u > 1) return NaN;
    const q = cross(s, e), v = dot(way, q) / det;
    return v < 0 || u + v > 1 ? NaN : dot(f, q) / det;
  }

  return {
    // Nearest meeting beyond `least`: { far, face }, or null.
    met(from, way, least = 0) {
      let far = Infinity, face = -1;
      for (const box of boxes)
        if (mayMeet(box, from, way, least, far))
          for (let i = box.start; i < box.stop; i++) {
            const t = meets(i, from, way);
            if (t > least && t < far) { far = t; face = i; }
          }
      return face < 0 ? null : { far, face };
    },
    // Whether a place lies inside a closed surface.
    holds(place) {
      if (place.some((v, c) => v < low[c] || v > high[c])) return false;
      const way = unit([0.5377, 0.2113, 0.8163]);
      let crossings = 0;
      for (const box of boxes)
        if (mayMeet(box, place, way, 0, Infinity))
          for (let i = box.start; i < box.stop; i++) crossings += meets(i, place, way) > 0;
      return crossings % 2 === 1;
    },
  };
}

// Nearest place to p on a triangle (Ericson, Real-Time Collision Detection, 2005, 5.1.5).
function onTriangle(p, a, b, c) {
  const ab = sub(b, a), ac = sub(c, a), ap = sub(p, a), d1 = dot(ab, ap), d2 = dot(ac, ap);
  if (d1 <= 0 && d2 <= 0) return a;
  const bp = sub(p, b), d3 = dot(ab, bp), d4 = dot(ac, bp);
  if (d3 >= 0 && d4 <= d3) return b;
  const vc = d1 * d4 - d3 * d2;
  if (vc <= 0 && d1 >= 0 && d3 <= 0) return add(a, times(ab, d1 / (d1 - d3)));
  const cp = sub(p, c), d5 = dot(ab, cp), d6 = dot(ac, cp);
  if (d6 >= 0 && d5 <= d6) return c;
  const vb = d5 * d2 - d1 * d6;
  if (vb <= 0 && d2 >= 0 && d6 <= 0) return add(a, times(ac, d2 / (d2 - d6)));
  const va = d3 * d6 - d5 * d4;
  if (va <= 0 && d4 >= d3 && d5 >= d6) return add(b, times(sub(c, b), (d4 - d3) / (d4 - d3 + d5 - d6)));
  const whole = va + vb + vc;
  return add(a, add(times(ab, vb / whole), times(ac, vc / whole)));
}

// Nearest place of a body, { place, mm }, by asking all of it.
function nearestOf(body, p) {
  let least = Infinity, place = null;
  if (body.faces) {
    for (let i = 0; i < body.faces.length; i += 3) {
      const q = onTriangle(p, at(body.points, body.faces[i]), at(body.points, body.faces[i + 1]), at(body.points, body.faces[i + 2]));
      const d = dot(sub(p, q), sub(p, q));
      if (d < least) { least = d; place = q; }
    }
  } else {
    const all = body.points, [x, y, z] = p;
    let best = -1;
    for (let i = 0; i < all.length; i += 3) {
      const dx = all[i] - x, dy = all[i + 1] - y, dz = all[i + 2] - z, d = dx * dx + dy * dy + dz * dz;
      if (d < least) { least = d; best = i; }
    }
    if (best >= 0) place = at(all, best / 3);
  }
  return { place, mm: Math.sqrt(least) };
}
