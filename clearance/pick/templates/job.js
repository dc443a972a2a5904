// What was picked, as lines of a job file.

const number = (value, digits = 2) => {
  const text = value.toFixed(digits).replace(/\.?0+$/, "");
  return /\./.test(text) ? text : `${text}.0`;
};
const triple = (p, digits) => `[${p.map(value => number(value, digits)).join(", ")}]`;

// A TOML basic string: JSON's escapes are TOML's too, and DEL is the one character only TOML refuses.
const quoted = text => JSON.stringify(text).replace(/\u007f/g, "\\u007F");

// Three numbers out of what somebody typed, or null.
function threeNumbers(text) {
  const found = text.replace(/[[\],;]/g, " ").trim().split(/\s+/).map(Number);
  return found.length === 3 && found.every(Number.isFinite) ? found : null;
}

function landmarkLines(picks) {
  if (!picks.length) return "";
  const rows = picks.map(pick => {
    const part = threeNumbers(pick.part), told = part ? triple(part, 3) : '["x", "y", "z"]';
    return `  { name = ${quoted(pick.name)}, part = ${told}, bay = ${triple(pick.center)} },`;
  });
  const lacking = picks.some(pick => !threeNumbers(pick.part)) ? "# put the same points on the part, mm, for x, y, z\n" : "";
  return `${lacking}[register]\nmethod = "landmarks"\npair = [\n${rows.join("\n")}\n]\n`;
}

function datumLines(pick) {
  const length = pick.kind === "stud" ? `, length = ${number(pick.length)}` : "";
  const feature = `{ center = ${triple(pick.center)}, axis = ${triple(pick.axis, 4)}, diameter = ${number(pick.diameter)}${length} }`;
  return `[[datum]]\nname = ${quoted(pick.name)}\non = "bay"\n${pick.kind} = ${feature}\n`;
}

function zoneLines(box) {
  const where = `{ box = { min = ${triple(box.min)}, max = ${triple(box.max)} } }`;
  return `[[zone]]\nname = ${quoted(box.name)}\nkind = "${box.kind}"\nwhere = ${where}\ngap = ${number(box.gap)}\n`;
}

function jobLines(picks, boxes) {
  const landmarks = picks.filter(pick => pick.as === "landmark"), datums = picks.filter(pick => pick.as === "datum");
  return [landmarkLines(landmarks), ...datums.map(datumLines), ...boxes.filter(box => box.min).map(zoneLines)].filter(Boolean).join("\n");
}
