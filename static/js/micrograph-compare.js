// Two results side by side and what changed between them: three pictures that move together.

import { Picture } from "./micrograph-map.js";

class Comparison {
  constructor(root) {
    this.root = root;
    this.find = (name) => root.querySelector(`[data-${name}]`);
    this.pictures = [...root.querySelectorAll("[data-side]")].map((side) => {
      const picture = new Picture(root, side.querySelector("[data-map]"));
      picture.address = side.dataset.classes;
      return picture;
    });
    this.pictures.forEach((picture) => picture.map.on("move", () => this.follow(picture)));
    this.find("opacity").addEventListener("input", () => this.setOpacity());
    this.find("style").addEventListener("change", () => this.showClasses());
    this.find("whole").addEventListener("click", () => this.pictures[0].whole());
    this.find("bare").addEventListener("click", () => this.press());
    root.addEventListener("keydown", (event) => { if (event.key === "b" && !event.target.matches("input, select")) this.press(); });
    this.showClasses();
  }

  follow(leader) {
    if (this.following) return;
    this.following = true;
    for (const picture of this.pictures) {
      if (picture !== leader) picture.map.setView(leader.map.getCenter(), leader.map.getZoom(), { animate: false });
    }
    this.following = false;
  }

  showClasses() {
    for (const picture of this.pictures) {
      picture.classes?.remove();
      picture.classes = picture.layer(picture.address.replace("/fill/", `/${this.find("style").value}/`));
    }
    this.setOpacity();
  }

  press() {
    const button = this.find("bare");
    button.setAttribute("aria-pressed", String(button.getAttribute("aria-pressed") !== "true"));
    this.setOpacity();
  }

  setOpacity() {
    const bare = this.find("bare").getAttribute("aria-pressed") === "true";
    this.pictures.forEach((picture) => picture.classes.setOpacity(bare ? 0 : Number(this.find("opacity").value) / 100));
  }
}

for (const root of document.querySelectorAll("[data-comparison]")) root.comparison = new Comparison(root);
