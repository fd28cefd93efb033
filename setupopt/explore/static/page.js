"use strict";
// State of this page, what the server answered last, and how both are drawn. No text of the project is ever
// put in as markup: textContent and attributes alone.

const $ = id => document.getElementById(id);
const WHEELS = ["FL", "FR", "RL", "RR"];
const DASHES = [[], [7, 4], [2, 3], [9, 3, 2, 3], [14, 4], [4, 4], [1, 4]];
const COLOURS = ["#1d2b3a", "#0f7c6c", "#a23a17", "#5b3f9e", "#94690a", "#2468a8", "#7a2c63", "#3f6b1f"];
const QUIET = "#8a8f96";
const REST = 160;          // ms without a movement, after which the exact answer is asked for
const REFRESH = 1500;      // ms between exact answers while a slider moves on
let about, state, baseline, basis = null, shown = null, pinned = null;
let history = [], before = null, moved = 0, refreshed = 0;
let quickBusy = false, exactBusy = false, wanted = false, restTimer = 0;
let questions = 0, arrived = null, shownFor = null, shownNumber = 0;
window.redraws = 0;        // counted for the benchmark

function make(tag, parent, text, attributes = {}) {
  const one = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) one.setAttribute(name, value);
  if (text !== undefined) one.textContent = text;
  if (parent) parent.append(one);
  return one;
}
// A text that is put in anew costs a new layout even where it is the same.
function write(one, text) { if (one.textContent !== text) one.textContent = text; }
const copy = value => JSON.parse(JSON.stringify(value));
const same = (one, other) => JSON.stringify(one) === JSON.stringify(other);
const words = (value, digits = 3) => value === null || value === undefined ? "-" : value.toFixed(digits);

async function ask(path, question = {}) {
  const reply = await fetch(path, {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(question)});
  const answer = await reply.json();
  if (!reply.ok) throw new Error(answer.error);
  return answer;
}
function problem(error) {
  $("error").textContent = error instanceof TypeError ? "No answer: has `setupopt explore` been stopped?" : error.message;
}

// ---- asking: quick answers while a slider moves, the exact one when it rests -----------------------------

const question = () => ({state, attitude: +$("attitude").value, place: +$("place").value});

function move() {
  moved = performance.now();
  wanted = true;
  if (document.body.dataset.state === "exact") mark("waiting");
  quick();
  clearTimeout(restTimer);
  restTimer = setTimeout(exact, REST);
}

// The next question is sent before an answer is drawn: the server works while the browser draws.
async function quick() {
  if (quickBusy || !wanted || !basis) return;
  quickBusy = true;
  wanted = false;
  const asked = copy(question());
  asked.number = ++questions;
  try {
    const answer = await ask("/answer", {...asked, near: basis, detail: isSeen("here") || isSeen("drawn")});
    if (!answer.exact && performance.now() - refreshed > REFRESH) exact();
    if (!arrived) requestAnimationFrame(() => { const [last, of] = arrived; arrived = null; show(last, of); });
    arrived = [answer, asked];
  } catch (error) { wanted = false; problem(error); }
  quickBusy = false;
  if (wanted) quick();
}

async function exact() {
  if (exactBusy) { clearTimeout(restTimer); restTimer = setTimeout(exact, 40); return; }
  exactBusy = true;
  refreshed = performance.now();
  const asked = copy(question());
  asked.number = ++questions;
  try {
    const answer = await ask("/answer", asked);
    basis = asked.state;
    if (isNow(asked)) show(answer, asked);
  } catch (error) { problem(error); }
  refreshed = performance.now();
  exactBusy = false;
}

const isNow = asked => same({...asked, number: 0}, {...question(), number: 0});
// An answer that comes late never replaces a newer one, nor an approximate one the exact one of the same question.
function show(answer, asked) {
  if (asked.number < shownNumber || (shown && shown.exact && shown.here && same({...shownFor, number: 0}, {...asked, number: 0}))) return;
  shown = answer;
  shownFor = asked;
  shownNumber = asked.number;
  write($("error"), "");
  if (answer.changed) write($("changed"), answer.changed.length ? `Changed on disk since this page was started: ${answer.changed.join(", ")}. The numbers are those of the old files: stop setupopt explore and start it again.` : "");
  mark(answer.exact && isNow(asked) ? "exact" : "approximate");
  draw();
  window.redraws += 1;
}

function mark(kind) {
  document.body.dataset.state = kind;
  $("mark").textContent = {exact: "exact", approximate: "\u2248 approximate, the exact answer follows", waiting: "\u2248 computing"}[kind];
}

async function pin(newBaseline) {
  if (newBaseline) baseline = copy(newBaseline);
  try {
    pinned = await ask("/answer", {...question(), state: baseline});
    if (shown) draw();
  } catch (error) { problem(error); }
}

// ---- curves ------------------------------------------------------------------------------------------------

function hatch(plot) {
  const bad = shown ? shown.bad : [], context = plot.ctx, {left, top, width, height} = plot.bbox;
  const x = value => plot.valToPos(value, "x", true);
  context.save();
  context.beginPath();
  bad.forEach((is, k) => {
    if (!is) return;
    const from = k ? (x(about.at[k - 1]) + x(about.at[k])) / 2 : left;
    const to = k < bad.length - 1 ? (x(about.at[k]) + x(about.at[k + 1])) / 2 : left + width;
    context.rect(from, top, to - from, height);
  });
  context.clip();
  context.beginPath();
  for (let at = left - height; at < left + width; at += 9) { context.moveTo(at, top + height); context.lineTo(at + height, top); }
  context.strokeStyle = "rgba(162, 58, 23, 0.4)";
  context.lineWidth = 1;
  context.stroke();
  context.restore();
}
function cursor(plot) {
  const context = plot.ctx, at = plot.valToPos(about.at[+$("place").value], "x", true);
  context.save();
  context.strokeStyle = "#4c545d";
  context.setLineDash([3, 3]);
  context.beginPath();
  context.moveTo(at, plot.bbox.top);
  context.lineTo(at, plot.bbox.top + plot.bbox.height);
  if (plot.scales.y.min < 0 && plot.scales.y.max > 0) {
    const zero = plot.valToPos(0, "y", true);
    context.moveTo(plot.bbox.left, zero);
    context.lineTo(plot.bbox.left + plot.bbox.width, zero);
  }
  context.stroke();
  context.restore();
}

function chart(title, lines, rows, kept, digits, wide = false) {
  const box = make("div", $("charts"), undefined, {class: wide ? "chart wide" : "chart"});
  make("h3", box, title);
  const series = [{label: about.at_words, value: (u, v) => v === null ? "-" : String(v)}];
  const value = (u, v) => words(v, digits);
  for (const [k, label] of lines.entries()) series.push({label, value, stroke: COLOURS[k % 8], width: 1.8, dash: DASHES[k % 7], spanGaps: false, points: {show: false}});
  for (const label of kept) series.push({label, value, stroke: QUIET, width: 1.3, dash: [5, 4], points: {show: false}});
  const room = () => box.clientWidth;
  const height = wide ? 300 : 190;
  const axis = {stroke: "#1d2b3a", font: "12px sans-serif", grid: {stroke: "#e4e7ea", width: 1}, size: 46};
  const plot = new uPlot({
    width: room(), height, series, scales: {x: {time: false}, y: {range: (u, low, high) => low === null ? [0, 1] : uPlot.rangeNum(low, high, 0.1, true)}},
    axes: [{...axis, size: 34}, axis], legend: {live: true}, cursor: {drag: {x: false, y: false}},
    hooks: {drawClear: [hatch], draw: [cursor]},
  }, [about.at, ...lines.concat(kept).map(() => about.at.map(() => null))], box);
  if (!wide) [...box.querySelectorAll(".u-series")].slice(1 + lines.length).forEach(row => { row.hidden = true; });
  watch(box, () => {
    plot.setData([about.at, ...rows()]);
    if (shown.exact) plot.setLegend({idx: +$("place").value});
  });
  new ResizeObserver(() => { if (room() !== plot.width) plot.setSize({width: room(), height}); }).observe(box);
}

// Margins under -1 are drawn at -1: how fast it slides is not shown.
const cut = row => row.map(value => value === null ? null : Math.max(value, -1));
const least = rows => rows[0].map((_, k) => {
  const values = rows.slice(0, -1).map(row => row[k]);
  return values.includes(null) ? null : Math.max(Math.min(...values), -1);
});

function makeCharts() {
  const curves = (name, count) => () => [...shown.lines[name], ...(pinned ? pinned.lines[name] : Array(count).fill(about.at.map(() => null)))];
  chart("Grip margin by attitude; under 0 it slides, a gap is contact lost", about.attitudes, () => [...shown.margin.map(cut), pinned ? least(pinned.margin) : about.at.map(() => null)], ["worst of baseline"], 3, true);
  chart("Wheel loads N, this attitude", WHEELS, curves("load", 4), WHEELS, 0);
  chart("Grip in reserve, front and rear axle", ["front reserve", "rear reserve"], curves("reserve", 2), ["front", "rear"], 3);
  chart("Gaps mm", ["front station", "rear station", "least of the floor points"], curves("gaps", 3), ["front", "rear", "least"], 1);
  chart("Bump travel mm", WHEELS, curves("travel", 4), WHEELS, 1);
  chart("Steer and sideslip deg", ["steer", "sideslip"], curves("steer", 2), ["steer", "sideslip"], 2);
}

// ---- the chosen case ---------------------------------------------------------------------------------------

// Rows and cells are made once and their texts changed after that: much cheaper than new ones.
function cell(row, k, tag, text, kind) {
  const one = row.children[k] || make(tag, row, "", {class: kind, scope: tag === "td" ? "" : kind ? "col" : "row"});
  write(one, text);
}
function fill(table, heads, rows) {
  if (!table.tHead) make("tr", make("thead", table));
  heads.forEach((text, k) => cell(table.tHead.rows[0], k, "th", text, k ? "number" : ""));
  const body = table.tBodies[0] || make("tbody", table);
  rows.forEach(([first, ...cells], k) => {
    const row = body.rows[k] || make("tr", body);
    cell(row, 0, "th", first, "");
    cells.forEach((text, n) => cell(row, n + 1, "td", text, "number"));
  });
  while (body.rows.length > rows.length) body.lastChild.remove();
}
function beside(key, digits) {
  const then = pinned && pinned.here[key];
  return [words(shown.here[key], digits), words(then, digits)];
}
function drawHere() {
  const here = shown.here, then = pinned ? pinned.here : {};
  const kind = !here.contact ? ": CONTACT LOST" : here.slides ? ": SLIDES" : "";
  $("here-words").textContent = `${about.attitudes[+$("attitude").value]} at ${about.at[+$("place").value]} ${about.at_words}${kind}`;
  const wheel = (text, key, digits) => [text, ...WHEELS.map((_, k) => words(here[key] && here[key][k], digits) + (then[key] ? ` (${words(then[key][k], digits)})` : ""))];
  fill($("wheels"), ["wheel (baseline)", ...WHEELS], [wheel("load N", "load_N", 0), wheel("bump travel mm", "travel_mm", 1), wheel("slip angle deg", "slip_angle_deg", 2), wheel("inclination deg", "inclination_deg", 2), wheel("rms load on the rough road N", "road_load_N", 0)]);
  fill($("car-table"), ["car", "now", "baseline"], [
    ["grip margin", ...beside("margin", 3)], ["steer deg", ...beside("steer_deg", 2)], ["sideslip deg", ...beside("sideslip_deg", 2)],
    ["balance, positive: the rear goes first", ...beside("balance", 3)], ["downforce N", ...beside("downforce_N", 0)],
    ["growth of the sideslip 1/s", ...beside("growth_per_s", 1)], ["rms of the margin on the rough road", ...beside("road_margin", 3)],
    ...(here.road ? [["rough road", here.road, ""]] : [])]);
  const old = new Map((then.gaps || []).map(([name, gap]) => [name, gap]));
  fill($("gaps"), ["gap", "now mm", "baseline mm", "needs mm"], (here.gaps || []).map(([name, gap, need]) => [name + (need !== null && gap < need ? ": TOO LITTLE" : ""), words(gap, 1), words(old.get(name), 1), need === null ? "-" : String(need)]));
}

function drawWorst() {
  const worst = shown.worst, approximate = shown.exact ? "" : "\u2248 ";
  const margin = worst.margin === null ? "CONTACT LOST" : `${approximate}${worst.margin.toFixed(3)}${worst.margin < 0 ? " SLIDES" : ""}`;
  const then = pinned && pinned.worst.margin !== null ? `, baseline ${pinned.worst.margin.toFixed(3)}` : pinned ? ", baseline CONTACT LOST" : "";
  write($("margin"), `worst margin ${margin}${then}`);
  $("margin").className = worst.margin === null || worst.margin < 0 ? "bad" : "";
  write($("where"), `at ${about.at[worst.place]} ${about.at_words}, ${about.attitudes[worst.attitude]}; of ${worst.cases} cases ${worst.lost} lose contact, ${worst.slides} slide, ${worst.in_air} lift a wheel; ${shown.broken.length} limit${shown.broken.length === 1 ? "" : "s"} broken`);
  const broken = shown.broken.length ? shown.broken : ["No limit is broken in the cases with a trim at full friction."];
  while ($("broken").children.length > broken.length) $("broken").lastChild.remove();
  broken.forEach((text, k) => {
    const one = $("broken").children[k] || make("li", $("broken"));
    write(one, text);
    one.className = shown.broken.length ? "bad" : "";
  });
}

const SVG = "http://www.w3.org/2000/svg";
function node(parent, k, tag) {
  let one = parent.childNodes[k];
  if (!one || one.tagName !== tag) {
    const fresh = document.createElementNS(SVG, tag);
    one ? parent.replaceChild(fresh, one) : parent.append(fresh);
    one = fresh;
  }
  return one;
}
function put(one, attributes) {
  for (const [name, value] of Object.entries(attributes)) if (one.getAttribute(name) !== String(value)) one.setAttribute(name, value);
}
function drawCar() {
  shown.drawings.forEach((drawing, k) => {
    let figure = $("drawings").children[k];
    if (!figure) {
      figure = make("figure", $("drawings"));
      figure.append(document.createElementNS(SVG, "svg"));
      make("figcaption", figure);
    }
    const svg = figure.firstChild;
    put(svg, {class: `drawing ${drawing.kind}`, viewBox: drawing.view, role: "img", "aria-label": drawing.title});
    svg.style.setProperty("--letter", `${drawing.letter}px`);
    svg.style.setProperty("--narrow", `${2.1 * drawing.letter}px`);
    write(figure.lastChild, drawing.title);
    let count = 0;
    for (const [kind, path] of drawing.shapes) put(node(svg, count++, "path"), {class: kind, d: path});
    for (const [kind, x, y, text, anchor] of drawing.labels) {
      const label = node(svg, count++, "text");
      put(label, {class: kind, x, y, "text-anchor": anchor});
      write(label, text);
    }
    while (svg.childNodes.length > count) svg.lastChild.remove();
  });
}

function draw() {
  drawWorst();
  parts.forEach((part, box) => { part.stale = true; if (part.seen) part.redraw(); });
}
// What is out of sight is drawn when it comes into sight.
const parts = new Map();
const sight = new IntersectionObserver(found => {
  for (const {target, isIntersecting} of found) {
    const part = parts.get(target);
    part.seen = isIntersecting;
    if (isIntersecting && part.stale && shown) part.redraw();
  }
}, {rootMargin: "100px"});
// `has`: whether the answer shown has what is drawn; a quick one leaves out what was out of sight.
function watch(box, redraw, has = () => true) {
  const part = {seen: false, stale: false, redraw: () => { if (has()) { part.stale = false; redraw(); } }};
  parts.set(box, part);
  sight.observe(box);
}
const isSeen = name => parts.get($(name)).seen;

// ---- sliders -----------------------------------------------------------------------------------------------

const sliders = [];
function slider(parent, one, get, set) {
  const box = make("div", parent, undefined, {class: "setting"});
  const id = `s${sliders.length}`, text = `${one.words} ${one.unit}`;
  make("label", box, text, {for: id});
  const field = make("input", box, undefined, {type: "number", id, step: "any", min: one.bounds[0], max: one.bounds[1]});
  const range = make("input", box, undefined, {type: "range", "aria-label": `${one.where || ""} ${text}, slider`});
  const note = make("small", box);
  const choices = one.choices;
  const digits = Math.max(0, Math.min(6, Math.ceil(-Math.log10(one.step) - 1e-9)));
  const limits = choices ? `one of ${choices.join(", ")}` : `${one.lower} to ${one.upper}`;
  const refresh = () => {
    const value = get();
    if (document.activeElement !== field) field.value = value === null ? "" : value;
    const number = value === null ? one.lower : value;
    const shownValue = choices ? nearest(choices, number) : number;
    put(range, choices ? {min: 0, max: choices.length - 1, step: 1} : {min: Math.min(one.lower, number), max: Math.max(one.upper, number), step: one.step});
    range.value = shownValue;
    range.setAttribute("aria-valuetext", `${value === null ? "as car.toml says" : value} ${one.unit}`);
    const isOut = one.in_limits && value !== null && (choices ? !choices.includes(value) : value < one.lower - 1e-9 || value > one.upper + 1e-9);
    box.classList.toggle("out", isOut);
    const kept = get(baseline);
    write(note, `baseline ${kept === null ? "as car.toml says" : kept}${one.in_limits ? `; limits ${limits}` : ""}${isOut ? ": OUTSIDE" : ""}`);
  };
  range.addEventListener("input", () => { begin(); set(choices ? choices[+range.value] : +(+range.value).toFixed(digits)); field.value = get(); refresh(); move(); });
  field.addEventListener("input", () => {
    const value = field.valueAsNumber;
    if (!Number.isFinite(value) || value < one.bounds[0] || value > one.bounds[1]) { problem(new Error(`${text}: expected a number from ${one.bounds[0]} to ${one.bounds[1]}`)); return; }
    begin(); set(value); refresh(); move();
  });
  for (const input of [range, field]) input.addEventListener("change", () => { commit(); refresh(); });
  sliders.push(refresh);
  refresh();
}
const nearest = (values, wantedValue) => values.reduce((best, value, k) => Math.abs(value - wantedValue) < Math.abs(values[best] - wantedValue) ? k : best, 0);

function makeSliders() {
  const groups = new Map();
  const group = name => {
    if (!groups.has(name)) { const box = make("fieldset", $("sliders")); make("legend", box, name); groups.set(name, box); }
    return groups.get(name);
  };
  const own = group(`Own case: "${about.attitudes.at(-1)}"`);
  for (const one of about.own) slider(own, one, (from = state) => from.own[one.key], value => { state.own[one.key] = value; $("attitude").value = about.attitudes.length - 1; });
  const venue = group("Speed and road");
  slider(venue, about.speed, (from = state) => from.speed, value => { state.speed = value; });
  slider(venue, about.roughness, (from = state) => from.roughness === null ? 0 : from.roughness, value => { state.roughness = value; });
  if (about.bodies.length > 1) {
    const box = group("Body");
    make("label", box, "body", {for: "body"});
    const select = make("select", box, undefined, {id: "body"});
    for (const name of about.bodies) make("option", select, name, {value: name});
    const refresh = () => { select.value = state.body === null ? about.own_body : state.body; };
    select.addEventListener("change", () => { begin(); state.body = select.value === about.own_body ? null : select.value; commit(); move(); });
    sliders.push(refresh);
    refresh();
  }
  for (const one of about.settings) slider(group(one.where), one, (from = state) => from.settings[one.name], value => { state.settings[one.name] = value; });
}

// ---- undo, baseline, saving, proposals ---------------------------------------------------------------------

function begin() { if (before === null) before = copy(state); }
function commit() {
  if (before !== null && !same(before, state)) history.push(before);
  before = null;
  $("undo").disabled = !history.length;
}
function go(newState) {
  begin();
  state = copy(newState);
  commit();
  refreshAll();
  move();
}
function refreshAll() { for (const refresh of sliders) refresh(); $("undo").disabled = !history.length; }
function undo() {
  if (!history.length) return;
  state = history.pop();
  before = null;
  refreshAll();
  move();
}
async function save() {
  try {
    $("saved").textContent = "saving";
    $("saved").textContent = `saved: ${(await ask("/save", {state, name: $("name").value})).saved}`;
  } catch (error) { $("saved").textContent = `not saved: ${error.message}`; }
}
let proposal = null;
async function follow(path, asked = {}) {
  try {
    const job = await ask(path, asked);
    const running = job.state === "running";
    $("propose").disabled = running;
    $("stop").hidden = !running;
    proposal = job.proposal || null;
    $("take").hidden = !proposal;
    $("proposal").textContent = job.state === "none" ? "" : `${job.state}: ${job.words}`;
    if (running) setTimeout(() => follow("/proposal"), 500);
  } catch (error) { problem(error); }
}

async function open() {
  about = await ask("/project");
  state = copy(about.state);
  baseline = copy(state);
  document.title = `Explore: ${about.car} at ${about.venue}`;
  $("car").textContent = about.car;
  $("venue").textContent = about.venue;
  $("folder").textContent = `${about.setup}, from ${about.folder}`;
  for (const [k, name] of about.attitudes.entries()) make("option", $("attitude"), name, {value: k});
  $("place").max = about.at.length - 1;
  $("place-words").textContent = about.at_words;
  for (const text of [...about.cautions, ...about.assumed.map(one => `Assumed: ${one}`)]) make("li", $("cautions"), text);
  makeSliders();
  makeCharts();
  watch($("here"), drawHere, () => shown.here);
  watch($("drawn"), drawCar, () => shown.drawings);
  const look = () => { $("place-value").textContent = about.at[+$("place").value]; put($("place"), {"aria-valuetext": `${about.at[+$("place").value]} ${about.at_words}`}); };
  for (const one of ["attitude", "place"]) $(one).addEventListener("input", () => { look(); pin(); move(); });
  $("undo").addEventListener("click", undo);
  document.addEventListener("keydown", event => {
    if (event.key === "z" && (event.ctrlKey || event.metaKey) && !event.shiftKey && event.target.type !== "text") { event.preventDefault(); undo(); }
  });
  $("pin").addEventListener("click", () => { pin(state); baseline = copy(state); refreshAll(); });
  $("back").addEventListener("click", () => go(baseline));
  $("save").addEventListener("click", save);
  $("controls").addEventListener("submit", event => event.preventDefault());
  $("propose").addEventListener("click", () => follow("/propose", {state}));
  $("stop").addEventListener("click", () => follow("/stop"));
  $("take").addEventListener("click", () => { if (proposal) go({...state, body: proposal.body, settings: proposal.settings}); });
  const first = await ask("/answer", question());
  $("attitude").value = first.worst.attitude;
  $("place").value = first.worst.place;
  look();
  refreshAll();
  await exact();
  await pin(state);
  follow("/proposal");
}
open().catch(problem);
