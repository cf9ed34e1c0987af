// What a card is being answered about: a place and a point on it, a part, a sample; and how each answer is filed.

import { all, root } from "./bench-page.js";
import { pointWords } from "./bench-point.js";

const order = (address) => "AB".indexOf(address[0]) * 100 + "TMB".indexOf(address[2]) * 10 + Number(address[3]);

export const idOf = ({ term, component = "", number = 1, place = "", sample = "", x = null, y = null }) => [term, component, number, x === null ? place : `${place}@${x},${y}`, sample].join("|");

export const placesOf = (card) => [...new Set(all(".electrode [data-address]", card).map((each) => each.dataset.address))].sort((a, b) => order(a) - order(b));

export class About {
  constructor() {
    // Without the network the page is that of another address: what this one asks for goes before what it brings.
    const { place, component, number, sample, x, y, photo } = { ...root.dataset, ...Object.fromEntries(new URLSearchParams(location.search)) };
    Object.assign(this, { place, component, number: Number(number) || 1, sample, sure: "", point: x && y ? [Number(x), Number(y)] : null, photo });
  }

  at(place, point = null) { Object.assign(this, { place, point, photo: "", sure: "" }); }

  part(component, number) { Object.assign(this, { component, number: Number(number) || 1 }); }

  // What is finer than the address: a point on the electrode, and the photograph that it was read off.
  get finer() {
    const { point, photo } = this;
    return { ...(point ? { x: point[0], y: point[1] } : {}), ...(photo ? { photo } : {}) };
  }

  of(ask, card) {
    const { per } = card.dataset, { term, component } = ask.dataset;
    if (per === "place") return { term, component, number: 1, place: this.place, ...this.finer };
    if (per === "sample") return { term, sample: this.sample };
    if (per === "part" && !component) return { term, component: this.component, number: this.number };
    return { term, component, number: 1 };
  }

  id(ask, card) {
    const about = this.of(ask, card);
    return idOf(about.sample ? { ...about, component: "" } : about);
  }

  get placeWords() { return this.place && [this.place, this.point && pointWords(this.point)].filter(Boolean).join(" · "); }

  partWords(card) {
    if (card.dataset.per !== "part" || card.dataset.component) return "";
    return all("[data-part-key]", card).find((each) => this.isPart(each))?.textContent.trim() ?? "";
  }

  isPart({ dataset: { partKey, partNumber } }) { return partKey === this.component && Number(partNumber) === this.number; }

  // What is missing before anything can be said on this card.
  needs(card) {
    const { per, component } = card.dataset;
    if (per === "place" && !this.place) return "place";
    if (per === "part" && !component && !this.component) return "part";
    if (per === "sample" && !this.sample && card.querySelector('[data-kind="sample"]')) return "sample";
    return null;
  }

  next(card) {
    const places = placesOf(card), at = places.indexOf(this.place);
    return at >= 0 ? places[at + 1] : undefined;
  }
}
