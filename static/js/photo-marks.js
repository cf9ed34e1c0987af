// Points tapped on a photograph fill the field of the form that is unfolded: corners of the electrode, a place, the
// outline of a piece. Arrow keys move a cross, Enter puts a point, Backspace takes the last one back.

import { addressOf, drawnX, pointWords } from "./bench-point.js";
import { Crosshair, shape } from "./crosshair.js";

const CORNERS = ["top left", "top right", "bottom right", "bottom left"];
const stage = document.querySelector("[data-photo]"), said = document.querySelector("[data-photo-said]");
const svg = stage.querySelector("svg"), drawn = shape("polygon", { class: "new" }, svg), cross = shape("path", { class: "cross" }, svg);
const dots = shape("g", { class: "dots" }, svg);
const matrix = stage.dataset.matrix ? JSON.parse(stage.dataset.matrix) : null;
let form = null;

const field = () => form.elements[form.dataset.taps];
const points = () => field().value.split(";").map((pair) => pair.trim().split(/\s+/).map((n) => Number(n.replace(",", ".")) / 100)).filter((pair) => pair.length === 2 && pair.every(Number.isFinite));
const percent = (value) => String(Math.round(value * 1e5) / 1e3);

function keep(found) {
  field().value = found.map(([x, y]) => `${percent(x)} ${percent(y)}`).join("; ");
  redraw();
}

// What the corners say about a point of the picture: its address, or nothing beside the electrode.
function addressAt([x, y]) {
  if (!matrix) return null;
  const row = (n) => matrix[n] * x + matrix[n + 1] * y + matrix[n + 2], w = row(6), across = row(0) / w, down = row(3) / w;
  if (w <= 0 || across < 0 || across > 1 || down < 0 || down > 1) return null;
  const { face, grid } = stage.dataset, point = [drawnX(across, face), down].map((v) => Math.round(v * 1e4) / 1e4);
  return { point, face, address: addressOf(point, face, grid) };
}

function redraw() {
  const found = form ? points() : [], thousandths = found.map(([x, y]) => [x * 1000, y * 1000]);
  drawn.setAttribute("points", found.length > 1 ? thousandths.map((p) => p.join(",")).join(" ") : "");
  dots.replaceChildren();
  for (const [x, y] of thousandths) shape("path", { d: `M${x} ${y}h0` }, dots);
  said.textContent = form ? words(found) : "";
  const say = form?.querySelector("[data-say]"), there = found[0] && addressAt(found[0]);
  if (say) {
    say.hidden = !there;
    if (there) say.href = `${say.dataset.say}&place=${there.address}&x=${there.point[0]}&y=${there.point[1]}`;
  }
}

function words(found) {
  const { taps } = form.dataset, last = found.at(-1), there = last && addressAt(last);
  const where = there ? `${there.address}, ${pointWords(there.point)}. ` : "";
  if (taps === "corners") return found.length < 4 ? `Tap the ${CORNERS[found.length]} corner, as the electrode lies.` : "Four corners. Take the last one back, or fix the electrode.";
  if (taps === "point") return found.length ? where || "This point lies beside the electrode." : "Tap the place.";
  return found.length < 3 ? "Tap round the piece, corner by corner." : `${where}${found.length} corners.`;
}

const crosshair = new Crosshair(stage, {
  area: stage.querySelector("img"),
  moved(at) {
    cross.setAttribute("d", at && form ? `M${at[0] * 1000} 0V1000M0 ${at[1] * 1000}H1000` : "");
    const there = at && addressAt(at);
    if (form && there) said.textContent = `${there.address}, ${pointWords(there.point)}`;
  },
  put(at) {
    if (!form) return;
    const found = points(), most = Number(form.dataset.most);
    keep(most === 1 ? [at] : found.length < most ? [...found, at] : found);
  },
  back() { if (form) keep(points().slice(0, -1)); },
});

function choose(chosen) {
  form = chosen;
  stage.classList.toggle("taps", Boolean(form));
  if (form) {
    stage.tabIndex = 0;
    stage.setAttribute("role", "application");
    stage.setAttribute("aria-label", "The photograph: arrow keys move a cross, Enter puts a point, Backspace takes the last one back");
  } else for (const name of ["tabindex", "role", "aria-label"]) stage.removeAttribute(name);
  crosshair.to(null);
  redraw();
}

const forms = [...document.querySelectorAll("form[data-taps]")];
for (const each of forms) {
  const fold = each.closest("details"), undo = Object.assign(document.createElement("button"), { type: "button", textContent: "take the last point back" });
  undo.addEventListener("click", () => { choose(each); crosshair.back(); });
  each.querySelector(".buttons").append(undo);
  each.elements[each.dataset.taps].addEventListener("input", () => { if (form === each) redraw(); });
  fold?.addEventListener("toggle", () => {
    if (fold.open) {
      for (const other of forms) if (other !== each && other.closest("details")) other.closest("details").open = false;
      choose(each);
    } else if (form === each) choose(null);
  });
  if (!fold || fold.open) choose(each);
}
