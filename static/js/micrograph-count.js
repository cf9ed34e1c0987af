// Counting by eye: one place after the other under a cross, answered by a key or a button; a draft stays in this browser.

import { TILE, tiles } from "./micrograph-map.js";

const AHEAD = 4;

class Counter {
  constructor(root) {
    this.root = root;
    this.find = (name) => root.querySelector(`[data-${name}]`);
    this.places = JSON.parse(document.getElementById("places").textContent);
    this.answers = this.draft();
    this.open();
    root.querySelectorAll("[data-answer]").forEach((button) => button.addEventListener("click", () => this.answer(button.dataset.answer)));
    this.find("back").addEventListener("click", () => this.back());
    document.addEventListener("keydown", (event) => this.key(event));
    root.querySelector("form").addEventListener("submit", () => localStorage.removeItem(root.dataset.key));
    this.show();
  }

  draft() {
    try { return JSON.parse(localStorage.getItem(this.root.dataset.key)) || []; } catch { return []; }
  }

  open() {
    const L = window.L;
    const { width, height, levels } = this.root.dataset;
    this.map = L.map(this.find("map"), {
      crs: L.CRS.Simple, zoomSnap: 0.25, attributionControl: false, zoomControl: false, minZoom: -Number(levels), maxZoom: 4, keyboard: false, zoomAnimation: false, fadeAnimation: false,
    });
    const bounds = L.latLngBounds(L.latLng(0, 0), L.latLng(-Number(height), Number(width)));
    tiles(L, this.root.dataset.tiles, Number(levels), { bounds }).addTo(this.map);
    this.cross = document.createElement("div");
    this.cross.className = "viewer-cross fine";
    this.find("map").append(this.cross);
  }

  show() {
    const number = this.answers.length;
    const done = number >= this.places.length;
    const [x, y] = this.places[Math.min(number, this.places.length - 1)];
    this.map.setView(window.L.latLng(-y, x), Math.max(this.map.getZoom() ?? 1, 1), { animate: false });
    this.fetchAhead(number);
    this.find("told").textContent = done ? "All places are called." : `${number + 1} of ${this.places.length}${this.pace(number)}`;
    this.find("answers").value = JSON.stringify(this.answers);
    this.find("keep").disabled = number < 10;
  }

  /** Has the tiles of the next places brought while this one is looked at, so that a key shows at once. */
  fetchAhead(number) {
    this.ahead ??= new Set();
    const size = this.map.getSize();
    const scale = 2 ** this.map.getZoom();
    const [wide, high] = [size.x / scale / 2, size.y / scale / 2];
    for (const [x, y] of this.places.slice(number + 1, number + 1 + AHEAD)) {
      for (let column = Math.floor(Math.max(x - wide, 0) / TILE); column * TILE < Math.min(x + wide, Number(this.root.dataset.width)); column += 1) {
        for (let row = Math.floor(Math.max(y - high, 0) / TILE); row * TILE < Math.min(y + high, Number(this.root.dataset.height)); row += 1) {
          const address = this.root.dataset.tiles.replace(/0\/0\/0(\.\w+)$/, `0/${column}/${row}$1`);
          if (this.ahead.has(address)) continue;
          this.ahead.add(address);
          new Image().src = address;
        }
      }
    }
  }

  /** How long the rest will take at the pace of this sitting. */
  pace(number) {
    this.begun ??= { at: Date.now(), number };
    const called = number - this.begun.number;
    if (called < 10) return "";
    const minutes = Math.max(Math.round(((Date.now() - this.begun.at) / called) * (this.places.length - number) / 60000), 1);
    return `, about ${minutes} minute${minutes === 1 ? "" : "s"} to go`;
  }

  answer(words) {
    const place = this.places[this.answers.length];
    if (!place) return;
    this.answers.push([...place, words]);
    this.remember();
  }

  back() { this.answers.pop(); this.remember(); }

  remember() {
    localStorage.setItem(this.root.dataset.key, JSON.stringify(this.answers));
    this.show();
  }

  key(event) {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const button = this.root.querySelector(`[data-digit="${event.key}"]`);
    if (button) this.answer(button.dataset.answer);
    else if (event.key === "Backspace") this.back();
    else return;
    event.preventDefault();
  }
}

for (const root of document.querySelectorAll("[data-counter]")) root.counter = new Counter(root);
