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
    const at = (most * Number(slider.value)) / 1000;
    const place = travel ? `travel ${(1 - at).toFixed(2)}` : distanceWords(at);
    const parts = curves.map((curve) => {
      const shift = shiftAt(curve.points, at, travel);
      if (shift !== null) return { label: curve.label, shift: signed(shift) };
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
      const x = Number(left) + ((Number(right) - Number(left)) * at) / most;
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

/** Shift on the straight line between the points beside a place; null outside what was measured. */
function shiftAt(points, at, travel) {
  const places = points
    .map((point) => ({ x: travel ? 1 - point.travel : point.focus_dioptres, shift: point.shift_pct }))
    .filter((place) => place.x !== null)
    .sort((a, b) => a.x - b.x);
  for (let index = 0; index < places.length; index += 1) {
    const right = places[index];
    if (right.x < at) continue;
    if (right.x - at < 1e-9 || index === 0) return right.x - at < 1e-9 ? right.shift : null;
    const left = places[index - 1];
    const share = (at - left.x) / (right.x - left.x);
    return left.shift + share * (right.shift - left.shift);
  }
  return null;
}

/** Metres and feet; numbers stay with their units. */
function distanceWords(dioptres) {
  if (dioptres < 1e-5) return "∞";
  const metres = 1 / dioptres;
  const feet = metres / 0.3048;
  const tall = metres.toFixed(metres < 1 ? 2 : metres < 10 ? 1 : 0);
  return `${tall}\u00a0m (${feet.toFixed(feet < 9.95 ? 1 : 0)}\u00a0ft)`;
}

function signed(value) {
  const words = Math.abs(value).toFixed(2);
  if (words === "0.00") return "0.00\u00a0%";
  return `${value < 0 ? "−" : "+"}${words}\u00a0%`;
}

function tidy(value) {
  return String(Number(value.toFixed(1)));
}
