// Adds to the drawings of a page: focus of the nearest curve, its reading in words, brushing a stretch of the x axis,
// and linking. Everything works without it; nothing is drawn here that print would need.
//
// Events, sent from the <svg> and bubbling:
//   figure:focus  {key, name, x, y}   a curve is pointed at, by pointer or by arrow key; key "" when none is
//   figure:brush  {low, high}         a stretch was dragged over; null, null when it was cleared
// Anything with a matching data-key, in any figure or outside, gets the class "is-focused".

const BEND = { linear: [(v) => v, (v) => v], log: [Math.log10, (v) => 10 ** v], sqrt: [Math.sqrt, (v) => v * v] };

function scaleFrom(words) {
  if (!words) return null;
  const [kind, ...numbers] = words.split(" ");
  const [low, high, start, end] = numbers.map(Number);
  const [bend, unbend] = BEND[kind];
  return {
    low, high, start, end,
    value: (at) => unbend(bend(low) + ((at - start) / (end - start)) * (bend(high) - bend(low))),
  };
}

function pointsOf(series) {
  const curve = series.querySelector(".curve");
  if (curve) {
    const numbers = curve.getAttribute("d").match(/-?\d+(\.\d+)?/g) ?? [];
    const points = [];
    for (let i = 0; i + 1 < numbers.length; i += 2) points.push([Number(numbers[i]), Number(numbers[i + 1])]);
    return points;
  }
  return [...series.querySelectorAll(".point")].map((p) => [Number(p.getAttribute("cx")), Number(p.getAttribute("cy"))]);
}

function shown(value, percent) {
  const number = percent ? value * 100 : value;
  const digits = Math.abs(number) >= 100 ? 0 : Math.abs(number) >= 10 ? 1 : 3;
  return `${Number(number.toFixed(digits)).toLocaleString(document.documentElement.lang)}${percent ? "\u202f%" : ""}`;
}

const make = (name, css, attributes = {}) => {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  made.setAttribute("class", css);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
};

class LivingFigure {
  constructor(svg) {
    this.svg = svg;
    this.x = scaleFrom(svg.dataset.x);
    this.left = scaleFrom(svg.dataset.y);
    this.right = scaleFrom(svg.dataset.right);
    this.percent = (svg.dataset.percent ?? "000").split("").map((c) => c === "1");
    this.series = [...svg.querySelectorAll(".series")].map((node) => ({ node, points: pointsOf(node) })).filter((s) => s.points.length);
    this.at = { series: -1, point: 0 };
    svg.querySelector(":scope > title")?.remove(); // its words are the label already; as a tip it would cover the curves
    this.cursor = make("path", "cursor");
    this.dot = make("circle", "cursor-dot", { r: 4 });
    this.frame = svg.closest("[data-figure-frame]") ?? svg.parentElement;
    this.reading = Object.assign(document.createElement("output"), { className: "reading" });
    this.reading.setAttribute("aria-live", "polite");
    if (!svg.closest("a")) this.listen();
  }

  listen() {
    this.frame.append(this.reading);
    this.frame.tabIndex = 0;
    this.frame.setAttribute("aria-description", "Arrow keys read the curves.");
    this.svg.addEventListener("pointermove", (event) => this.point(event));
    this.svg.addEventListener("pointerleave", () => this.leave());
    this.svg.addEventListener("pointerdown", (event) => this.startBrush(event));
    this.svg.addEventListener("pointerup", (event) => this.endBrush(event));
    this.frame.addEventListener("keydown", (event) => this.key(event));
    this.frame.addEventListener("blur", () => this.leave());
  }

  place(event) {
    const spot = new DOMPoint(event.clientX, event.clientY).matrixTransform(this.svg.getScreenCTM().inverse());
    return [spot.x, spot.y];
  }

  point(event) {
    const [x, y] = this.place(event);
    if (this.brushFrom !== undefined && Math.abs(x - this.brushFrom) > 4) return this.drawBrush(x);
    let best = { far: 28 ** 2 };
    this.series.forEach((series, index) => series.points.forEach(([a, b], point) => {
      const far = (a - x) ** 2 + (b - y) ** 2;
      if (far < best.far) best = { far, index, point };
    }));
    if (best.index === undefined) this.leave(); else this.show(best.index, best.point);
  }

  key(event) {
    const moves = { ArrowRight: [0, 1], ArrowLeft: [0, -1], ArrowDown: [1, 0], ArrowUp: [-1, 0], Home: [0, -1e9], End: [0, 1e9] };
    if (event.key === "Escape") { this.leave(); this.clearBrush(); return; }
    const move = moves[event.key];
    if (!move || event.target !== this.frame || !this.series.length) return;
    event.preventDefault();
    const fresh = this.at.series < 0;
    const series = fresh ? 0 : (this.at.series + move[0] + this.series.length) % this.series.length;
    const last = this.series[series].points.length - 1;
    this.show(series, Math.max(0, Math.min(last, fresh ? 0 : this.at.point + move[1])));
  }

  show(index, point) {
    const { node, points } = this.series[index];
    const [px, py] = points[point];
    this.at = { series: index, point };
    const right = node.dataset.side === "right" && this.right;
    const x = this.x.value(px);
    const y = (right || this.left).value(py);
    const counting = this.svg.dataset.counts === "1"; // cycles are whole: a place on paper is not
    this.svg.append(this.cursor, this.dot);
    this.cursor.setAttribute("d", `M${px} ${this.left.start}V${this.left.end}`);
    this.dot.setAttribute("cx", px);
    this.dot.setAttribute("cy", py);
    const counted = this.svg.dataset.xName || "x";
    this.reading.value = `${node.dataset.name ? `${node.dataset.name}, ` : ""}${counted} ${counting ? Math.round(x) : shown(x, this.percent[0])}: ${shown(y, this.percent[right ? 2 : 1])}`;
    this.mark(node);
    this.tell("figure:focus", { key: node.dataset.key ?? "", name: node.dataset.name ?? "", x, y });
  }

  mark(node) {
    const many = this.series.length > 2;
    this.svg.classList.toggle("has-focus", many && node !== null);
    for (const series of this.series) series.node.classList.toggle("is-focused", series.node === node);
  }

  leave() {
    if (this.at.series < 0) return;
    this.at = { series: -1, point: 0 };
    this.cursor.remove();
    this.dot.remove();
    this.reading.value = "";
    this.mark(null);
    this.tell("figure:focus", { key: "", name: "", x: null, y: null });
  }

  startBrush(event) {
    if (event.button !== 0 || event.pointerType === "touch") return;
    this.brushFrom = this.place(event)[0];
  }

  drawBrush(x) {
    this.brush ??= make("rect", "brush");
    const [low, high] = [Math.min(x, this.brushFrom), Math.max(x, this.brushFrom)].map((v) => Math.max(this.x.start, Math.min(this.x.end, v)));
    this.brush.setAttribute("x", low);
    this.brush.setAttribute("width", high - low);
    this.brush.setAttribute("y", Math.min(this.left.start, this.left.end));
    this.brush.setAttribute("height", Math.abs(this.left.start - this.left.end));
    this.svg.append(this.brush);
    this.brushed = [this.x.value(low), this.x.value(high)];
    this.reading.value = `${shown(this.brushed[0], this.percent[0])} to ${shown(this.brushed[1], this.percent[0])}`;
  }

  endBrush() {
    this.brushFrom = undefined;
    if (!this.brushed) return this.clearBrush();
    this.tell("figure:brush", { low: this.brushed[0], high: this.brushed[1] });
    this.brushed = undefined;
  }

  clearBrush() {
    if (!this.brush?.isConnected) return;
    this.brush.remove();
    this.tell("figure:brush", { low: null, high: null });
  }

  tell(name, detail) {
    this.svg.dispatchEvent(new CustomEvent(name, { detail, bubbles: true }));
  }
}

const living = new WeakSet();
function awaken(root = document) {
  for (const svg of root.querySelectorAll("svg[data-figure=curves]")) {
    if (!living.has(svg)) { living.add(svg); new LivingFigure(svg); }
  }
}

document.addEventListener("figure:focus", ({ detail, target }) => {
  for (const node of document.querySelectorAll("[data-key]")) {
    if (target.contains(node)) continue;
    node.classList.toggle("is-focused", detail.key !== "" && node.dataset.key === detail.key);
  }
});
document.addEventListener("htmx:load", (event) => awaken(event.target));
// drawers of the head close when one leaves them
document.addEventListener("click", (event) => {
  for (const open of document.querySelectorAll(".head details[open]")) if (!open.contains(event.target)) open.open = false;
});
document.addEventListener("keydown", (event) => {
  if (event.key === "Escape") for (const open of document.querySelectorAll(".head details[open]")) { open.open = false; open.querySelector("summary").focus(); }
});
awaken();
