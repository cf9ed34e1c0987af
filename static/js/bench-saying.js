// Saying something: kept on this tablet at once, taken back or amended with a reason, never written over.

import { idOf, placesOf } from "./bench-about.js";
import { wordsOn } from "./bench-cards.js";
import { readsHere } from "./bench-instruments.js";
import { numberOf } from "./bench-pad.js";
import { TOLD_MS, all, button, dialog, part, root, tell, untold } from "./bench-page.js";
import { clock } from "./bench-opened.js";
import { newKey } from "./bench-queue.js";

const SAID_BY_TOUCH = ["choice", "presence", "number", "text"];

const valueOf = ({ value }) => (value === undefined ? undefined : numberOf(String(value)));

// Limits that were worked out are said with four figures.
const short = (limit) => Number(Number(limit).toPrecision(4));
const usually = (low, high) => (low && high ? `${short(low)} to ${short(high)}` : low ? `${short(low)} or more` : `${short(high)} or less`);

export function readWire(value) {
  const at = value.indexOf(":"), kind = value.slice(0, at), said = value.slice(at + 1);
  return kind === "extent" ? { state: "present", extent: said } : kind === "not_done" ? { state: "not done", not_done: said } : { [kind]: said };
}

export class Saying {
  constructor({ cell, cards, queue, opened, people }) { Object.assign(this, { cell, cards, queue, opened, people, recent: [] }); }

  // What goes with everything that is said.
  frame(term, times = this.opened.moment()) { return { term, step: this.cards.step, vocabulary: Number(root.dataset.vocabulary), ...times, ...this.people.whose() }; }

  async say(ask, said, words, extra = {}) {
    const { cards } = this, { about, answers } = cards, needed = about.needs(cards.card);
    if (needed && !cards.same) return cards.open(needed);
    const id = cards.id(ask), before = answers.get(id);
    const full = { ...about.of(ask, cards.card), ...said, ...(about.sure ? { certainty: about.sure } : {}), ...this.frame(ask.dataset.term), ...extra };
    if (before && before.said === words) return cards.open(cards.firstOpen());
    if (before && !cards.same) {
      if (!before.sent && await this.queue.takeBack(before.key)) answers.delete(id);
      else return this.askWhy({ ask, said, words, full, before, id });
    }
    return this.keep(ask, said, words, full, id);
  }

  askWhy(pending) {
    this.pending = pending;
    part("again").textContent = `It was: ${pending.before.said}. Now: ${pending.words}. Why is it different?`;
    dialog("again").showModal();
  }

  async keep(ask, said, words, full, id) {
    const { cards } = this, { same, about } = cards, key = newKey();
    const ids = same ? placesOf(cards.card).map((place) => idOf({ ...about.of(ask, cards.card), place, x: null, y: null })) : [id];
    const restore = ids.map((each) => [each, cards.answers.get(each)]), value = valueOf(said);
    for (const each of ids) cards.answers.set(each, { said: words, key, value, sent: false });
    if (same) for (const name of ["place", "x", "y", "photo"]) delete full[name];
    await this.add({ key, kind: same ? "all" : "entry", cell: this.cell, said: full, ids, words, value, what: ask.dataset.words }, restore, `${ask.dataset.words}: ${words}`);
    cards.onward();
    // Whatever warming is told of shows its card with the laboratory's own text; it can be put away at once.
    if (full.term.startsWith("warm.") && said.state !== "absent") cards.card.querySelector(".bench-cautions").open = true;
  }

  async add(row, restore, words) {
    await this.queue.add({ ...row, ...this.people.credential() }, row.kind === "photograph" ? 0 : TOLD_MS);
    if (row.kind === "entry" || row.kind === "all") this.recent.push(row.key);
    this.last = { key: row.key, restore, row };
    tell(`${words}. Kept here.`);
    button("undo").disabled = false;
    clearTimeout(this.undoing);
    this.undoing = setTimeout(() => { button("undo").disabled = true; untold(); }, TOLD_MS);
  }

  async undo() {
    const { last, cards } = this;
    if (!last) return;
    this.last = null;
    button("undo").disabled = true;
    if (!(await this.queue.takeBack(last.key)) && last.row.kind === "entry")
      await this.queue.add({ key: newKey(), kind: "withdraw", cell: this.cell, target: last.key, said: { reason: "typing_slip" }, words: "taken back" }, 0);
    for (const [id, before] of last.restore ?? []) before ? cards.answers.set(id, before) : cards.answers.delete(id);
    if (last.row.said?.term === "opening.opened") this.opened.is(null);
    tell("Taken back.");
    cards.onward();
  }

  async amend(reason) {
    const { ask, said, words, full, before, id } = this.pending, key = newKey();
    dialog("again").close();
    this.cards.answers.set(id, { said: words, key, value: valueOf(said), sent: false });
    const what = Object.fromEntries(Object.entries({ ...said, certainty: full.certainty }).filter(([, value]) => value !== undefined));
    const row = reason === "both" ? { key, kind: "entry", said: full } : { key, kind: "amend", target: before.key, said: { ...what, reason } };
    await this.add({ ...row, cell: this.cell, ids: [id], words, what: ask.dataset.words }, [[id, before]], `${ask.dataset.words}: ${words}`);
    this.cards.onward();
  }

  number(ask, text) {
    const value = numberOf(text), { low, high, usualLow, usualHigh, unit, critical, quantity } = ask.dataset;
    if (Number.isNaN(value)) return tell("Type a number.", true);
    if ((low && value < Number(low)) || (high && value > Number(high))) return tell(`${text} ${unit} cannot be.`, true);
    const floor = this.floor(ask), instrument = readsHere(this.cards.card, quantity);
    if (floor !== undefined && floor !== "" && value < floor) return tell(`This reading, ${text}, is below the one before it, ${floor}. Were the two swapped?`, true);
    const unusual = (usualLow && value < Number(usualLow)) || (usualHigh && value > Number(usualHigh));
    const keep = () => { this.cards.pad(ask).empty(); return this.say(ask, { value: text.trim() }, `${text.trim()} ${unit}`.replace(/ 1$/, ""), { ...(unusual ? { confirmed_unusual: true } : {}), ...(instrument ? { instrument } : {}) }); };
    return unusual || critical ? this.readBack(`${text} ${unit}`, unusual ? `Usual here: ${usually(usualLow, usualHigh)} ${unit}.` : "Read the instrument once more.", keep) : keep();
  }

  // The number that this one cannot lie below, such as the reading before it on the same burette.
  floor(ask) {
    const { notBelow } = ask.dataset, { about, card, answers } = this.cards;
    if (!notBelow) return undefined;
    return answers.get(idOf({ ...about.of(ask, card), term: notBelow, ...(about.sample && card.dataset.per === "sample" ? { component: "" } : {}) }))?.value;
  }

  readBack(number, why, keep) {
    this.confirmed = keep;
    part("unusual").textContent = number;
    part("unusual-why").textContent = why;
    dialog("unusual").showModal();
  }

  readTwice() {
    dialog("unusual").close();
    this.confirmed?.();
    this.confirmed = null;
  }

  zero(ask, ago) {
    const at = new Date(Date.now() - ago * 60000), steady = Math.round(performance.now()) - ago * 60000;
    this.opened.is({ at: at.getTime(), ms: steady, clock });
    return this.say(ask, { state: "present" }, ago ? `${ago} min ago` : "now", { observed_at: at.toISOString(), device_ms: steady, observed_precision: ago ? "minute" : "second", minutes_since_opening: 0 });
  }

  text(form) {
    const field = form.querySelector('[name="value"]'), text = field.value.trim();
    if (text) this.say(form, { value: text }, text).then(() => { field.value = ""; });
  }

  notDone(touched) {
    dialog("notdone").close();
    const open = all(".bench-ask.open", this.cards.card).find((ask) => SAID_BY_TOUCH.includes(ask.dataset.kind));
    if (open) this.say(open, readWire(`not_done:${touched.dataset.notDone}`), `not done: ${touched.textContent.trim()}`);
  }

  touched(button, ask) { return this.say(ask, readWire(button.value), wordsOn(button)); }
}
