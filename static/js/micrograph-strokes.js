// Strokes that show what is what: drawn by mouse or finger, or set point by point under the cross with the keys.

import { Picture } from "./micrograph-map.js";

const COLOURS = { pore: "#0072B2", oxide: "#D55E00", metal: "#8b8b8b", "brighter than metal": "#F0E442" };
const APART_PX = 2;

class Strokes extends Picture {
  constructor(root) {
    super(root);
    this.strokes = JSON.parse(document.getElementById("strokes").textContent);
    this.kept = JSON.stringify(this.strokes);
    this.layers = [];
    this.group = this.L.layerGroup().addTo(this.map);
    this.form = root.querySelector("[data-strokes-form]");
    this.map.on("zoomend", () => this.show());
    if (this.form) this.listen();
    this.show();
  }

  listen() {
    this.buttons = [...this.root.querySelectorAll("[data-class]")];
    this.name = this.buttons[0].dataset.class;
    this.buttons.forEach((button) => button.addEventListener("click", () => this.choose(button.dataset.class)));
    this.find("draw").addEventListener("click", () => this.toggle());
    this.find("undo").addEventListener("click", () => this.undo());
    this.find("clear").addEventListener("click", () => { this.strokes = []; this.show(); });
    this.find("whole").addEventListener("click", () => this.whole());
    this.place.addEventListener("pointerdown", (event) => this.begin(event), true);
    this.place.addEventListener("pointermove", (event) => this.go(event), true);
    for (const end of ["pointerup", "pointercancel"]) this.place.addEventListener(end, () => this.end(), true);
    this.place.addEventListener("focus", () => this.root.classList.add("aiming"));
    this.place.addEventListener("blur", () => this.root.classList.remove("aiming"));
    this.root.addEventListener("keydown", (event) => this.key(event));
    window.addEventListener("beforeunload", (event) => { if (this.changed && !this.sent) event.preventDefault(); });
    this.form.addEventListener("submit", () => { this.sent = true; });
  }

  get width_px() { return Number(this.find("stroke-width").value); }

  get changed() { return JSON.stringify(this.strokes) !== this.kept; }

  key(event) {
    if (event.target.matches("input, textarea, select")) return;
    const chosen = this.buttons[Number(event.key) - 1];
    if (chosen) this.choose(chosen.dataset.class);
    else if (event.key === "Enter" && event.target === this.place) this.dot();
    else if (event.key === "Backspace") this.undo();
    else if (event.key === "d") this.toggle();
    else return;
    event.preventDefault();
  }

  choose(name) {
    this.name = name;
    this.buttons.forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.class === name)));
  }

  toggle() {
    this.drawing = !this.drawing;
    this.find("draw").setAttribute("aria-pressed", String(this.drawing));
    this.root.classList.toggle("stroking", this.drawing);
    this.map.dragging[this.drawing ? "disable" : "enable"]();
  }

  dot() {
    this.strokes.push({ class: this.name, width_px: Math.max(this.width_px, 3), points: [this.pixels(this.map.getCenter())] });
    this.show();
  }

  undo() { this.strokes.pop(); this.show(); }

  begin(event) {
    if (!this.drawing || event.button > 0 || !event.isPrimary) return;
    this.pointer = event.pointerId;
    this.place.setPointerCapture?.(event.pointerId);
    this.stroke = { class: this.name, width_px: this.width_px, points: [this.pixels(this.map.mouseEventToLatLng(event))] };
    this.strokes.push(this.stroke);
    this.show();
    event.stopPropagation();
  }

  go(event) {
    if (!this.stroke || event.pointerId !== this.pointer) return;
    const [x, y] = this.pixels(this.map.mouseEventToLatLng(event));
    const [a, b] = this.stroke.points.at(-1);
    if (Math.hypot(x - a, y - b) < APART_PX || this.stroke.points.length >= 2000) return;
    this.stroke.points.push([x, y]);
    this.show();
    event.stopPropagation();
  }

  end() { this.stroke = null; }

  show() {
    this.group.clearLayers();
    const scale = 2 ** this.map.getZoom();
    for (const stroke of this.strokes) {
      const corners = stroke.points.map(([x, y]) => this.at(x, y));
      const width = Math.max(stroke.width_px * scale, 2);
      const look = { color: COLOURS[stroke.class], weight: width, opacity: 1, lineCap: "round", interactive: false };
      // a dark edge keeps every colour apart from whatever it is drawn over
      if (corners.length > 1) this.L.polyline(corners, { ...look, color: "#111", weight: width + 3, opacity: 0.9, smoothFactor: 0 }).addTo(this.group);
      const shape = corners.length > 1 ? this.L.polyline(corners, { ...look, smoothFactor: 0 })
        : this.L.circleMarker(corners[0], { ...look, color: "#111", fillColor: COLOURS[stroke.class], weight: 1.5, radius: Math.max(width / 2, 3), fill: true, fillOpacity: 1 });
      shape.addTo(this.group);
    }
    if (!this.form) return;
    this.form.querySelector("[data-value]").value = JSON.stringify(this.strokes);
    this.form.querySelector("[data-keep]").disabled = !this.changed;
    this.tell();
  }

  /** How many pixels each class has, by length times width: a class needs at least fifty. */
  tell() {
    const pixels = {};
    for (const { class: name, width_px, points } of this.strokes) {
      let length = 0;
      for (let k = 1; k < points.length; k += 1) length += Math.hypot(points[k][0] - points[k - 1][0], points[k][1] - points[k - 1][1]);
      pixels[name] = (pixels[name] ?? 0) + Math.max(length * width_px, (Math.PI / 4) * width_px ** 2);
    }
    const words = Object.entries(pixels).map(([name, n]) => `${name} about ${Math.round(n)} px`);
    this.find("state").textContent = words.length ? `${this.strokes.length} strokes: ${words.join(", ")}${this.changed ? "; not kept yet" : ""}` : "No stroke is drawn.";
  }
}

for (const root of document.querySelectorAll("[data-strokes]")) root.strokes = new Strokes(root);
