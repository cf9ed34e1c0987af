// What is set on the picture by hand: outlines corner by corner, and the two ends of the scale bar.
// Each corner is a handle that mouse and finger drag and the arrow keys move.

export const KINDS = { outline: "#f6d743", exclusion: "#b9a2d8", face: "#7fd6c2", strip: "#b9a2d8" };
const MOST_HANDLES = 150;
const STEPS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };

/** A round handle at a place; `moved` is told where it is dragged or stepped to, `done` once it rests. */
function handle(viewer, place, { words, small = false, begun, moved, done, removed }) {
  const { L, map } = viewer;
  const icon = L.divIcon({ className: small ? "viewer-end between" : "viewer-end", iconSize: [24, 24] });
  const mark = L.marker(place, { icon, draggable: true, keyboard: true, alt: words }).addTo(map);
  const element = mark.getElement();
  element.setAttribute("aria-label", words);
  mark.on("dragstart", () => begun?.());
  mark.on("drag", () => moved(mark.getLatLng()));
  mark.on("dragend", () => done?.());
  mark.on("click", (event) => L.DomEvent.stopPropagation(event));
  element.addEventListener("keydown", (event) => {
    const step = STEPS[event.key];
    if (step) {
      const far = event.shiftKey ? 10 : 1;
      const at = map.latLngToContainerPoint(mark.getLatLng()).add([step[0] * far, step[1] * far]);
      begun?.();
      mark.setLatLng(map.containerPointToLatLng(at));
      moved(mark.getLatLng());
      done?.(true);
    } else if ((event.key === "Delete" || event.key === "Backspace") && removed) removed();
    else return;
    event.preventDefault();
    event.stopPropagation();
  });
  return mark;
}

/** Corners set one by one on the picture, moved, taken back, and kept by a form. */
export class Drawing {
  constructor(viewer) {
    this.viewer = viewer;
    this.form = viewer.root.querySelector("[data-draw-form]");
    if (!this.form) return;
    this.points = [];
    this.past = [];
    this.handles = [];
    this.active = false;
    const on = (name, event, what) => viewer.find(name)?.addEventListener(event, what);
    on("begin", "click", () => this.toggle());
    on("undo", "click", () => this.undo());
    on("drop", "click", () => this.drop());
    on("kind", "change", () => this.show());
    viewer.root.querySelectorAll("[data-change]").forEach((button) => button.addEventListener("click", () => this.load(button.dataset)));
    window.addEventListener("beforeunload", (event) => { if (this.past.length && !this.sent) event.preventDefault(); });
    this.form.addEventListener("submit", () => { this.sent = true; });
  }

  get kind() { return this.viewer.find("kind").value; }

  get open() { return this.kind === "face"; }

  toggle(active = !this.active) {
    this.active = active;
    this.viewer.find("begin").setAttribute("aria-pressed", String(active));
    this.viewer.root.classList.toggle("drawing", active);
    if (active) this.viewer.place.focus();
    this.show();
  }

  /** Take up an outline that is kept, so that its corners can be moved and it becomes the next version. */
  load({ change }) {
    const kept = this.viewer.kept[Number(change)];
    this.viewer.find("kind").value = kept.kind;
    this.form.elements.name.value = kept.name;
    this.viewer.find("fresh").value = "";
    this.points = kept.points.map((point) => [...point]);
    this.past = [];
    this.toggle(true);
  }

  remember() { this.past.push(this.points.map((point) => [...point])); }

  corner(place) {
    if (!this.active) return;
    this.remember();
    this.points.push(this.viewer.pixels(place));
    this.show();
  }

  undo() {
    if (!this.past.length) return;
    this.points = this.past.pop();
    this.show();
  }

  drop() { this.points = []; this.past = []; this.viewer.find("fresh").value = "on"; this.toggle(false); }

  put(number, place) {
    this.points[number] = this.viewer.pixels(place);
    this.sketch();
    this.tell();
  }

  remove(number) {
    this.remember();
    this.points.splice(number, 1);
    this.show();
    (this.handles[Math.min(number, this.points.length - 1)]?.getElement() ?? this.viewer.place).focus();
  }

  show() {
    this.handles.forEach((mark) => mark.remove());
    this.handles = [];
    this.sketch();
    if (this.points.length <= MOST_HANDLES) this.points.forEach((point, number) => this.grip(point, number));
    if (this.points.length >= 2 && this.points.length <= MOST_HANDLES) this.gripsBetween();
    this.tell();
  }

  grip([x, y], number) {
    this.handles.push(handle(this.viewer, this.viewer.at(x, y), {
      words: `Corner ${number + 1} of ${this.points.length}; arrow keys move it, Delete takes it away`,
      begun: () => this.remember(),
      moved: (place) => this.put(number, place),
      done: (byKey) => { if (!byKey) this.show(); },
      removed: () => this.remove(number),
    }));
  }

  /** Between two corners a fainter handle: dragged, it becomes a corner of its own. */
  gripsBetween() {
    const count = this.points.length;
    const sides = this.open || count < 3 ? count - 1 : count;
    for (let number = 0; number < sides; number += 1) {
      const [a, b] = [this.points[number], this.points[(number + 1) % count]];
      const mark = handle(this.viewer, this.viewer.at((a[0] + b[0]) / 2, (a[1] + b[1]) / 2), {
        words: `Between corner ${number + 1} and the next; moved, it becomes a corner`,
        small: true,
        begun: () => { this.remember(); this.points.splice(number + 1, 0, [0, 0]); },
        moved: (place) => this.put(number + 1, place),
        done: () => { this.show(); this.handles[number + 1]?.getElement().focus(); },
      });
      this.handles.push(mark);
    }
  }

  sketch() {
    this.viewer.sketch.clearLayers();
    if (this.points.length > 1) this.viewer.line(this.kind, this.points, this.viewer.sketch);
  }

  tell() {
    const least = this.kind === "face" || this.kind === "strip" ? 2 : 3;
    const { viewer, points } = this;
    viewer.find("points").value = JSON.stringify(points);
    viewer.root.querySelectorAll("[data-keep]").forEach((button) => { button.disabled = points.length < least; });
    viewer.find("undo").disabled = !this.past.length;
    viewer.find("told").textContent = this.active || points.length ? `${points.length} corner${points.length === 1 ? "" : "s"} set; at least ${least} are needed. Corners can be dragged, or moved by the arrow keys.` : "";
  }
}

/** The two ends of the scale bar, set, dragged and stepped on the picture; their distance goes into its form. */
export class Bar {
  constructor(viewer) {
    this.viewer = viewer;
    this.form = viewer.root.querySelector("[data-bar-form]");
    if (!this.form) return;
    this.button = this.form.querySelector("[data-measure-bar]");
    this.ends = [];
    this.button.addEventListener("click", () => this.toggle());
    this.form.querySelector("[name=bar_um]").addEventListener("input", () => this.tell());
    this.panel = viewer.root.querySelector("[data-bar-panel]");
    this.panel?.addEventListener("toggle", () => { if (this.panel.open) this.propose(); });
  }

  /** Ask once where the ends of the bar in the strip lie; nothing that a person set is moved. */
  async propose() {
    const address = this.panel.dataset.barEnds;
    if (!address || this.asked) return;
    this.asked = true;
    let found;
    try {
      found = await (await fetch(address)).json();
    } catch {
      found = { refused: "No answer came." };
    }
    if (this.active || this.ends.length) return;
    if (found.refused) {
      this.proposed = `No ends are proposed. ${found.refused}`;
      this.tell();
      return;
    }
    const [a, b] = found.ends.map(([x, y]) => this.viewer.at(x, y));
    this.put(a);
    this.put(b);
    this.proposed = found.ticks ? "Proposed from the middle of one tick to that of the other; drag the ends where they do not sit." : "Proposed from edge to edge; drag the ends where they do not sit.";
    this.viewer.map.fitBounds(this.viewer.L.latLngBounds(a, b).pad(0.3), { maxZoom: 2 });
    this.viewer.map.panInsideBounds(this.viewer.bounds, { animate: false });
    this.show();
  }

  toggle() {
    this.active = !this.active;
    this.button.setAttribute("aria-pressed", String(this.active));
    this.viewer.root.classList.toggle("drawing", this.active);
    if (this.active) { this.clear(); this.viewer.place.focus(); }
    this.tell();
  }

  put(place) {
    const words = `${this.ends.length ? "Second" : "First"} end of the scale bar; arrow keys move it`;
    this.ends.push(handle(this.viewer, place, { words, moved: () => { this.proposed = ""; this.show(); } }));
  }

  clear() { this.proposed = ""; this.ends.forEach((end) => end.remove()); this.line?.remove(); this.ends = []; }

  end(place) {
    if (!this.active || this.ends.length >= 2) return;
    this.put(place);
    if (this.ends.length === 2) { this.toggle(); this.form.querySelector("[name=bar_um]").focus({ preventScroll: true }); }
    this.show();
  }

  show() {
    if (this.ends.length === 2) {
      const [a, b] = this.ends.map((end) => end.getLatLng());
      this.line?.remove();
      this.line = this.viewer.L.polyline([a, b], { color: "#fff", weight: 2, interactive: false }).addTo(this.viewer.map);
      this.form.querySelector("[name=bar_px]").value = Math.hypot(a.lng - b.lng, a.lat - b.lat).toFixed(1);
    }
    this.tell();
  }

  /** What the bar says of a pixel, before anything is kept. */
  tell() {
    const [px, um] = ["bar_px", "bar_um"].map((name) => Number(this.form.querySelector(`[name=${name}]`).value.replace(",", ".")));
    const told = this.form.querySelector("[data-bar-told]");
    if (this.active) told.textContent = `Set end ${this.ends.length + 1} of 2.`;
    else if (px > 0 && um > 0) told.textContent = `A pixel would be ${Number((um / px).toPrecision(4))} µm.`;
    else told.textContent = [px > 0 ? `The bar is ${px} px long. Type its length.` : "", this.proposed].filter(Boolean).join(" ");
  }
}
