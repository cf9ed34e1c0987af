// A rectangle drawn over a photograph with the pointer fills the four fields beside it; what is typed there is drawn.

import { shape } from "./crosshair.js";

const SIDES = ["left", "top", "right", "bottom"], LEAST = 0.005;
const stage = document.querySelector("[data-look-box]"), { form } = document.getElementById("id_left");
const picture = stage.querySelector("img"), rectangle = shape("rect", { class: "new" }, stage.querySelector("svg"));
const within = (value) => Math.min(1, Math.max(0, value));
const typed = () => SIDES.map((side) => Number(form.elements[side].value.replace(",", ".")));
let from = null;

function draw([left, top, right, bottom] = typed()) {
  const sound = [left, top, right, bottom].every(Number.isFinite) && right > left && bottom > top;
  const box = sound ? { x: left, y: top, width: right - left, height: bottom - top } : { x: 0, y: 0, width: 0, height: 0 };
  for (const [name, value] of Object.entries(box)) rectangle.setAttribute(name, value * 1000);
}

function at(event) {
  const around = picture.getBoundingClientRect();
  return [within((event.clientX - around.left) / around.width), within((event.clientY - around.top) / around.height)];
}

function drawn(event) {
  const [x, y] = at(event), [left, right] = [from[0], x].sort((a, b) => a - b), [top, bottom] = [from[1], y].sort((a, b) => a - b);
  if (right - left < LEAST || bottom - top < LEAST) return; // a tap draws nothing
  [left, top, right, bottom].forEach((value, side) => { form.elements[SIDES[side]].value = String(Math.round(value * 1000) / 1000); });
  draw();
}

stage.classList.add("taps");
stage.addEventListener("pointerdown", (event) => { if (event.button === 0 && picture.naturalWidth) { from = at(event); stage.setPointerCapture(event.pointerId); event.preventDefault(); } });
stage.addEventListener("pointermove", (event) => { if (from) drawn(event); });
stage.addEventListener("pointerup", (event) => { if (from) { drawn(event); from = null; } });
stage.addEventListener("pointercancel", () => { from = null; });
for (const side of SIDES) form.elements[side].addEventListener("input", () => draw());
draw();
