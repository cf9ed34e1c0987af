// The place on the electrode, as it is chosen on a card: a grid, a special zone, or a point on the drawing; two faces.

import { PointDrawing, pointWords } from "./bench-point.js";

const all = (selector, within) => [...within.querySelectorAll(selector)];
const TOOLS = { grid: ["turn", "zones", "point", "same"], zones: ["lattice"], point: ["turn", "lattice", "take"] };

export class PlaceOnCard {
  // `said()` gives the points that were said before, as [face, [x, y]]; `take(address, point)` is called for a choice.
  constructor({ said, take }) {
    Object.assign(this, { said, take, face: "A", kind: "grid", drawings: new Map() });
  }

  show(card, kind = this.kind, face = this.face) {
    const ask = card.querySelector(".bench-place");
    if (!ask) return;
    Object.assign(this, { card, kind, face });
    for (const each of all(".bench-face", ask)) each.hidden = kind !== "grid" || each.dataset.face !== face;
    for (const each of all(".bench-point", ask)) each.hidden = kind !== "point" || each.dataset.face !== face;
    ask.querySelector(".bench-zones").hidden = kind !== "zones";
    for (const tool of all(".turn [data-deed]", ask)) tool.hidden = !TOOLS[kind].includes(tool.dataset.deed);
    if (kind === "point") this.draw(ask);
  }

  draw(ask) {
    const svg = ask.querySelector(`.bench-point[data-face="${this.face}"] svg`);
    if (!this.drawings.has(svg)) this.drawings.set(svg, new PointDrawing(svg, { changed: (point, address) => this.tell(svg, point, address) }));
    this.drawing = this.drawings.get(svg);
    this.drawing.show(this.said().filter(([face]) => face === this.face).map(([, point]) => point));
    this.tell(svg, this.drawing.point, this.drawing.address);
  }

  tell(svg, point, address) {
    const take = svg.closest(".bench-place").querySelector('[data-deed="take"]');
    take.querySelector("small").textContent = point ? `${address}, ${pointWords(point)}` : "touch the drawing, or use the arrow keys";
    take.disabled = !point;
  }

  taken() { if (this.drawing?.point) this.take(this.drawing.address, this.drawing.point); }

  forget() { this.drawings.forEach((drawing) => drawing.set(null)); }
}
