// How bodies stand at a pose, and how near they are there. `pose` holds degrees, mm and the part's growth factor.

const RAD = Math.PI / 180;
const NEAR_SIDE_MM = 3;

function Motions(scene) {
  const rel = place => sub(place, scene.origin), rock = scene.rock;

  function engine(pose) {
    if (!rock) return STILL;
    const along = add(times(rock.up, pose.lift), times(rock.forward, pose.shift));
    return after(slid(along), turn(rel(rock.point), rock.direction, pose.roll * RAD));
  }

  function own(zone, pose, i) {
    const { travel, stroke } = zone.moves;
    const along = stroke ? slid(times(stroke.axis, pose[`stroke ${i}`])) : STILL;
    return travel ? after(turn(rel(travel.point), travel.axis, pose[`travel ${i}`] * RAD), along) : along;
  }

  // A shaft between two carriers: its inner joint rides on the engine, and it points at the outer one.
  function pointed(zone, pose, i) {
    const inner = rel(zone.moves.link.engine), outer = rel(zone.moves.link.chassis);
    const rocked = engine(pose), to = sub(moved(undone(rocked), moved(own(zone, pose, i), outer)), inner);
    const was = sub(outer, inner), axis = cross(was, to), angle = Math.atan2(norm(axis), dot(was, to));
    return norm(axis) < 1e-9 ? rocked : after(rocked, turn(inner, axis, angle));
  }

  return {
    carrier: (rides, pose) => (rides === "engine" ? engine(pose) : STILL),
    part: pose => {
      const placed = scene.part.rides === "engine" ? engine(pose) : STILL;
      return scene.growth ? after(placed, grown(rel(scene.growth.anchor), pose.growth)) : placed;
    },
    zone: (zone, pose, i) => {
      if (zone.moves.link) return pointed(zone, pose, i);
      return zone.moves.rides === "engine" ? after(engine(pose), own(zone, pose, i)) : own(zone, pose, i);
    },
  };
}

// Which place of a body is near each place of a box: a grid that passes the nearest found so far to its neighbours.
// For colours while a slider moves; the number under the pointer asks the whole body.
function NearGrid(body, low, high) {
  const [x0, y0, z0] = low, side = Math.max(...sub(high, low)) / 56;
  const [nx, ny, nz] = sub(high, low).map(length => Math.max(2, Math.ceil(length / side) + 1));
  const cells = new Int32Array(nx * ny * nz).fill(-1), all = body.points;
  const index = (value, from, count) => Math.min(Math.max(Math.floor((value - from) / side), 0), count - 1);
  const far = (i, x, y, z) => (all[3 * i] - x) ** 2 + (all[3 * i + 1] - y) ** 2 + (all[3 * i + 2] - z) ** 2;
  for (let i = 0; i < all.length / 3; i++) {
    const a = index(all[3 * i], x0, nx), b = index(all[3 * i + 1], y0, ny), c = index(all[3 * i + 2], z0, nz);
    const cell = (a * ny + b) * nz + c, x = x0 + (a + 0.5) * side, y = y0 + (b + 0.5) * side, z = z0 + (c + 0.5) * side;
    if (cells[cell] < 0 || far(i, x, y, z) < far(cells[cell], x, y, z)) cells[cell] = i;
  }
  const half = [];
  for (let i = -1; i <= 0; i++) for (let j = -1; j <= 1; j++) for (let k = -1; k <= 1; k++)
    if (i < 0 || j < 0 || (j === 0 && k < 0)) if (i || j || k) half.push(i, j, k);
  for (let pass = 0; pass < 4; pass++) {
    const way = pass % 2 ? -1 : 1;
    for (let i = 0; i < nx; i++) for (let j = 0; j < ny; j++) for (let k = 0; k < nz; k++) {
      const a = way > 0 ? i : nx - 1 - i, b = way > 0 ? j : ny - 1 - j, c = way > 0 ? k : nz - 1 - k;
      const cell = (a * ny + b) * nz + c, x = x0 + (a + 0.5) * side, y = y0 + (b + 0.5) * side, z = z0 + (c + 0.5) * side;
      let best = cells[cell], least = best < 0 ? Infinity : far(best, x, y, z);
      for (let h = 0; h < half.length; h += 3) {
        const u = a + way * half[h], v = b + way * half[h + 1], w = c + way * half[h + 2];
        if (u < 0 || v < 0 || w < 0 || u >= nx || v >= ny || w >= nz) continue;
        const other = cells[(u * ny + v) * nz + w];
        if (other < 0 || other === best) continue;
        const d = far(other, x, y, z);
        if (d < least) { least = d; best = other; }
      }
      cells[cell] = best;
    }
  }
  // [number of the body's place, mm], or null outside the box.
  return (x, y, z) => {
    const a = Math.floor((x - x0) / side), b = Math.floor((y - y0) / side), c = Math.floor((z - z0) / side);
    if (a < 1 || b < 1 || c < 1 || a >= nx - 1 || b >= ny - 1 || c >= nz - 1) return null;
    const cell = (a * ny + b) * nz + c;
    let least = Infinity, best = -1;
    for (const step of [0, 1, -1, nz, -nz, ny * nz, -ny * nz]) {
      const other = cells[cell + step];
      if (other < 0) continue;
      const d = far(other, x, y, z);
      if (d < least) { least = d; best = other; }
    }
    return best < 0 ? null : [best, Math.sqrt(least)];
  };
}

// Clearance, mm, of each vertex of the part to a zone at a pose: nothing beyond the zone's cap is worked out.
function clearancesAt(part, zone, partMotion, zoneMotion) {
  const seen = after(undone(zoneMotion), partMotion), count = part.points.length / 3, out = new Float32Array(count).fill(zone.cap);
  if (!zone.grid) {
    const reach = zone.cap + zone.wander, low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
    for (let i = 0; i < part.points.length; i++) {
      low[i % 3] = Math.min(low[i % 3], part.points[i]);
      high[i % 3] = Math.max(high[i % 3], part.points[i]);
    }
    zone.grid = NearGrid(zone, low.map(v => v - reach), high.map(v => v + reach));
  }
  const least = new Map(), asked = new Int32Array(count).fill(-1), { m, t } = seen;
  for (let i = 0; i < count; i++) {
    if (Number.isNaN(zone.partValues[i])) { out[i] = NaN; continue; }
    const x = part.points[3 * i], y = part.points[3 * i + 1], z = part.points[3 * i + 2];
    const found = zone.grid(
      m[0] * x + m[1] * y + m[2] * z + t[0], m[3] * x + m[4] * y + m[5] * z + t[1], m[6] * x + m[7] * y + m[8] * z + t[2],
    );
    if (!found || found[1] >= zone.cap) continue;
    out[i] = found[1];
    asked[i] = found[0];
    if (!(least.get(found[0]) <= found[1])) least.set(found[0], found[1]);
  }
  if (!part.closed) return out;
  const back = undone(seen), inside = new Set();
  for (const [place, mm] of least)
    if (mm < zone.cap / 2 && part.surface.holds(moved(back, at(zone.points, place)))) inside.add(place);
  // Of the surface about a place inside, the side that the place came in by is the nearest.
  if (inside.size)
    for (let i = 0; i < count; i++)
      if (inside.has(asked[i]) && out[i] < 1.3 * least.get(asked[i]) + NEAR_SIDE_MM) out[i] *= -1;
  if (zone.closed && zone.surface)
    for (let i = 0; i < count; i++)
      if (out[i] > 0 && out[i] < zone.cap && zone.surface.holds(moved(seen, at(part.points, i)))) out[i] *= -1;
  return out;
}

// The number under the pointer: the zone nearest to its gap, and how near, by asking every body whole.
function clearanceOf(place, part, zones, partMotion, zoneMotions) {
  let told = null;
  zones.forEach((zone, i) => {
    if (!zone.on) return;
    const there = moved(undone(zoneMotions[i]), place), found = nearestOf(zone, there);
    if (!found.place) return;
    const inPart = moved(undone(partMotion), moved(zoneMotions[i], found.place));
    const inside = (part.closed && part.surface.holds(inPart)) || (zone.closed && zone.surface && zone.surface.holds(there));
    const mm = inside ? -found.mm : found.mm;
    if (!told || mm - zone.gap < told.mm - told.zone.gap) told = { zone, mm };
  });
  return told;
}
