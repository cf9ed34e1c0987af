// Dragging over the image fills the four edges of the form, in percent; the form works without it.
const image = document.querySelector("[data-mark-image]");
const form = document.querySelector("[data-mark-form]");
const boxes = image.querySelector("svg");
let from = null;
let box = null;

const place = (event) => {
  const around = image.getBoundingClientRect();
  const within = (value, size) => Math.max(0, Math.min(100, (value / size) * 100));
  return [within(event.clientX - around.left, around.width), within(event.clientY - around.top, around.height)];
};

image.addEventListener("pointerdown", (event) => {
  if (event.button !== 0) return;
  event.preventDefault();
  image.setPointerCapture(event.pointerId);
  from = place(event);
  box?.remove();
  box = document.createElementNS("http://www.w3.org/2000/svg", "rect");
  box.setAttribute("class", "new");
  boxes.append(box);
});

image.addEventListener("pointermove", (event) => {
  if (!from) return;
  const to = place(event);
  const edges = {
    left: Math.min(from[0], to[0]), top: Math.min(from[1], to[1]),
    right: Math.max(from[0], to[0]), bottom: Math.max(from[1], to[1]),
  };
  box.setAttribute("x", edges.left * 10);
  box.setAttribute("y", edges.top * 10);
  box.setAttribute("width", (edges.right - edges.left) * 10);
  box.setAttribute("height", (edges.bottom - edges.top) * 10);
  for (const [name, value] of Object.entries(edges)) form.elements[name].value = value.toFixed(1);
});

image.addEventListener("pointerup", () => {
  if (from) form.elements.words.focus();
  from = null;
});
