// Two thresholds tried on a crop: the crop is set on the picture, the sliders ask the server what it would give.

import { Picture } from "./micrograph-map.js";

const WAIT_MS = 120;
const THUMB_PX = 20;

class Trial extends Picture {
  constructor(root) {
    super(root);
    this.side = Number(root.dataset.crop);
    [this.resin, this.metal] = JSON.parse(document.getElementById("greys").textContent);
    this.sliders = [...root.querySelectorAll("[data-slider]")];
    this.centre = [this.width / 2, this.height / 2];
    this.frame = this.L.rectangle(this.bounds, { color: "#ffe14d", weight: 2, fill: false, interactive: false }).addTo(this.map);
    this.setFrame();
    this.lookAtCrop();
    this.listen();
    this.align();
    window.addEventListener("resize", () => this.align());
    this.moved();
  }

  listen() {
    this.sliders.forEach((slider) => slider.addEventListener("input", () => this.moved()));
    this.find("hatched").addEventListener("change", () => this.ask());
    this.find("opacity").addEventListener("input", () => this.setOpacity());
    this.find("bare").addEventListener("click", () => this.press());
    this.find("whole").addEventListener("click", () => this.whole());
    this.find("near").addEventListener("click", () => this.lookAtCrop());
    this.find("reset").addEventListener("click", () => this.reset());
    this.map.on("click", ({ latlng }) => this.setCentre(latlng));
    this.place.addEventListener("focus", () => this.root.classList.add("aiming"));
    this.place.addEventListener("blur", () => this.root.classList.remove("aiming"));
    this.root.addEventListener("keydown", (event) => this.key(event));
  }

  key(event) {
    if (event.target.matches("input[type=text], textarea, select")) return;
    if (event.key === "Enter" && event.target === this.place) this.setCentre(this.map.getCenter());
    else if (event.key === "b") this.press();
    else return;
    event.preventDefault();
  }

  press() {
    const button = this.find("bare");
    button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
    this.setOpacity();
  }

  setOpacity() {
    const bare = this.find("bare").getAttribute("aria-pressed") === "true";
    this.classes?.setOpacity(bare ? 0 : Number(this.find("opacity").value) / 100);
  }

  setCentre(place) {
    this.centre = this.pixels(place);
    this.setFrame();
    this.ask();
  }

  setFrame() {
    const width = Math.min(this.side, this.width);
    const height = Math.min(this.side, this.height);
    const left = Math.min(Math.max(this.centre[0] - width / 2, 0), this.width - width);
    const top = Math.min(Math.max(this.centre[1] - height / 2, 0), this.height - height);
    this.crop = this.box(left, top, width, height);
    this.frame.setBounds(this.crop);
  }

  lookAtCrop() { this.map.fitBounds(this.crop); }

  reset() {
    this.sliders.forEach((slider) => { slider.value = slider.dataset.stands; });
    this.moved();
  }

  /** The sliders run along the axis of greys above them, so that a thumb stands below its line. */
  align() {
    const drawing = document.querySelector("[data-greys-figure] svg");
    const box = document.querySelector("[data-thresholds]");
    if (!drawing?.dataset.x) return;
    const [, low, high, start, end] = drawing.dataset.x.split(" ").map(Number);
    const seen = drawing.getBoundingClientRect();
    const left = box.getBoundingClientRect().left;
    const unit = seen.width / drawing.viewBox.baseVal.width;
    const at = (grey) => seen.left - left + (start + ((grey - low) / (high - low)) * (end - start)) * unit;
    for (const slider of this.sliders) {
      // the middle of a thumb goes from half its width to half its width before the end
      slider.style.marginLeft = `${at(0) - THUMB_PX / 2}px`;
      slider.style.width = `${at(1) - at(0) + THUMB_PX}px`;
    }
  }

  moved() {
    for (const slider of this.sliders) {
      slider.value = Math.min(Math.max(Number(slider.value), Number(slider.dataset.low)), Number(slider.dataset.high));
      const grey = Number(slider.value);
      const place = (grey - this.resin) / (this.metal - this.resin);
      const words = `${grey.toFixed(3)}, ${Math.round(place * 100)} % of the way from resin to metal`;
      this.root.querySelector(`[data-told="${slider.dataset.slider}"]`).textContent = words;
      slider.setAttribute("aria-valuetext", words);
      this.form.elements[slider.dataset.slider].value = slider.value;
    }
    this.drawThresholds();
    window.clearTimeout(this.later);
    this.later = window.setTimeout(() => this.ask(), WAIT_MS);
  }

  get form() { return document.querySelector("[data-levels-form]"); }

  /** The thresholds as lines over the histogram, which the server drew with the levels. */
  drawThresholds() {
    const drawing = document.querySelector("[data-greys-figure] svg");
    if (!drawing?.dataset.x) return;
    const [, low, high, start, end] = drawing.dataset.x.split(" ").map(Number);
    this.marks ??= this.sliders.map(() => {
      const line = document.createElementNS("http://www.w3.org/2000/svg", "line");
      line.setAttribute("class", "tried");
      line.setAttribute("y1", "20");
      line.setAttribute("y2", String(drawing.viewBox.baseVal.height - 36));
      drawing.append(line);
      return line;
    });
    this.sliders.forEach((slider, number) => {
      const x = start + ((Number(slider.value) - low) / (high - low)) * (end - start);
      this.marks[number].setAttribute("x1", x);
      this.marks[number].setAttribute("x2", x);
    });
  }

  async ask() {
    this.asking?.abort();
    this.asking = new AbortController();
    const told = this.find("state");
    told.textContent = "reading the crop";
    this.root.setAttribute("aria-busy", "true");
    const query = new URLSearchParams({ x: this.centre[0], y: this.centre[1] });
    this.sliders.forEach((slider) => query.set(slider.dataset.slider, slider.value));
    if (this.find("hatched").checked) query.set("hatched", "on");
    try {
      const answer = await fetch(`${this.root.dataset.tried}?${query}`, { signal: this.asking.signal });
      this.show(await answer.json());
    } catch (error) {
      if (error.name !== "AbortError") told.textContent = "The server did not answer. Move a slider to ask again.";
    }
  }

  show(found) {
    const told = this.find("state");
    this.root.setAttribute("aria-busy", "false");
    if (found.refused) { told.textContent = found.refused; return; }
    const bounds = this.box(found.left, found.top, found.width, found.height);
    this.crop = bounds;
    this.frame.setBounds(bounds);
    this.classes?.remove();
    this.classes = this.L.imageOverlay(found.image, bounds, { pane: "classes", className: "tried-classes", interactive: false }).addTo(this.map);
    this.setOpacity();
    found.rows.forEach((row, number) => {
      for (const name of ["standing", "tried", "difference"]) {
        document.querySelector(`[data-row="${number}"] [data-cell="${name}"]`).textContent = row[name];
      }
    });
    told.textContent = `${found.changed} of the crop change class`;
  }
}

for (const root of document.querySelectorAll("[data-trial]")) root.trial = new Trial(root);
