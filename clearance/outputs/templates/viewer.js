// The 3D view of a report: the part in its bay, moved by sliders, coloured by clearance.

const SPOT_TILTS = [0.6, 0.25, 1.0, 0.05];
const SNAP_PX = 6;
const FRAME = { roll: "°", lift: " mm", shift: " mm", travel: "°", stroke: " mm" };

function element(kind, words, parent) {
  const made = document.createElement(kind);
  if (words) made.textContent = words;
  if (parent) parent.append(made);
  return made;
}

// Where a clearance stands on the colour scale: below 0 interference, to 1 short, to 2 enough, above plenty.
function onScale(mm, gap, cap, least) {
  if (Number.isNaN(mm)) return -1000;
  const wide = Math.max(gap, least);
  if (mm < 0) return Math.max(mm / wide, -1);
  if (mm < gap) return mm / gap;
  if (mm < gap + wide) return 1 + (mm - gap) / wide;
  return 2 + Math.min((mm - gap - wide) / Math.max(cap - gap - wide, 1e-9), 1);
}

async function readScene(scene) {
  const part = { ...scene.part, points: await places(scene.part.points), faces: await corners(scene.part.faces) };
  part.values = await Promise.all(scene.part.values.map(lengths));
  part.patches = await places(scene.part.patches);
  part.surface = Surface(part.points, part.faces);
  const zones = await Promise.all(scene.zones.map(async (zone, i) => {
    const faces = zone.faces && await corners(zone.faces), points = await places(zone.points);
    return {
      ...zone, points, faces, values: await lengths(zone.values), partValues: part.values[i], on: true,
      surface: faces && Surface(points, faces), on_part: sub(zone.on_part, scene.origin), on_zone: sub(zone.on_zone, scene.origin),
    };
  }));
  const bodies = await Promise.all(scene.bodies.map(async body => (
    { ...body, points: await places(body.points), faces: await corners(body.faces), on: true })));
  return { part, zones, bodies, context: await places(scene.context) };
}

// Every slider: [name in the pose, label, low, high, rest, unit].
function sliders(scene) {
  const all = [], wide = range => range && range[1] > range[0];
  if (scene.rock)
    for (const name of ["roll", "lift", "shift"])
      if (wide(scene.rock[name])) all.push([name, name, ...scene.rock[name], 0, FRAME[name]]);
  scene.zones.forEach((zone, i) => {
    for (const name of ["travel", "stroke"])
      if (zone.moves[name] && wide(zone.moves[name].range))
        all.push([`${name} ${i}`, `${name} of ${zone.name}`, ...zone.moves[name].range, 0, FRAME[name]]);
  });
  if (scene.growth && wide(scene.growth.range)) all.push(["growth", "growth with heat", ...scene.growth.range, 1, ""]);
  return all;
}

function restPose(scene) {
  const pose = { roll: 0, lift: 0, shift: 0, growth: 1 };
  scene.zones.forEach((zone, i) => { pose[`travel ${i}`] = pose[`stroke ${i}`] = 0; });
  return pose;
}

function poseText([name, , , , , unitText], value) {
  if (name === "growth") return `${((value - 1) * 100).toFixed(2)} %`;
  return `${value < 0 ? "−" : "+"}${Math.abs(value).toFixed(2)}${unitText}`;
}

const ringed = (centre, size) => {
  const lines = [];
  for (let c = 0; c < 3; c++)
    for (let i = 0; i < 48; i++)
      for (const angle of [i, i + 1].map(step => step * Math.PI / 24)) {
        const p = [0, 0, 0];
        p[(c + 1) % 3] = Math.cos(angle) * size / 2;
        p[(c + 2) % 3] = Math.sin(angle) * size / 2;
        lines.push(...add(centre, p));
      }
  return lines;
};

async function showScene(scene, root) {
  const canvas = root.querySelector("canvas"), screen = Canvas(canvas, scene.bands.flatMap(band => [band[2], band[3]]));
  if (!screen) return;
  root.hidden = false;
  document.getElementById("view-none").hidden = true;
  const { part, zones, bodies, context } = await readScene(scene), motions = Motions(scene), all = sliders(scene);
  let pose = restPose(scene), spot = scene.deciding, atWorst = false, live = false, waiting = false;
  const by = id => document.getElementById(id);

  let reach = 0;
  for (let i = 0; i < part.points.length; i += 3) reach = Math.max(reach, Math.hypot(part.points[i], part.points[i + 1], part.points[i + 2]));
  const camera = Camera([0, 0, 0], [0.5, -0.7, 0.5], scene.up, 2.3 * reach / canvas.clientHeight, 20 * reach + 5000);
  const home = { ...camera };
  for (const zone of zones) zone.wander = wanderOf(zone, zones.indexOf(zone));

  const shapes = {
    part: screen.body("surface", part.points, part.faces, new Float32Array(part.points.length / 3)),
    patches: screen.body("lines", part.patches),
    context: screen.body("dots", context),
    unseen: screen.body("lines", new Float32Array(scene.unseen.flatMap(u => ringed(sub(u.centre, scene.origin), u.size)))),
    zones: zones.map(zone => screen.body(zone.faces ? "surface" : "dots", zone.points, zone.faces, scaledOwn(zone))),
    bodies: bodies.map(body => screen.body("surface", body.points, body.faces)),
    gap: screen.body("lines", new Float32Array(6)),
  };

  function scaledOwn(zone) {
    return zone.values.map(mm => onScale(mm, zone.gap, zone.cap, scene.band_mm));
  }

  // Farthest that a corner of the part's box moves against the zone, from the neutral pose.
  function wanderOf(zone, i) {
    let far = 0;
    const own = all.filter(slider => /^(roll|lift|shift)$/.test(slider[0]) || slider[0].endsWith(` ${i}`));
    for (let mask = 0; mask < 1 << own.length; mask++) {
      const at = restPose(scene);
      own.forEach((slider, bit) => { at[slider[0]] = slider[mask >> bit & 1 ? 3 : 2]; });
      const seen = after(undone(motions.zone(zone, at, i)), motions.part(at));
      for (const x of [-reach, reach]) for (const y of [-reach, reach]) for (const z of [-reach, reach])
        far = Math.max(far, norm(sub(moved(seen, [x, y, z]), [x, y, z])));
    }
    return far;
  }

  function colour() {
    const count = part.points.length / 3, scale = new Float32Array(count).fill(-1000), margin = new Float32Array(count).fill(Infinity);
    zones.forEach((zone, i) => {
      if (!zone.on) return;
      const values = live ? clearancesAt(part, zone, motions.part(pose), motions.zone(zone, pose, i)) : zone.partValues;
      for (let v = 0; v < count; v++)
        if (values[v] - zone.gap < margin[v]) {
          margin[v] = values[v] - zone.gap;
          scale[v] = onScale(values[v], zone.gap, zone.cap, scene.band_mm);
        }
    });
    screen.recolour(shapes.part, scale);
    let short = 0;
    for (let v = 0; v < count; v++) short += margin[v] < 0;
    const when = live ? "At this pose" : "Over the whole motion";
    by("view-short").textContent = short
      ? `${when}: ${(100 * short / count).toFixed(1)} % of the part's places shown are short of a gap.`
      : `${when}: no place shown is short of a gap.`;
  }

  function spotPlaces(i) {
    const rides = motions.carrier(scene.part.rides, pose);
    return [moved(rides, zones[i].on_part), moved(motions.zone(zones[i], pose, i), zones[i].on_zone)];
  }

  const hiddenFrom = (place, way) => Boolean(part.surface.met(...seenFromPart(place, way), 0.4));
  function seenFromPart(place, way) {
    const back = undone(motions.part(pose));
    return [moved(back, place), unit(turned(back.m, way))];
  }

  function paint() {
    waiting = false;
    const sharp = screen.start(camera), on = id => by(id).checked, hatch = on("show-hatch"), placed = motions.part(pose);
    zones.forEach((zone, i) => {
      if (!zone.on) return;
      const motion = motions.zone(zone, pose, i);
      if (zone.faces) screen.draw(shapes.zones[i], motion, { faint: true, onlyShort: true, plain: [176, 172, 163] });
      else screen.draw(shapes.zones[i], motion, { onlyShort: true, plain: [140, 137, 130], dot: 2 * sharp });
    });
    if (on("show-rest")) screen.draw(shapes.context, STILL, { plain: [190, 187, 180], dot: 1.5 * sharp });
    screen.draw(shapes.part, placed, { hatch });
    bodies.forEach((body, i) => { if (body.on) screen.draw(shapes.bodies[i], placed, { faint: true, plain: [224, 159, 62] }); });
    if (on("show-patches")) screen.draw(shapes.patches, placed, { plain: [20, 20, 20] });
    if (on("show-unseen")) screen.draw(shapes.unseen, STILL, { plain: [20, 20, 20] });
    tag();
    scaleBar(by("view-bar"), camera.perPixel);
    by("view-from").textContent = `Seen from [${camera.toward.map(v => v.toFixed(2)).join(", ")}]`;
  }

  // The gap of the spot as a line with its number; not shown where the part stands in front of it.
  function tag() {
    const label = by("view-tag"), zone = zones[spot];
    label.hidden = !zone || !zone.on || hiddenFrom(spotPlaces(spot)[0], camera.toward);
    by("view-behind").textContent = zone && zone.on && label.hidden ? `The worst spot of ${zone.name} is behind the part from here.` : "";
    if (label.hidden) return;
    const [a, b] = spotPlaces(spot), { gl } = screen;
    screen.move(shapes.gap, new Float32Array([...a, ...b]));
    gl.disable(gl.DEPTH_TEST);
    screen.draw(shapes.gap, STILL, { plain: [10, 10, 10] });
    gl.enable(gl.DEPTH_TEST);
    const [x, y] = camera.seen(times(add(a, b), 0.5), canvas);
    label.textContent = `${zone.name}: ${zone.verdict}, ${zone.proven} mm proven at the worst, gap ${zone.gap} mm`;
    label.style.left = `${Math.min(Math.max(x + 14, 4), canvas.clientWidth - 200)}px`;
    label.style.top = `${Math.min(Math.max(y + 8, 4), canvas.clientHeight - 60)}px`;
  }

  function change() {
    if (!waiting) requestAnimationFrame(paint);
    waiting = true;
  }

  function setLive(on) {
    live = on;
    by(on ? "colour-pose" : "colour-all").checked = true;
    colour();
    change();
  }

  function setPose(wanted, byHand) {
    atWorst = false;
    pose = { ...pose, ...wanted };
    tellPose(byHand);
    setLive(true);
  }

  function tellPose(byHand) {
    for (const slider of all) {
      const input = by(`pose-${all.indexOf(slider)}`);
      if (byHand !== input) input.value = pose[slider[0]];
      input.setAttribute("aria-valuetext", poseText(slider, pose[slider[0]]));
      input.nextElementSibling.textContent = poseText(slider, pose[slider[0]]);
    }
  }

  // Turn to the side from which the spot is seen: across the gap, a little from the zone's side, nothing in front.
  function goTo(i) {
    spot = i;
    const zone = zones[i], worst = zone.worst, at = restPose(scene);
    for (const name of ["roll", "lift", "shift"]) at[name] = worst[`${name}_${name === "roll" ? "deg" : "mm"}`] ?? 0;
    at[`travel ${i}`] = worst.travel_deg ?? 0;
    at[`stroke ${i}`] = worst.stroke_mm ?? 0;
    at.growth = worst.growth;
    zone.on = by(`zone-${i}`).checked = true;
    setPose(at);
    atWorst = true;
    const [a, b] = spotPlaces(i), out = turned(motions.carrier(scene.part.rides, pose).m, times(zone.direction, -1));
    const across = unit(cross(Math.abs(out[0]) < 0.9 ? [1, 0, 0] : [0, 1, 0], out)), beside = cross(out, across);
    let best = null;
    for (let step = 0; step < 24; step++)
      for (const tilt of SPOT_TILTS) {
        const angle = step * Math.PI / 12;
        const side = add(times(across, Math.cos(angle)), times(beside, Math.sin(angle)));
        const way = unit(add(times(side, Math.cos(tilt)), times(out, Math.sin(tilt))));
        const cost = 3 * hiddenFrom(a, way) + 2 * behindZone(a, way) + 0.4 * SPOT_TILTS.indexOf(tilt) - 0.5 * dot(way, scene.up);
        if (!best || cost < best.cost) best = { cost, way };
      }
    camera.toward = best.way;
    camera.target = times(add(a, b), 0.5);
    camera.perPixel = Math.max(90, 5 * norm(sub(a, b))) / canvas.clientHeight;
    canvas.scrollIntoView({ block: "nearest" });
    by("view-read").textContent = `${zone.name} at its worst (${zone.pose}): ${zone.proven} mm proven, gap ${zone.gap} mm.`;
    change();
  }

  function behindZone(place, way) {
    return zones.some((zone, i) => {
      if (!zone.on || !zone.surface) return false;
      const back = undone(motions.zone(zone, pose, i));
      return zone.surface.met(moved(back, place), turned(back.m, way), 0.4);
    });
  }

  // Place of the part under a pixel; at the worst pose, the worst spot itself from within a few pixels.
  function pointedAt(x, y, placed) {
    const [a] = spotPlaces(spot), [u, v] = camera.seen(a, canvas);
    if (atWorst && zones[spot].on && Math.hypot(u - x, v - y) < SNAP_PX && !hiddenFrom(a, camera.toward)) return a;
    const start = camera.from(x, y, canvas), way = times(camera.toward, -1), back = undone(placed), seen = turned(back.m, way);
    const met = part.surface.met(moved(back, start), unit(seen));
    return met && add(start, times(way, met.far / norm(seen)));
  }

  function readAt(x, y) {
    const placed = motions.part(pose), place = pointedAt(x, y, placed);
    if (!place) { by("view-read").textContent = "Point at the part to read its clearance."; return; }
    const told = clearanceOf(place, part, zones, placed, zones.map((zone, i) => motions.zone(zone, pose, i)));
    by("view-read").textContent = told
      ? `Here, at this pose: ${told.mm.toFixed(1)} mm to ${told.zone.name}, gap ${told.zone.gap} mm.` : "No zone is shown.";
  }

  function build() {
    const poses = by("view-pose"), list = by("view-zones");
    all.forEach((slider, i) => {
      const row = element("div", "", poses), label = element("label", slider[1], row), input = element("input", "", row);
      element("output", "", row);
      Object.assign(input, { type: "range", id: `pose-${i}`, min: slider[2], max: slider[3], step: "any", value: slider[4] });
      label.htmlFor = input.id;
      input.addEventListener("input", () => setPose({ [slider[0]]: Number(input.value) }, input));
    });
    const rest = element("button", "as scanned", poses);
    rest.type = "button";
    rest.addEventListener("click", () => setPose(restPose(scene)));
    poses.hidden = !all.length;
    zones.forEach((zone, i) => {
      const row = element("div", "", list), box = element("input", "", row), label = element("label", zone.name, row);
      Object.assign(box, { type: "checkbox", id: `zone-${i}`, checked: true });
      label.htmlFor = box.id;
      element("span", `${zone.verdict}, ${zone.proven} mm`, row);
      box.addEventListener("change", () => { zone.on = box.checked; colour(); change(); });
      const go = element("button", "go to worst spot", row);
      go.type = "button";
      go.setAttribute("aria-label", `go to worst spot of ${zone.name}`);
      go.addEventListener("click", () => goTo(i));
    });
    bodies.forEach((body, i) => {
      const row = element("div", "", by("view-bodies")), box = element("input", "", row), label = element("label", body.name, row);
      Object.assign(box, { type: "checkbox", id: `body-${i}`, checked: true });
      label.htmlFor = box.id;
      element("span", body.note, row);
      box.addEventListener("change", () => { body.on = box.checked; change(); });
    });
    for (const id of ["show-patches", "show-unseen", "show-rest", "show-hatch"]) by(id).addEventListener("change", change);
    by("colour-pose").addEventListener("change", () => setLive(true));
    by("colour-all").addEventListener("change", () => setLive(false));
    by("view-home").addEventListener("click", () => { Object.assign(camera, home); change(); });
  }

  build();
  tellPose();
  setLive(false);
  steer(canvas, camera, change);
  let reading = 0;
  canvas.addEventListener("pointermove", event => {
    if (event.buttons) return;
    cancelAnimationFrame(reading);
    reading = requestAnimationFrame(() => readAt(event.offsetX, event.offsetY));
  });
  canvas.addEventListener("keydown", event => {
    if (event.key === "Enter") readAt(canvas.clientWidth / 2, canvas.clientHeight / 2);
  });
  new ResizeObserver(change).observe(canvas);
  root.dataset.ready = Math.round(performance.now());
}

showScene(JSON.parse(document.getElementById("scene").textContent), document.getElementById("view"));
