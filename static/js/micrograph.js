// One micrograph: deep zoom with the classes drawn over it, outlines drawn by mouse, finger and keyboard.

import { Picture } from "./micrograph-map.js";

const KINDS = { outline: "#f6d743", exclusion: "#b9a2d8", face: "#7fd6c2", strip: "#b9a2d8" };

class Viewer extends Picture {
  constructor(root) {
    super(root);
    this.showClasses("fill");
    this.lines = this.L.layerGroup().addTo(this.map);
    this.sketch = this.L.layerGroup().addTo(this.map);
    this.drawKept();
    this.listen();
  }

  showClasses(style) {
    const address = this.root.dataset.classes;
    if (!address) return;
    this.classes?.remove();
    this.classes = this.layer(address.replace("/fill/", `/${style}/`));
    this.setOpacity();
  }

  setOpacity() {
    const bare = this.find("bare")?.getAttribute("aria-pressed") === "true" || this.dark;
    this.classes?.setOpacity(bare ? 0 : Number(this.find("opacity").value) / 100);
  }

  drawKept() {
    const kept = document.getElementById("drawn");
    for (const { kind, points } of kept ? JSON.parse(kept.textContent) : []) this.line(kind, points, this.lines);
  }

  line(kind, points, group) {
    const corners = points.map(([x, y]) => this.at(x, y));
    const look = { color: KINDS[kind] || "#fff", weight: 2, fill: kind === "exclusion" || kind === "strip", fillOpacity: 0.25 };
    (kind === "face" || corners.length < 3 ? this.L.polyline(corners, look) : this.L.polygon(corners, look)).addTo(group);
  }

  listen() {
    const on = (name, event, what) => this.find(name)?.addEventListener(event, what);
    on("opacity", "input", () => this.setOpacity());
    on("style", "change", (event) => this.showClasses(event.target.value));
    on("whole", "click", () => this.whole());
    on("bare", "click", () => this.press("bare"));
    on("blink", "click", () => this.blink());
    this.map.on("mousemove", ({ latlng }) => this.tellPlace(latlng));
    this.root.addEventListener("keydown", (event) => this.key(event));
    this.drawing = new Drawing(this);
    this.bar = new Bar(this);
    this.map.on("click", ({ latlng }) => { this.drawing.corner(latlng); this.bar.end(latlng); });
  }

  tellPlace(place) {
    const inside = place.lng >= 0 && -place.lat >= 0 && place.lng < this.width && -place.lat < this.height;
    this.find("reading").textContent = inside ? `x ${Math.floor(place.lng)}, y ${Math.floor(-place.lat)} px` : "";
  }

  press(name) {
    const button = this.find(name);
    if (!button) return;
    button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
    this.setOpacity();
  }

  blink() {
    const button = this.find("blink");
    if (!button) return;
    const go = button.getAttribute("aria-pressed") !== "true";
    button.setAttribute("aria-pressed", String(go));
    window.clearInterval(this.beat);
    this.dark = false;
    // one change a second: far below what can trouble anyone
    if (go) this.beat = window.setInterval(() => { this.dark = !this.dark; this.setOpacity(); }, 1000);
    this.setOpacity();
  }

  key(event) {
    if (event.target.matches("input, select, textarea")) return;
    if (event.key === "b") this.press("bare");
    else if (event.key === "k") this.blink();
    else if (event.key === "Enter" && event.target === this.find("map")) {
      this.drawing.corner(this.map.getCenter());
      this.bar.end(this.map.getCenter());
    } else if (event.key === "Backspace" && this.drawing.active) this.drawing.undo();
    else return;
    event.preventDefault();
  }
}

/** Corners set one by one on the picture, kept by a form. */
class Drawing {
  constructor(viewer) {
    this.viewer = viewer;
    this.points = [];
    this.active = false;
    viewer.find("begin")?.addEventListener("click", () => this.toggle());
    viewer.find("undo")?.addEventListener("click", () => this.undo());
    viewer.find("kind")?.addEventListener("change", () => this.show());
  }

  toggle() {
    this.active = !this.active;
    this.viewer.find("begin").setAttribute("aria-pressed", String(this.active));
    this.viewer.root.classList.toggle("drawing", this.active);
    if (this.active) this.viewer.find("map").focus();
    this.show();
  }

  corner(place) {
    if (!this.active) return;
    this.points.push(this.viewer.pixels(place));
    this.show();
  }

  undo() { this.points.pop(); this.show(); }

  show() {
    const kind = this.viewer.find("kind").value;
    const least = kind === "face" || kind === "strip" ? 2 : 3;
    this.viewer.sketch.clearLayers();
    if (this.points.length) {
      this.viewer.line(kind, this.points, this.viewer.sketch);
      const [x, y] = this.points.at(-1);
      this.viewer.L.circleMarker(this.viewer.at(x, y), { radius: 5, color: KINDS[kind] }).addTo(this.viewer.sketch);
    }
    this.viewer.find("points").value = JSON.stringify(this.points);
    this.viewer.find("keep").disabled = this.points.length < least;
    this.viewer.find("told").textContent = this.active || this.points.length ? `${this.points.length} corner${this.points.length === 1 ? "" : "s"} set; at least ${least} are needed.` : "";
  }
}

/** The two ends of the scale bar, set and dragged on the picture; their distance goes into the scale form. */
class Bar {
  constructor(viewer) {
    this.viewer = viewer;
    this.form = document.querySelector("[data-scale-form]");
    this.button = this.form?.querySelector("[data-measure-bar]");
    this.ends = [];
    this.button?.addEventListener("click", () => this.toggle());
  }

  toggle() {
    this.active = !this.active;
    this.button.setAttribute("aria-pressed", String(this.active));
    this.viewer.root.classList.toggle("drawing", this.active);
    if (this.active) { this.clear(); this.viewer.find("map").focus(); }
  }

  clear() { this.ends.forEach((end) => end.remove()); this.line?.remove(); this.ends = []; }

  end(place) {
    if (!this.active || this.ends.length >= 2) return;
    const icon = this.viewer.L.divIcon({ className: "viewer-end", iconSize: [24, 24] });
    const end = this.viewer.L.marker(place, { icon, draggable: true, keyboard: true, alt: "End of the scale bar" }).addTo(this.viewer.map);
    end.on("drag", () => this.show());
    this.ends.push(end);
    if (this.ends.length === 2) { this.active = false; this.button.setAttribute("aria-pressed", "false"); this.viewer.root.classList.remove("drawing"); }
    this.show();
  }

  show() {
    if (this.ends.length < 2) return;
    const [a, b] = this.ends.map((end) => end.getLatLng());
    this.line?.remove();
    this.line = this.viewer.L.polyline([a, b], { color: "#fff", weight: 2 }).addTo(this.viewer.map);
    this.form.querySelector("[name=bar_px]").value = Math.hypot(a.lng - b.lng, a.lat - b.lat).toFixed(1);
  }
}

for (const root of document.querySelectorAll("[data-viewer]")) root.viewer = new Viewer(root);
