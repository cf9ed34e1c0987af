// The bench: what is touched is told to who does it. Each noun has a module of its own beside this one.
// Without this script every card is a form that the server takes; with it nothing waits for the network.

import { Cards } from "./bench-cards.js";
import { Cautions } from "./bench-cautions.js";
import { Notes } from "./bench-notes.js";
import { Opened } from "./bench-opened.js";
import { readWith } from "./bench-instruments.js";
import { all, button, dialog, part, root, tell } from "./bench-page.js";
import { People } from "./bench-people.js";
import { Pictures } from "./bench-pictures.js";
import { Queue, newKey } from "./bench-queue.js";
import { Saying } from "./bench-saying.js";
import { Screen } from "./bench-screen.js";
import { Timers } from "./bench-timers.js";
import { Waiting } from "./bench-waiting.js";
import { WhichCell } from "./bench-which.js";
import { faultOf, plainCode } from "./code-characters.js";

const GUARD_MS = 400, LEAVING_MS = 3000;

class Bench {
  constructor() {
    const asked = new URLSearchParams(location.search), { dataset } = root;
    this.cell = dataset.cell;
    this.lastTap = 0;
    this.screen = new Screen();
    document.documentElement.classList.add("scripted");
    this.opened = new Opened();
    this.queue = new Queue({ keep: dataset.keep, photograph: dataset.keepPhotograph, audio: dataset.keepAudio, changed: () => this.waiting?.count() });
    this.people = new People(this);
    this.cards = new Cards({ cell: this.cell, keep: (ask, text) => this.saying.number(ask, text), shown: () => this.cautions.note(false) });
    this.cautions = new Cautions(this);
    this.saying = new Saying(this);
    this.pictures = new Pictures(this);
    this.notes = new Notes(this);
    const known = JSON.parse(document.getElementById("bench-known").textContent);
    for (const entry of known) this.cards.knows(entry);
    this.waiting = new Waiting({ queue: this.queue, cards: this.cards, known: known.length });
    this.which = new WhichCell({ ...this, go: (address) => this.go(address) });
    this.timers = new Timers({ list: part("timers"), finished: (row, ran) => this.timed(row, ran) });
    this.wire();
    this.start(asked.get("card") || dataset.card, asked.get("field"));
  }

  async start(card, field) {
    await this.waiting.overlay({ cell: this.cell, loaded: Date.parse(root.dataset.now), opened: (zero) => this.opened.is(zero) });
    this.cards.show(card, field);
    this.waiting.count();
    this.opened.tick();
    const flush = () => this.waiting.flush();
    setInterval(flush, 2000);
    addEventListener("online", flush);
    addEventListener("pagehide", flush);
    if (this.which.idle) this.which.ask();
    else this.which.touched();
    navigator.storage?.persist?.();
    this.startWorker();
  }

  async startWorker() {
    if (!("serviceWorker" in navigator)) return;
    try {
      await navigator.serviceWorker.register(root.dataset.worker);
      const { active } = await navigator.serviceWorker.ready;
      const used = performance.getEntriesByType("resource").map((entry) => entry.name).filter((name) => name.includes("/static/"));
      active.postMessage({ keep: [location.href.split("?")[0], ...used] });
    } catch { /* without HTTPS there is none; what is said is kept all the same */ }
  }

  go(address) {
    this.within = performance.now();
    location.href = address;
  }

  turn(card) {
    history.pushState(null, "", `?card=${card}`);
    this.cards.show(card);
  }

  // A timer that was ended is an entry: how long it truly ran, and what was waited for.
  async timed(row, ran) {
    const say = (term, value, words) => this.queue.add({ key: newKey(), kind: "entry", cell: row.cell, said: { ...this.saying.frame(term), value }, words }, 0);
    await say("timer.ran_min", ran.toFixed(1), `${row.what}: ${ran.toFixed(1)} min`);
    await say("timer.what", row.what, row.what);
    tell(`${row.what}: ${ran.toFixed(1)} min. Kept here.`);
  }

  // A code that was read or typed chooses a sample of this cell; one of another cell is told apart.
  coded(text) {
    const code = plainCode(text), fault = faultOf(code), here = all(`[data-sample="${CSS.escape(code)}"]`).length > 0;
    part("code-error").textContent = fault || (here ? "" : `${code} is no sample of ${this.cell} that this page knows. Was it named after the page was loaded? Then load it again.`);
    if (fault || !here) return;
    dialog("code").close();
    this.cards.choose((about) => { about.sample = code; });
  }

  // --- touches -----------------------------------------------------------------------------------------------------

  wire() {
    root.addEventListener("click", (event) => this.guard(event), true);
    root.addEventListener("click", (event) => this.touch(event));
    root.addEventListener("submit", (event) => this.submitted(event));
    root.addEventListener("reads-code", ({ target, detail }) => (target.id === "bench-scan" ? this.which.answered(detail) : this.coded(detail)));
    document.addEventListener("bench:rang", ({ detail }) => tell(`${detail.what}, ${detail.cell}: time is up.`, true));
    // Within these pages nothing is left behind; whoever closes the tab is asked while something waits here.
    document.addEventListener("click", (event) => { if (event.target.closest("a[href], form button")) this.within = performance.now(); }, true);
    addEventListener("beforeunload", (event) => { if (this.notes.recorder.runs || (this.waiting.waits && performance.now() - (this.within ?? -Infinity) > LEAVING_MS)) event.preventDefault(); });
    addEventListener("popstate", () => this.cards.show(new URLSearchParams(location.search).get("card") ?? this.cards.card.dataset.card));
  }

  // A second touch within 400 ms is a drop of water, not a word; number keys may be quick. What counts is when it fell on
  // the glass: a tablet that is busy tells of it late.
  guard(event) {
    const target = event.target.closest(".bench-button, .bench-row"), now = event.timeStamp, asked = dialog("scan").open;
    if (!target || target.dataset.key || target.dataset.ruler) return;
    const drop = now - this.lastTap < GUARD_MS, idle = !drop && !asked && this.which.idle;
    if (drop || idle) { event.preventDefault(); event.stopImmediatePropagation(); }
    if (drop) return;
    this.lastTap = now;
    if (idle) this.which.ask();
    else if (!asked) this.which.touched();
  }

  touch(event) {
    const target = event.target.closest("button, a.bench-button, a.bench-row"), ask = target?.closest(".bench-ask");
    if (!target) return;
    const { dataset } = target, deed = this.deeds[dataset.deed];
    const kind = Object.keys(this.touches).find((name) => dataset[name] !== undefined);
    const told = deed ?? (kind && this.touches[kind]) ?? (target.name === "said" && ask && ((button) => this.saying.touched(button, ask)));
    if (!told) return;
    event.preventDefault();
    told.call(this, target, ask);
  }

  // What a touch means by what the target bears; the first that it bears counts.
  touches = {
    row({ dataset }) { this.cards.open(dataset.row); },
    address({ dataset }) { this.cards.at(dataset.address); },
    partKey({ dataset }) { this.cards.choose((about) => about.part(dataset.partKey, dataset.partNumber)); },
    sample({ dataset }) { this.cards.choose((about) => { about.sample = dataset.sample; }); },
    instrument(target) { this.cards.choose(() => readWith(target)); },
    sure({ dataset }) { this.cards.choose((about) => { about.sure = dataset.sure; }); },
    ago({ dataset }, ask) { this.saying.zero(ask, Number(dataset.ago)); },
    frame({ dataset }) { this.pictures.ask(dataset.frame); },
    notDone(target) { this.saying.notDone(target); },
    amend({ dataset }) { this.saying.amend(dataset.amend); },
    minutes({ dataset }) { const what = document.getElementById("bench-timer-what"); this.timers.start(Number(dataset.minutes), what.value, this.cell); what.value = ""; },
    ruler({ dataset }) { this.screen.ruler(Number(dataset.ruler)); },
  };

  // What is behind "More" shuts that first.
  from(name, then) {
    dialog("more").close();
    if (name) dialog(name).showModal();
    then?.();
  }

  deeds = {
    undo() { this.saying.undo(); },
    next() {
      const { cards } = this, place = cards.card.dataset.per === "place" && cards.about.place && cards.about.next(cards.card), card = cards.near(1);
      if (place) return cards.at(place);
      if (card) return this.turn(card);
      return this.waiting.flush(true).then(() => this.go(root.querySelector('a[href$="/close/"]').href));
    },
    back() { this.from("", () => { const card = this.cards.near(-1); if (card) this.turn(card); }); },
    more() { for (const copy of all("[data-copy]")) copy.hidden = copy.dataset.copy !== this.cards.step; dialog("more").showModal(); },
    shut(target) { target.closest("dialog").close(); if (target.closest('[data-dialog="ruler"]')) this.screen.ruled(); },
    turn() { const { where, card } = this.cards; where.show(card, where.kind, where.face === "A" ? "B" : "A"); },
    zones() { this.cards.where.show(this.cards.card, "zones"); },
    point() { const { where, card } = this.cards; where.forget(); where.show(card, "point"); card.querySelector(`.bench-point[data-face="${where.face}"] svg`).focus(); },
    lattice() { this.cards.where.show(this.cards.card, "grid"); },
    others(target, ask) { this.cards.others(ask); },
    take() { this.cards.where.taken(); },
    same() { this.cards.allTheSame(); if (this.cards.same) tell("What you say next is said of all places."); },
    another({ dataset }) { this.pictures.ask(dataset.again); },
    live() { this.from("", () => this.pictures.live()); },
    snap() { this.pictures.snap(); },
    code() { part("code-error").textContent = ""; dialog("code").showModal(); },
    sound() { this.from("", () => this.notes.show()); },
    speak() { this.notes.speak(); },
    unspeak() { this.notes.drop(); },
    quiet() { dialog("sound").close(); },
    notdone() { this.from("notdone"); },
    timer() { this.from("timer"); },
    words() { this.from("words"); },
    person() { this.from("person"); },
    ruler() { this.from("ruler", () => this.screen.ruler(0)); },
    wipe() { this.from("", () => this.screen.wipe()); },
    tray() { this.from("", () => this.waiting.show()); },
    send() { this.waiting.sendNow(); },
    file() { this.waiting.file(); },
    retype() { dialog("unusual").close(); },
    twice() { this.saying.readTwice(); },
    move() { this.which.move(); },
    stay() { this.which.stay(); },
  };

  // Forms of the page, by what they match; a card's own form is said like a touch.
  forms = {
    "[data-scan-form]"(form) { this.which.answered(form.code.value); form.code.value = ""; },
    "[data-person-form]"(form, by) { this.people.change(form, by?.value); },
    "[data-words-form]"(form) { this.notes.written(form); },
    "[data-code-form]"(form) { this.coded(form.code.value); form.code.value = ""; },
    "[data-gist-form]"(form) { this.notes.gist(form); },
    "[data-read]"(form) { this.cautions.read(form); },
    '.bench-ask[data-kind="text"]'(form) { this.saying.text(form); },
    '.bench-ask[data-kind="number"]'(form) { this.saying.number(form, form.querySelector('[name="value"]').value); },
    ".bench-ask"() { /* its buttons were told by touch */ },
  };

  submitted(event) {
    const selector = Object.keys(this.forms).find((each) => event.target.matches(each));
    if (!selector) return;
    event.preventDefault();
    this.forms[selector].call(this, event.target, event.submitter);
  }
}

if (root) new Bench();
