// Fits on the whole scan about a picked place: the plane of a face, the centre of a hole in it or of a stud on it.

// Eigenvectors of a symmetric 3 x 3 matrix, the least eigenvalue's first (Jacobi rotations).
function eigenvectors(matrix) {
  const a = matrix.map(row => [...row]), v = [[1, 0, 0], [0, 1, 0], [0, 0, 1]];
  for (let sweep = 0; sweep < 30; sweep++)
    for (const [p, q] of [[0, 1], [0, 2], [1, 2]]) {
      if (Math.abs(a[p][q]) < 1e-15) continue;
      const angle = 0.5 * Math.atan2(2 * a[p][q], a[q][q] - a[p][p]), c = Math.cos(angle), s = Math.sin(angle);
      for (let k = 0; k < 3; k++) [a[k][p], a[k][q]] = [c * a[k][p] - s * a[k][q], s * a[k][p] + c * a[k][q]];
      for (let k = 0; k < 3; k++) [a[p][k], a[q][k]] = [c * a[p][k] - s * a[q][k], s * a[p][k] + c * a[q][k]];
      for (let k = 0; k < 3; k++) [v[k][p], v[k][q]] = [c * v[k][p] - s * v[k][q], s * v[k][p] + c * v[k][q]];
    }
  return [0, 1, 2].sort((i, j) => a[i][i] - a[j][j]).map(i => unit([v[0][i], v[1][i], v[2][i]]));
}

function planeThrough(points) {
  const middle = times(points.reduce(add, [0, 0, 0]), 1 / points.length), m = [[0, 0, 0], [0, 0, 0], [0, 0, 0]];
  for (const p of points) {
    const d = sub(p, middle);
    for (let i = 0; i < 3; i++) for (let j = 0; j < 3; j++) m[i][j] += d[i] * d[j];
  }
  return { middle, normal: eigenvectors(m)[0] };
}

const height = (plane, p) => dot(sub(p, plane.middle), plane.normal);

// The plane on which most of the points lie to within `reach`, refined on those; null if few agree.
function facePlane(points, reach) {
  let seed = 1, best = null;
  const random = () => { seed = (seed * 1103515245 + 12345) % 2147483648; return Math.floor(seed / 2147483648 * points.length); };
  const sample = points.filter((p, i) => i % Math.ceil(points.length / 3000) === 0);
  for (let trial = 0; trial < 150 && points.length >= 3; trial++) {
    const [a, b, c] = [points[random()], points[random()], points[random()]], across = cross(sub(b, a), sub(c, a));
    if (norm(across) < 1e-6) continue;
    const plane = { middle: a, normal: unit(across) };
    const count = sample.reduce((sum, p) => sum + (Math.abs(height(plane, p)) < reach), 0);
    if (!best || count > best.count) best = { ...plane, count };
  }
  for (let step = 0; best && step < 4; step++) {
    const on = points.filter(p => Math.abs(height(best, p)) < reach);
    if (on.length < 30) return null;
    best = { ...planeThrough(on), count: on.length };
  }
  return best;
}

// Circle through flat places [x, y], of a given radius or of its own (Gauss-Newton, the worst tenth left out).
function circleThrough(places, start, radius = null) {
  let [x, y, r] = [...start, radius ?? places.reduce((sum, p) => sum + Math.hypot(p[0] - start[0], p[1] - start[1]), 0) / places.length];
  for (let step = 0; step < 40; step++) {
    const off = places.map(p => Math.abs(Math.hypot(p[0] - x, p[1] - y) - r));
    const most = [...off].sort((a, b) => a - b)[Math.floor(0.9 * (off.length - 1))];
    const m = [[1e-12, 0, 0], [0, 1e-12, 0], [0, 0, 1e-12]], g = [0, 0, 0];
    places.forEach((p, i) => {
      if (off[i] > most) return;
      const d = Math.hypot(p[0] - x, p[1] - y) || 1e-9, row = [(p[0] - x) / d, (p[1] - y) / d, radius === null ? 1 : 0];
      for (let j = 0; j < 3; j++) {
        g[j] += row[j] * (d - r);
        for (let k = 0; k < 3; k++) m[j][k] += row[j] * row[k];
      }
    });
    const move = solved(m, g);
    x += move[0];
    y += move[1];
    if (radius === null) r += move[2];
    if (Math.hypot(...move) < 1e-7) break;
  }
  return { x, y, r };
}

function solved(m, g) {
  const det = (a, b, c) => dot(a, cross(b, c)), columns = [0, 1, 2].map(i => m.map(row => row[i])), whole = det(...columns);
  return [0, 1, 2].map(i => det(...columns.map((column, j) => (i === j ? g : column))) / whole);
}

// Degrees of the round about [x, y] in which places lie, in steps of 10.
function roundSeen(places, x, y) {
  return 10 * new Set(places.map(p => Math.floor(Math.atan2(p[1] - y, p[0] - x) / (Math.PI / 18)))).size;
}

function flatAxes(normal) {
  const u = unit(cross(Math.abs(normal[0]) < 0.8 ? [1, 0, 0] : [0, 1, 0], normal));
  return [u, cross(normal, u)];
}

const FACE_REACH = 0.8;
const BIN_SPACINGS = 3, RIM_HIGH = 0.27;  // as registration/datum_fit.py reads a rim: the innermost point of three stands outside the edge

// Centre of the hole that is looked into along -toward at `start`. { center, axis, diameter } or { fault }.
function fitHole(all, start, toward, about) {
  const beside = [];
  for (let i = 0; i < all.length; i += 3) {
    const away = [all[i] - start[0], all[i + 1] - start[1], all[i + 2] - start[2]], deep = dot(away, toward);
    if (dot(away, away) - deep * deep < (1.8 * about) ** 2) beside.push([deep, [all[i], all[i + 1], all[i + 2]]]);
  }
  if (beside.length < 40) return { fault: "too few points there" };
  beside.sort((a, b) => b[0] - a[0]);
  const front = beside[Math.floor(0.05 * beside.length)][0];
  const near = beside.filter(([deep]) => deep > front - 1.5 * about).map(([, p]) => p), plane = facePlane(near, FACE_REACH);
  if (!plane) return { fault: "no flat face about the hole" };
  const normal = dot(plane.normal, toward) < 0 ? times(plane.normal, -1) : plane.normal;
  const slope = dot(normal, toward);
  if (slope < 0.25) return { fault: "look more squarely at the face" };
  const on = sub(start, times(toward, dot(sub(start, plane.middle), normal) / slope)), [u, v] = flatAxes(normal);
  const flat = near.filter(p => Math.abs(height(plane, p)) < FACE_REACH).map(p => [dot(sub(p, on), u), dot(sub(p, on), v)]);
  const within = (least, most) => flat.filter(p => { const d = Math.hypot(p[0] - x, p[1] - y); return d > least && d < most; }).length;
  let x = 0, y = 0, r = about / 2, rim = [];
  const spacing = Math.sqrt(Math.PI * (1.6 ** 2 - 0.8 ** 2) * about ** 2 / Math.max(within(0.8 * about, 1.6 * about), 1));
  const bins = Math.max(10, Math.round(Math.PI * about / (BIN_SPACINGS * spacing)));
  for (let step = 0; step < 10; step++) {
    const inner = new Map();
    for (const p of flat) {
      const d = Math.hypot(p[0] - x, p[1] - y), bin = Math.floor((Math.atan2(p[1] - y, p[0] - x) / (2 * Math.PI) + 0.5) * bins);
      if (d > 0.4 * r && d < 2.2 * r && (!inner.has(bin) || d < inner.get(bin)[0])) inner.set(bin, [d, p]);
    }
    rim = [...inner.values()].map(([, p]) => p);
    if (rim.length < 0.66 * bins) return { fault: "no rim of a hole there, or it is not about that wide" };
    ({ x, y, r } = circleThrough(rim, [x, y]));
    if (!(r > 0.2 * about && r < 1.2 * about)) return { fault: "no round hole of about that diameter there" };
  }
  if (within(-1, 0.8 * r) / 0.64 > 0.3 * within(1.1 * r, 1.6 * r) / 1.35) return { fault: "the face is not open there" };
  return { center: add(on, add(times(u, x), times(v, y))), axis: normal, diameter: 2 * (r - RIM_HIGH * spacing) };
}

// Stud on whose side `seed` lies: where its axis meets the face. { center, axis, diameter, length } or { fault }.
function fitStud(all, seed, toward, about) {
  const near = [], reach = Math.max(3 * about, 25);
  for (let i = 0; i < all.length; i += 3) {
    const p = [all[i], all[i + 1], all[i + 2]];
    if (norm(sub(p, seed)) < reach) near.push(p);
  }
  const plane = near.length > 60 && facePlane(near, FACE_REACH);
  if (!plane) return { fault: "no flat face about the stud" };
  const side = Math.sign(height(plane, seed)) || 1, normal = times(plane.normal, side);
  const [u, v] = flatAxes(normal), up = p => dot(sub(p, plane.middle), normal);
  const foot = sub(seed, times(normal, up(seed))), flatten = p => [dot(sub(p, foot), u), dot(sub(p, foot), v)];
  if (up(seed) < 1.5) return { fault: "that place lies on the face; click the stud's side" };
  const standing = near.filter(p => up(p) > 1.5).map(p => [flatten(p), up(p)]);
  const standsHere = standing.filter(([p]) => Math.hypot(...p) < 1.15 * about);
  const top = standsHere.map(([, h]) => h).sort((a, b) => a - b)[Math.floor(0.98 * (standsHere.length - 1))];
  const wall = standsHere.filter(([, h]) => h < top - 1).map(([p]) => p);  // without its end face
  if (wall.length < 20) return { fault: "too few points on the stud" };
  const view = [dot(toward, u), dot(toward, v)], back = about / 2 / (Math.hypot(...view) || 1);
  let found = circleThrough(wall, [-view[0] * back, -view[1] * back], about / 2);
  const seen = roundSeen(wall, found.x, found.y);
  if (seen > 150) found = circleThrough(wall, [found.x, found.y]);
  const off = wall.map(p => Math.abs(Math.hypot(p[0] - found.x, p[1] - found.y) - found.r)).sort((a, b) => a - b);
  if (off[Math.floor(0.7 * off.length)] > 0.6) return { fault: "no round stud of about that diameter there" };
  if (seen < 60) return { fault: "too little of the round was scanned" };
  const heights = standing.filter(([p]) => Math.hypot(p[0] - found.x, p[1] - found.y) < found.r + 0.6).map(([, h]) => h);
  return {
    center: add(foot, add(times(u, found.x), times(v, found.y))), axis: normal, diameter: 2 * found.r,
    length: heights.sort((a, b) => a - b)[Math.floor(0.98 * (heights.length - 1))],
  };
}
