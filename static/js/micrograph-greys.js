// Greys of resin, oxide and metal read off a picture, one touch each, into the form that pins them.

import { Picture } from "./micrograph-map.js";

const NAMES = ["pore", "oxide", "metal"];
const WORDS = { pore: "resin", oxide: "oxide", metal: "metal" };
const COLOURS = { pore: "#0072B2", oxide: "#D55E00", metal: "#ffffff" };

class Greys extends Picture {
  constructor(root) {
    super(root);
    this.form = document.querySelector("[data-levels-form]");
    this.places = {};
    this.marks = {};
    this.buttons = [...root.querySelectorAll("[data-name]")];
    this.buttons.forEach((button) => button.addEventListener("click", () => this.choose(button.dataset.name)));
    this.find("whole")?.addEventListener("click", () => this.whole());
    if (!this.form) return;
    this.choose("pore");
    this.map.on("click", ({ latlng }) => this.read(latlng));
    this.place.addEventListener("focus", () => root.classList.add("aiming"));
    this.place.addEventListener("blur", () => root.classList.remove("aiming"));
    root.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    const name = NAMES[Number(event.key) - 1];
    if (name) this.choose(name);
    else if (event.key === "Enter" && event.target === this.place) this.read(this.map.getCenter());
    else return;
    event.preventDefault();
  }

  choose(name) {
    this.name = name;
    this.buttons.forEach((button) => button.setAttribute("aria-pressed", String(button.dataset.name === name)));
  }

  async read(place) {
    const name = this.name;
    const [x, y] = this.pixels(place);
    this.find("state").textContent = `reading the grey of ${WORDS[name]}`;
    const answer = await fetch(`${this.root.dataset.grey}?${new URLSearchParams({ x, y })}`);
    const found = await answer.json();
    if (found.refused) { this.find("state").textContent = found.refused; return; }
    this.form.elements[name].value = found.grey.toFixed(4);
    this.places[name] = [x, y, found.grey];
    this.form.elements.evidence.value = JSON.stringify({ micrograph: Number(this.root.dataset.micrograph), places: this.places });
    this.marks[name]?.remove();
    this.marks[name] = this.L.circleMarker(place, { radius: 7, color: COLOURS[name], weight: 3, fill: false }).addTo(this.map);
    const doubt = found.spread > 0.02 ? ` It differs by ${found.spread.toFixed(3)} from pixel to pixel: is this the middle of a grain?` : "";
    this.find("state").textContent = `${WORDS[name]} is ${found.grey.toFixed(3)}, the median of ${found.n} pixels.${doubt}`;
    const next = NAMES[NAMES.indexOf(name) + 1];
    if (next && !this.places[next]) this.choose(next);
  }
}

for (const root of document.querySelectorAll("[data-greys]")) root.greys = new Greys(root);
