// A point on a picture or drawing: put by a touch on release, moved by the arrow keys, taken by Enter. Counted in
// fractions of the stage, from its left and its top.

const STEP = 0.01, LARGE = 0.05;
const ARROWS = { ArrowLeft: [-1, 0], ArrowRight: [1, 0], ArrowUp: [0, -1], ArrowDown: [0, 1] };
const within = (value) => Math.min(1, Math.max(0, value));

export class Crosshair {
  // `moved([x, y])` follows every movement; `put([x, y])` is called for a touch and for Enter; `back()` for Backspace.
  // `area` is what the fractions are counted over, where the stage has an edge around it.
  constructor(stage, { area = stage, moved = () => {}, put = () => {}, back = () => {} }) {
    Object.assign(this, { area, moved, put, back, at: null });
    stage.addEventListener("click", (event) => this.touch(event));
    stage.addEventListener("keydown", (event) => this.key(event));
  }

  to(point) {
    this.at = point && [within(point[0]), within(point[1])];
    this.moved(this.at);
  }

  touch(event) {
    const around = this.area.getBoundingClientRect();
    this.to([(event.clientX - around.left) / around.width, (event.clientY - around.top) / around.height]);
    this.put(this.at);
  }

  key(event) {
    const arrow = ARROWS[event.key];
    if (arrow) {
      event.preventDefault();
      const step = event.shiftKey ? LARGE : STEP, [x, y] = this.at ?? [0.5, 0.5];
      this.to(this.at ? [x + arrow[0] * step, y + arrow[1] * step] : [x, y]);
    } else if (event.key === "Enter" || event.key === " ") {
      event.preventDefault();
      if (!this.at) this.to([0.5, 0.5]);
      this.put(this.at);
    } else if (event.key === "Backspace" || event.key === "Delete") {
      event.preventDefault();
      this.back();
    }
  }
}

const SVG = "http://www.w3.org/2000/svg";

export function shape(name, attributes, parent) {
  const made = document.createElementNS(SVG, name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  parent?.append(made);
  return made;
}
