// Reads the curves of a chart under pointer, finger and keyboard. Without it the tables beside the charts say the same.
"use strict";

for (const figure of document.querySelectorAll("figure[data-curves]")) {
  const sources = JSON.parse(figure.dataset.curves);
  Promise.all(sources.map(curvesOf))
    .then((found) => addReadout(figure, found.flat()))
    .catch(() => {}); // The page is whole without it.
}

/** The curves that a chart shows of one lens, each with its label. */
async function curvesOf(source) {
  const answer = await fetch(source.url);
  if (!answer.ok) throw new Error(String(answer.status));
  const { curves } = await answer.json();
  return curves
    .filter((curve) => curve.conditions === source.conditions)
    .map((curve) => ({ ...curve, label: source.label || `${tidy(curve.focal_length_mm)}\u00a0mm` }));
}

/** Adds a slider and a line of figures below a chart. */
function addReadout(figure, curves) {
  const pictures = [...figure.querySelectorAll("svg[data-most]")];
  if (curves.length === 0 || pictures.length === 0) return;
  const travel = figure.dataset.axis === "travel";
  const most = Number(pictures[0].dataset.most);

  const box = document.createElement("div");
  box.className = "readout no-print";
  const label = document.createElement("label");
  const slider = document.createElement("input");
  slider.type = "range";
  slider.min = "0";
  slider.max = "1000";
  slider.value = "1000";
  label.append("Read the chart at ", slider);
  const words = document.createElement("output");
  box.append(label, words);
  figure.insertBefore(box, figure.querySelector("figcaption"));

  const markers = pictures.map((picture) => {
    const line = document.createElementNS("http://www.w3.org/2000/svg", "path");
    line.setAttribute("class", "readout-line");
    picture.append(line);
    return line;
  });

  function show() {
    const exact = (most * Number(slider.value)) / 1000;
    // Read at the place that is said, so that a table or the pull tool says the same of it.
    const at = travel ? Math.round(exact * 100) / 100 : said(exact, most);
    const place = travel ? `travel ${(1 - at).toFixed(2)}` : distanceWords(at, most);
    const parts = curves.map((curve) => {
      const shift = shiftAt(curve.points, at, travel);
      if (shift !== null) return { label: curve.label, shift: shiftWords(shift) };
      const unknown = !travel && curve.points.every((point) => point.focus_dioptres === null);
      return { label: curve.label, shift: unknown ? "distance unknown" : "not measured" };
    });
    const lead = document.createElement("b");
    lead.textContent = place;
    words.replaceChildren(lead);
    for (const { label: name, shift } of parts) {
      const part = document.createElement("span");
      part.textContent = `${name}: ${shift}`;
      words.append(" ", part);
    }
    slider.setAttribute("aria-valuetext", `${place}; ${parts.map((p) => `${p.label} ${p.shift}`).join(", ")}`);
    pictures.forEach((picture, index) => {
      const { left, right, top, bottom } = picture.dataset;
      const x = Number(left) + ((Number(right) - Number(left)) * exact) / most;
      markers[index].setAttribute("d", `M${x.toFixed(1)} ${top}V${bottom}`);
    });
  }

  function follow(event) {
    const picture = event.currentTarget;
    const area = picture.getBoundingClientRect();
    const unit = picture.viewBox.baseVal.width / area.width;
    const x = (event.clientX - area.left) * unit;
    const { left, right } = picture.dataset;
    const part = (x - Number(left)) / (Number(right) - Number(left));
    slider.value = String(Math.round(1000 * Math.min(1, Math.max(0, part))));
    show();
  }

  slider.addEventListener("input", show);
  for (const picture of pictures) {
    picture.classList.add("readable"); // A finger reads sideways and scrolls up and down.
    picture.addEventListener("pointerdown", follow);
    picture.addEventListener("pointermove", follow);
  }
  show();
}

/** Shift and its standard uncertainty on the curve between the points beside a place, read as the server reads it
 * (src/sweep/between.rs); null outside what was measured. */
function shiftAt(points, at, travel) {
  const places = points
    .map((point) => ({ x: travel ? 1 - point.travel : point.focus_dioptres, shift: point.shift_pct, u: point.shift_u_pct, placeU: travel ? 0 : (point.focus_u_dioptres ?? 0) }))
    .filter((place) => place.x !== null)
    .sort((a, b) => a.x - b.x);
  for (let index = 0; index < places.length; index += 1) {
    const right = places[index];
    if (right.x < at) continue;
    if (index === 0 && right.x - at > 1e-6) return null;
    if (places.length === 1) return { value: right.shift, u: right.u };
    return shiftBetween(places, Math.max(index, 1), at);
  }
  const last = places.length - 1;
  return last > 0 && at - places[last].x < 1e-6 ? shiftBetween(places, last, at) : null;
}

/** The same between the place before and that at an index. */
function shiftBetween(places, index, at) {
  const [left, right] = [places[index - 1], places[index]];
  const [width, rise] = [right.x - left.x, right.shift - left.shift];
  const share = width > 0 ? Math.min(1, Math.max(0, (at - left.x) / width)) : 1;
  const straight = left.shift + share * rise;
  const value = places.length < 8 ? straight : bent(places[index - 2], left, right, places[index + 1], share);
  const byPlace = width > 0 ? (rise / width) * (left.placeU + share * (right.placeU - left.placeU)) : 0;
  return { value, u: Math.hypot((1 - share) * left.u, share * right.u, 0.15 * (value - straight), byPlace) };
}

/** Value of the cubic between two places after a share of the way, bent as the places before and after say. */
function bent(before, from, to, after, share) {
  const width = to.x - from.x;
  const rise = to.shift - from.shift;
  const slope = (a, b, c) => {
    if (!a || !c || a.x >= b.x || b.x >= c.x) return null;
    const [left, right] = [b.x - a.x, c.x - b.x];
    return (((b.shift - a.shift) / left) * right + ((c.shift - b.shift) / right) * left) / (left + right);
  };
  let [a, b] = [slope(before, from, to), slope(from, to, after)];
  const even = rise / width;
  if (a === null && b === null) a = b = even;
  a ??= 2 * even - b;
  b ??= 2 * even - a;
  const held = (s) => {
    const part = Math.min(3, Math.max(0, (s * width) / rise));
    return Number.isFinite(part) ? part : 1;
  };
  [a, b] = [held(a), held(b)];
  return from.shift + rise * (((a + b - 2) * share + 3 - 2 * a - b) * share * share + a * share);
}

/** A focus setting whose distance has three figures, no nearer than the closest that the chart shows, dioptres. */
function said(dioptres, most) {
  if (dioptres < 1e-5) return 0;
  const metres = 1 / dioptres;
  const rounded = Number(metres.toPrecision(3));
  const step = 10 ** (Math.floor(Math.log10(metres)) - 2);
  return 1 / (1 / rounded > most + 1e-9 ? rounded + step : rounded);
}

/** Metres, and feet and inches; numbers stay with their units. */
function distanceWords(dioptres, most) {
  if (dioptres < 1e-5) return "∞";
  const metres = 1 / dioptres;
  // The closest focus is a limit: rounded up, so that it was measured.
  const round = most - dioptres < 1e-9 ? (steps) => Math.ceil(steps - 1e-6) : Math.round;
  return `${tidy(metres, 3)}\u00a0m (${feetWords(metres, round)})`;
}

/** Feet and inches to less than a hundredth, as the tables have them (src/report/words/feet.rs). */
function feetWords(metres, round) {
  const inches = metres / 0.0254;
  const [, step] = [[10, 0.01], [50, 0.1], [100, 0.5], [1200, 1], [Infinity, 12]].find(([below]) => inches < below);
  const hundredths = Math.round(round(inches / step) * step * 100);
  const feet = Math.floor(hundredths / 1200);
  const rest = tidy((hundredths % 1200) / 100, 2);
  return [feet > 0 ? `${feet}\u00a0ft` : "", rest === "0" && feet > 0 ? "" : `${rest}\u00a0in`].filter(Boolean).join("\u00a0");
}

/** A shift with its expanded uncertainty, as the tables have it. */
function shiftWords({ value, u }) {
  const words = Math.abs(value).toFixed(2);
  const sign = words === "0.00" ? "" : value < 0 ? "−" : "+";
  return `${sign}${words}\u00a0%\u00a0±\u00a0${Math.max(0.01, 2 * u).toFixed(2)}`;
}

/** A number without needless zeros. */
function tidy(value, decimals = 1) {
  return String(Number(value.toFixed(decimals)));
}
