// The cards: one field open at a time, the others as rows of one line; what was answered stands beside each.

import { About, idOf } from "./bench-about.js";
import { instrumentOf, instrumentsOn } from "./bench-instruments.js";
import { Pad } from "./bench-pad.js";
import { all, button, part, root } from "./bench-page.js";
import { PlaceOnCard } from "./bench-place.js";

const AT_ONCE = 9;
const ABOUT = ["place", "part", "sample", "sure", "instrument"];

export const wordsOn = (touched) => touched.firstChild.textContent.trim();

export class Cards {
  // `cell` is its code; `keep(ask, text)` is called with a number that was typed; `shown()` when a card comes up.
  constructor({ cell, keep, shown }) {
    Object.assign(this, { cell, keep, shown, about: new About(), answers: new Map(), pads: new Map(), same: false });
    this.where = new PlaceOnCard({ said: () => this.saidPoints(), take: (address, point) => this.at(address, point) });
    for (const ask of all('.bench-ask[data-kind="number"]')) this.pad(ask);
  }

  get card() { return root.querySelector(".bench-card.here"); }

  get step() { return this.card.dataset.step; }

  id(ask) { return this.about.id(ask, this.card); }

  knows(entry, sent = true) { this.answers.set(idOf(entry), { said: entry.said, key: entry.key, value: entry.value, sent }); }

  saidPoints() {
    const places = new Set([...this.answers.keys()].map((id) => id.split("|")[3]).filter((place) => place?.includes("@")));
    return [...places].map((place) => [place[0], place.split("@")[1].split(",").map(Number)]);
  }

  at(place, point = null) {
    this.about.at(place, point);
    this.same = false;
    this.onward();
  }

  // Says what a card is about now, and opens the field that comes next.
  choose(change) {
    change(this.about);
    this.onward();
  }

  onward() {
    this.refresh();
    this.open(this.firstOpen());
  }

  show(key, field = "") {
    all(".bench-card").forEach((card) => card.classList.toggle("here", card.dataset.card === key));
    if (!this.card) root.querySelector(".bench-card").classList.add("here");
    root.dataset.card = this.card.dataset.card;
    this.same = false;
    root.querySelector('.bench-shutter [name="step"]').value = this.step;
    this.shown();
    this.refresh();
    this.open(field || this.firstOpen());
  }

  // The card so many behind this one, or undefined past either end.
  near(by) {
    const cards = all(".bench-card");
    return cards[cards.indexOf(this.card) + by]?.dataset.card;
  }

  firstOpen() {
    const needed = this.about.needs(this.card);
    if (needed) return needed;
    const asks = all(".bench-ask[data-term]", this.card).filter((ask) => !ABOUT.includes(ask.dataset.kind));
    return (asks.find((ask) => ask.dataset.kind !== "frames" && !this.answers.has(this.id(ask))) ?? asks[0])?.dataset.term;
  }

  open(term) {
    const asks = all(".bench-ask", this.card), wanted = asks.find((ask) => ask.dataset.term === term) ?? asks[0];
    for (const ask of asks) ask.classList.toggle("open", ask === wanted || !ask.dataset.term);
    for (const row of all(".bench-row", this.card)) row.classList.toggle("open", row.dataset.row === wanted?.dataset.term);
    if (wanted?.dataset.kind === "number") this.pad(wanted).recall();
    if (wanted?.dataset.kind === "place") this.where.show(this.card, this.about.point ? "point" : "grid");
    this.mark();
  }

  pad(ask) {
    if (!this.pads.has(ask)) this.pads.set(ask, new Pad(ask, { draftKey: () => `bench-draft|${this.cell}|${this.id(ask)}`, keep: (text) => this.keep(ask, text) }));
    return this.pads.get(ask);
  }

  // Bring rows, pressed buttons and words in line with what is known.
  refresh() {
    const { card, about } = this, { per, title } = card.dataset, partWords = about.partWords(card);
    const spoken = { place: about.placeWords, sample: about.sample }[per] ?? partWords;
    part("where").textContent = [title, spoken].filter(Boolean).join(" · ");
    const special = { place: about.placeWords || "choose", part: partWords || "choose", sample: about.sample || "choose", sure: about.sure || "not said", instrument: instrumentsOn(card).join(", ") || "not said" };
    for (const row of all(".bench-row", card)) {
      const ask = card.querySelector(`.bench-ask[data-term="${CSS.escape(row.dataset.row)}"]`), words = row.querySelector("strong");
      const answer = ask && this.answers.get(this.id(ask));
      words.textContent = row.dataset.row in special ? special[row.dataset.row] : answer?.said ?? "not asked yet";
      words.classList.toggle("soft", ["choose", "not said", "not asked yet"].includes(words.textContent));
    }
    button("next").textContent = per === "place" && about.place && about.next(card) ? "Next place" : "Next card";
    this.mark();
  }

  mark() {
    const { about } = this;
    for (const ask of all(".bench-ask", this.card)) {
      const said = this.answers.get(this.id(ask))?.said;
      const press = (selector, so) => { for (const each of all(selector, ask)) each.setAttribute("aria-pressed", String(so(each))); };
      press('button[name="said"]', (each) => said !== undefined && wordsOn(each) === said);
      press("[data-address]", (each) => each.dataset.address === about.place);
      press("[data-sure]", (each) => each.dataset.sure === about.sure);
      press("[data-instrument]", ({ dataset }) => dataset.instrument !== "" && instrumentOf(dataset.quantity) === dataset.instrument);
      press("[data-sample]", (each) => each.dataset.sample === about.sample);
      press("[data-part-key]", (each) => about.isPart(each));
      press("[data-frame]", (each) => this.answers.has(`frame|${each.dataset.frame}`));
    }
    this.card.querySelector('[data-deed="same"]')?.setAttribute("aria-pressed", String(this.same));
  }

  // The next nine samples, and after the last the first again.
  others(ask) {
    const samples = all("[data-sample]", ask), first = samples.findIndex((each) => !each.classList.contains("later"));
    const from = first + AT_ONCE < samples.length ? first + AT_ONCE : 0;
    samples.forEach((each, at) => each.classList.toggle("later", at < from || at >= from + AT_ONCE));
  }

  // "All the same" is said on purpose; the next answer then holds for every place.
  allTheSame() {
    this.same = !this.same;
    if (!this.same) return this.mark();
    this.about.at("");
    this.mark();
    return this.open(all(".bench-ask", this.card).find((ask) => ["choice", "presence", "number"].includes(ask.dataset.kind)).dataset.term);
  }
}
