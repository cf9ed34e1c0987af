// A point on the electrode, finer than its grid: the drawing of a face takes a touch or the arrow keys, and says in
// which place the point lies. Face B is drawn mirrored; what is kept is counted as seen from face A.

import { Crosshair, shape } from "./crosshair.js";

const rounded = (value) => Math.round(value * 10000) / 10000;

export const drawnX = (x, face) => (face === "B" ? 1 - x : x);
export const addressOf = ([x, y], face, grid) => `${face}.${"TMB"[Math.min(2, Math.floor(y * 3))]}${grid === "3x1" ? "2" : "123"[Math.min(2, Math.floor(x * 3))]}`;
export const pointWords = ([x, y]) => `${Math.round(100 * x)} % across, ${Math.round(100 * y)} % down`;

export class PointDrawing {
  // `changed(point, address)` is told of every movement; point is [x, y] as kept.
  constructor(svg, { changed }) {
    Object.assign(this, { svg, changed, face: svg.dataset.face, grid: svg.dataset.grid, plate: svg.querySelector("[data-plate]") });
    this.width = Number(svg.dataset.width);
    this.height = Number(svg.dataset.height);
    this.crosshair = new Crosshair(svg, { area: this.plate, moved: (at) => this.draw(at) });
  }

  get point() {
    const { at } = this.crosshair;
    return at && [rounded(drawnX(at[0], this.face)), rounded(at[1])];
  }

  get address() { return this.point && addressOf(this.point, this.face, this.grid); }

  set(point) { this.crosshair.to(point && [drawnX(point[0], this.face), point[1]]); }

  draw(at) {
    this.cross ??= shape("path", { class: "cross" }, this.svg);
    if (at) {
      const { width, height } = this, cx = at[0] * width, cy = at[1] * height;
      this.cross.setAttribute("d", `M${cx} 0V${height}M0 ${cy}H${width}M${cx - 4} ${cy}a4 4 0 1 0 8 0a4 4 0 1 0 -8 0`);
      this.svg.setAttribute("aria-label", `Face ${this.face}: ${this.address}, ${pointWords(this.point)}`);
    } else this.cross.setAttribute("d", "");
    this.changed(this.point, this.address);
  }

  // Points that were said before stay to be seen.
  show(points) {
    this.svg.querySelectorAll(".said-here").forEach((dot) => dot.remove());
    for (const [x, y] of points) shape("circle", { class: "said-here", cx: drawnX(x, this.face) * this.width, cy: y * this.height, r: 2.5 }, this.svg);
  }
}
