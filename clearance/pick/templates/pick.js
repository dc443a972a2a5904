// The pick page: turn the scan, click, and read off job-file lines.

const CLICK_PX = 8, DEEP_MM = 4, KINDS = ["chassis", "axle", "actuator", "line", "access"];

function element(kind, words, parent, more = {}) {
  const made = document.createElement(kind);
  if (words) made.textContent = words;
  for (const [name, value] of Object.entries(more)) made.setAttribute(name, value);
  if (parent) parent.append(made);
  return made;
}

async function pickOn(scan, root) {
  const canvas = root.querySelector("canvas"), screen = Canvas(canvas, new Array(8).fill([120, 120, 120]));
  if (!screen) return;
  root.hidden = false;
  const by = id => document.getElementById(id);
  by("view-none").hidden = true;
  const all = await places(scan.points), drawn = await shownPlaces(all), facing = await shownNormals();
  let low = [Infinity, Infinity, Infinity], high = [-Infinity, -Infinity, -Infinity];
  for (let i = 0; i < all.length; i++) {
    low[i % 3] = Math.min(low[i % 3], all[i]);
    high[i % 3] = Math.max(high[i % 3], all[i]);
  }
  const wide = Math.max(norm(sub(high, low)), 1), middle = times(add(low, high), 0.5);
  const camera = Camera(middle, [0.6, -0.65, 0.45], [0, 0, 1], 0.8 * wide / canvas.clientHeight, 2 * wide + 100);
  const home = { ...camera }, cloud = screen.body("dots", drawn, null, null, facing), marks = screen.body("lines", new Float32Array(0));
  const picks = [], boxes = [], counts = { landmark: 0, hole: 0, stud: 0, zone: 0 };
  let waiting = false;

  async function shownPlaces(points) {
    const out = new Float32Array(3 * Math.ceil(points.length / 3 / scan.every));
    for (let i = 0; i < out.length / 3; i++) out.set(points.subarray(3 * i * scan.every, 3 * i * scan.every + 3), 3 * i);
    return out;
  }

  async function shownNormals() {
    const [x, y, z] = await unpacked(scan.normals), out = new Int8Array(3 * x.length);
    for (let i = 0; i < x.length; i++) out.set([1.27 * x[i], 1.27 * y[i], 1.27 * z[i]], 3 * i);
    return out;
  }

  function change() {
    if (!waiting) requestAnimationFrame(paint);
    waiting = true;
  }

  function paint() {
    waiting = false;
    const sharp = screen.start(camera), size = Math.min(Math.max(1.2 / camera.perPixel, 2), 6) * sharp;
    screen.draw(cloud, STILL, { plain: [158, 150, 132], dot: size });
    const lines = [...picks.flatMap(crossAt), ...boxes.filter(box => box.min).flatMap(edgesOf)];
    screen.move(marks, new Float32Array(lines));
    screen.gl.disable(screen.gl.DEPTH_TEST);
    screen.draw(marks, STILL, { plain: [150, 40, 0] });
    screen.gl.enable(screen.gl.DEPTH_TEST);
    by("labels").replaceChildren(...[...picks, ...boxes.filter(box => box.min)].map(labelOf));
    scaleBar(by("view-bar"), camera.perPixel);
    by("view-from").textContent = `Seen from [${camera.toward.map(v => v.toFixed(2)).join(", ")}]`;
  }

  const here = place => sub(place, scan.origin), there = place => add(place, scan.origin);

  function crossAt(pick) {
    const arm = 9 * camera.perPixel, p = here(pick.center), lines = [];
    for (let c = 0; c < 3; c++) for (const sign of [-1, 1]) lines.push(...p.map((v, i) => v + (i === c ? sign * arm : 0)));
    return lines;
  }

  function edgesOf(box) {
    const a = here(box.min), b = here(box.max), lines = [], corner = bits => [0, 1, 2].map(c => (bits >> c & 1 ? b[c] : a[c]));
    for (let bits = 0; bits < 8; bits++)
      for (let c = 0; c < 3; c++) if (!(bits >> c & 1)) lines.push(...corner(bits), ...corner(bits | 1 << c));
    return lines;
  }

  function labelOf(item) {
    const [x, y] = camera.seen(here(item.center || item.max), canvas), label = element("span", item.name);
    label.style.left = `${x}px`;
    label.style.top = `${y}px`;
    return label;
  }

  // The scan point that is seen nearest to a pixel: of those in front, the one least aside.
  function pointAt(x, y) {
    const start = camera.from(x, y, canvas), { right, up } = camera.axes(), to = camera.toward, reach = CLICK_PX * camera.perPixel;
    const aside = i => {
      const a = all[i] - start[0], b = all[i + 1] - start[1], c = all[i + 2] - start[2];
      return [Math.hypot(a * right[0] + b * right[1] + c * right[2], a * up[0] + b * up[1] + c * up[2]), a * to[0] + b * to[1] + c * to[2]];
    };
    let front = -Infinity;
    for (let i = 0; i < all.length; i += 3) {
      const [off, deep] = aside(i);
      if (off < reach && deep > front) front = deep;
    }
    let best = -1, least = Infinity;
    for (let i = 0; i < all.length; i += 3) {
      const [off, deep] = aside(i);
      if (off < least && off < reach && deep > front - Math.max(DEEP_MM, reach)) { least = off; best = i; }
    }
    return best < 0 ? null : [all[best], all[best + 1], all[best + 2]];
  }

  function pickAt(x, y) {
    const tool = root.querySelector("input[name=tool]:checked").value, about = Number(by("about").value);
    if ((tool === "hole" || tool === "stud") && !(about > 0)) { say("Say about how wide it is, mm."); return; }
    const point = pointAt(x, y);
    if (tool === "hole") taken(tool, fitHole(all, camera.from(x, y, canvas), camera.toward, about));
    else if (!point) say("No scan point there.");
    else if (tool === "stud") taken(tool, fitStud(all, point, camera.toward, about));
    else if (tool === "box") widenBox(point);
    else taken("landmark", { center: point });
  }

  function taken(kind, found) {
    if (found.fault) { say(`Not picked: ${found.fault}.`); return; }
    const pick = { ...found, kind, name: `${kind} ${++counts[kind]}`, part: "", as: kind === "landmark" ? "landmark" : "datum" };
    pick.center = there(found.center);
    picks.push(pick);
    const wideText = found.diameter ? `, ${number(found.diameter)} mm across` : "";
    say(`${pick.name}: ${triple(pick.center)} mm${wideText}.`);
    list();
  }

  function widenBox(point) {
    if (!boxes.length || boxes[boxes.length - 1].done) newBox();
    const box = boxes[boxes.length - 1], spare = Math.max(Number(by("spare").value) || 0, 0.01), p = there(point);
    box.places.push(p);
    for (const [end, pick, sign] of [["min", Math.min, -1], ["max", Math.max, 1]])
      box[end] = [0, 1, 2].map(c => pick(...box.places.map(q => q[c])) + sign * spare);
    say(`${box.name}: ${box.places.length} places, ${pointsIn(box)} scan points inside.`);
    list();
  }

  function newBox() {
    if (boxes.length) boxes[boxes.length - 1].done = true;
    boxes.push({ name: `zone ${++counts.zone}`, kind: "chassis", gap: 20, places: [], min: null, max: null });
  }

  function pointsIn(box) {
    const a = here(box.min), b = here(box.max);
    let count = 0;
    for (let i = 0; i < all.length; i += 3)
      count += all[i] >= a[0] && all[i] <= b[0] && all[i + 1] >= a[1] && all[i + 1] <= b[1] && all[i + 2] >= a[2] && all[i + 2] <= b[2];
    return count;
  }

  const say = words => { by("view-read").textContent = words; };

  function tell() {
    by("lines").value = jobLines(picks, boxes);
    by("copied").textContent = "";
    change();
  }

  function list() {
    by("picked").replaceChildren(by("picked").querySelector("legend"));
    picks.forEach(pick => pickRow(pick));
    boxes.filter(box => box.min).forEach(box => boxRow(box));
    if (!picks.length && !boxes.some(box => box.min)) element("p", "Nothing yet.", by("picked"), { class: "soft" });
    tell();
  }

  function nameField(item, row, remove) {
    const field = element("input", "", row, { type: "text", "aria-label": `name of ${item.name}` });
    field.value = item.name;
    field.addEventListener("input", () => { item.name = field.value || "unnamed"; tell(); });
    const button = element("button", "remove", row, { type: "button", "aria-label": `remove ${item.name}` });
    button.addEventListener("click", () => { remove(); list(); by("tool-point").focus(); });
  }

  function chooser(row, label, choices, chosen, changed) {
    const select = element("select", "", row, { class: "wide-cell", "aria-label": label });
    for (const [value, words] of choices) element("option", words, select, { value });
    select.value = chosen;
    select.addEventListener("change", () => changed(select.value));
  }

  function pickRow(pick) {
    const row = element("div", "", by("picked"), { class: "row" });
    nameField(pick, row, () => picks.splice(picks.indexOf(pick), 1));
    element("span", `bay ${triple(pick.center)}`, row, { class: "wide-cell" });
    if (pick.kind !== "landmark")
      chooser(
        row, `write ${pick.name} as`, [["datum", `write as ${pick.kind} datum`], ["landmark", "write as landmark"]], pick.as,
        as => { pick.as = as; list(); },
      );
    if (pick.as === "landmark") {
      const part = element("input", "", row, {
        type: "text", class: "wide-cell", placeholder: "on the part: x y z", "aria-label": `${pick.name} on the part, mm: x y z`,
      });
      part.value = pick.part;
      part.addEventListener("input", () => { pick.part = part.value; tell(); });
    }
  }

  function boxRow(box) {
    const row = element("div", "", by("picked"), { class: "row" });
    nameField(box, row, () => boxes.splice(boxes.indexOf(box), 1));
    chooser(row, `kind of ${box.name}`, KINDS.map(kind => [kind, kind]), box.kind, kind => { box.kind = kind; tell(); });
    const told = element("label", "gap, mm ", row, { class: "wide-cell" });
    const gap = element("input", "", told, { type: "number", min: "0", step: "any", "aria-label": `gap of ${box.name}, mm` });
    gap.value = box.gap;
    gap.addEventListener("input", () => { box.gap = Math.max(Number(gap.value) || 0, 0); tell(); });
    for (const end of ["min", "max"]) {
      const cells = element("div", "", row, { class: "wide-cell corners" });
      element("span", end, cells);
      [..."xyz"].forEach((axis, c) => {
        const cell = element("input", "", cells, { type: "number", step: "any", "aria-label": `${end} ${axis} of ${box.name}, mm` });
        cell.value = box[end][c].toFixed(2);
        cell.addEventListener("change", () => {
          if (Number.isFinite(cell.valueAsNumber)) box[end][c] = cell.valueAsNumber;
          const right = box.min.every((value, i) => value < box.max[i]);
          say(right ? `${box.name}: ${pointsIn(box)} scan points inside.` : `${box.name}: min must be below max along every axis.`);
          tell();
        });
      });
    }
  }

  async function copy() {
    by("lines").select();
    try {
      await navigator.clipboard.writeText(by("lines").value);
      by("copied").textContent = "Copied.";
    } catch {
      by("copied").textContent = document.execCommand("copy") ? "Copied." : "The lines are selected: copy them with the keyboard.";
    }
  }

  steer(canvas, camera, change, event => pickAt(event.offsetX, event.offsetY));
  canvas.addEventListener("keydown", event => {
    if (event.key === "Enter") pickAt(canvas.clientWidth / 2, canvas.clientHeight / 2);
  });
  by("new-box").addEventListener("click", () => {
    if (boxes.length && !boxes[boxes.length - 1].min) return;
    newBox();
    by("tool-box").checked = true;
    say("Click places that the new box must hold.");
  });
  by("view-home").addEventListener("click", () => { Object.assign(camera, home); change(); });
  for (const button of root.querySelectorAll(".along"))
    button.addEventListener("click", () => {
      const axis = "xyz".indexOf(button.dataset.axis);
      camera.toward = [0, 1, 2].map(c => (c === axis ? (axis === 1 ? -1 : 1) : 0));
      change();
    });
  by("copy").addEventListener("click", copy);
  new ResizeObserver(change).observe(canvas);
  list();
  root.dataset.ready = Math.round(performance.now());
}

pickOn(JSON.parse(document.getElementById("scan").textContent), document.getElementById("view"));
