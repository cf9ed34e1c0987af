// One micrograph: deep zoom with the classes drawn over it, outlines drawn by mouse, finger and keyboard.

import { Bar, Drawing, KINDS } from "./micrograph-draw.js";
import { Picture } from "./micrograph-map.js";

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
    this.kept = kept ? JSON.parse(kept.textContent) : [];
    for (const { kind, points } of this.kept) this.line(kind, points, this.lines);
  }

  line(kind, points, group) {
    if (kind === "strip" && points.length === 2) {
      const [top, bottom] = [points[0][1], points[1][1]];
      points = [[0, top], [this.width, top], [this.width, bottom], [0, bottom]];
    }
    const corners = points.map(([x, y]) => this.at(x, y));
    const look = { color: KINDS[kind] || "#fff", weight: 2, fill: kind === "exclusion" || kind === "strip", fillOpacity: 0.25, interactive: false };
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

function begin() {
  for (const root of document.querySelectorAll("[data-viewer]")) root.viewer ??= new Viewer(root);
}
begin();
// a mosaic comes into the page once it is drawn
document.addEventListener("htmx:afterSettle", begin);
