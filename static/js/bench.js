// The cards of one dissection: one field open at a time, what is said kept on the tablet at once and sent by the queue.
// Without this script every card is a form that the server takes; with it nothing waits for the network.

import { digest } from "./bench-digest.js";
import { Pad, numberOf } from "./bench-pad.js";
import { PlaceOnCard } from "./bench-place.js";
import { pointWords } from "./bench-point.js";
import { Queue, newKey } from "./bench-queue.js";
import { BLURRED, sharpnessOf } from "./bench-sharp.js";
import { Recorder } from "./bench-sound.js";
import { Timers } from "./bench-timers.js";
import { faultOf, plainCode } from "./code-characters.js";

const GUARD_MS = 400, UNDO_MS = 8000, IDLE_MS = 600_000, WIPE_S = 20;
const root = document.querySelector(".bench");
const all = (selector, within = root) => [...within.querySelectorAll(selector)];
const part = (name) => root.querySelector(`[data-part="${CSS.escape(name)}"]`);
const dialog = (name) => root.querySelector(`[data-dialog="${name}"]`);
const clock = newKey();

class Bench {
  constructor() {
    // Without the network the page is that of another address: what this one asks for goes before what it brings.
    const { cell, card, place, component, number, sample, x, y, photo } = { ...root.dataset, ...Object.fromEntries(new URLSearchParams(location.search)) };
    this.cell = cell;
    this.about = { place, component, number: Number(number) || 1, sample, sure: "", point: x && y ? [Number(x), Number(y)] : null, photo };
    this.where = new PlaceOnCard({ said: () => this.saidPoints(), take: (address, point) => this.at(address, point) });
    this.same = false;
    this.answers = new Map();
    this.recent = [];
    this.shown = new Set();
    this.lastTap = 0;
    this.opened = root.dataset.opened ? { at: Date.parse(root.dataset.opened), ms: Number(root.dataset.openedMs) || null, clock: root.dataset.openedClock } : null;
    this.person = JSON.parse(localStorage.getItem("bench-person") ?? "null");
    this.known = JSON.parse(document.getElementById("bench-known").textContent);
    this.queue = new Queue({ keep: root.dataset.keep, photograph: root.dataset.keepPhotograph, audio: root.dataset.keepAudio, changed: () => this.count() });
    this.pads = new Map();
    document.documentElement.classList.add("scripted");
    const scale = Number(localStorage.getItem("bench-px-per-mm"));
    if (scale) this.sized(scale);
    this.timers = new Timers({ list: part("timers"), finished: (row, ran) => this.timed(row, ran) });
    this.wire();
    this.start(card);
  }

  async start(card) {
    for (const ask of all('.bench-ask[data-kind="number"]')) this.pad(ask);
    for (const entry of this.known) this.answers.set(this.id(entry), { said: entry.said, key: entry.key, value: entry.value, sent: true });
    await this.overlay();
    this.show(card, new URLSearchParams(location.search).get("field"));
    this.count();
    this.tick();
    setInterval(() => this.tick(), 1000);
    setInterval(() => this.flush(), 2000);
    addEventListener("online", () => this.flush());
    addEventListener("pagehide", () => this.flush());
    const last = Number(localStorage.getItem("bench-last-touch"));
    if (last && Date.now() - last > IDLE_MS) this.askCell();
    else localStorage.setItem("bench-last-touch", Date.now());
    navigator.storage?.persist?.();
    this.startWorker();
  }

  // What this tablet holds lies over what the page from the server (perhaps an old one) knows.
  async overlay() {
    const loaded = Date.parse(root.dataset.now), done = [];
    for (const row of await this.queue.all()) {
      if (row.state === "sending") { row.state = "waiting"; await this.queue.put(row); }
      if (row.state === "kept" && row.kept_at < loaded) { done.push(row.key); continue; }
      if (row.cell === this.cell && row.ids) for (const id of row.ids) this.answers.set(id, { said: row.words, key: row.target ?? row.key, value: row.value, sent: row.state === "kept" });
      if (row.cell === this.cell && row.said?.term === "opening.opened") this.opened = { at: Date.parse(row.said.observed_at), ms: row.said.device_ms, clock: row.said.clock };
    }
    if (done.length) await this.queue.forget(done);
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

  // --- what a card shows ---------------------------------------------------------------------------------------

  get card() { return root.querySelector(".bench-card.here"); }

  id({ term, component = "", number = 1, place = "", sample = "", x = null, y = null }) { return [term, component, number, x === null ? place : `${place}@${x},${y}`, sample].join("|"); }

  aboutOf(ask) {
    const { per } = this.card.dataset, component = ask.dataset.component;
    if (per === "place") return { term: ask.dataset.term, component, number: 1, place: this.about.place, ...this.finer() };
    if (per === "sample") return { term: ask.dataset.term, sample: this.about.sample };
    if (per === "part" && !component) return { term: ask.dataset.term, component: this.about.component, number: this.about.number };
    return { term: ask.dataset.term, component, number: 1 };
  }

  idOf(ask) {
    const about = this.aboutOf(ask);
    return this.id(about.sample ? { ...about, component: "" } : about);
  }

  // What is finer than the address: a point on the electrode, and the photograph that it was read off.
  finer() {
    const { point, photo } = this.about;
    return { ...(point ? { x: point[0], y: point[1] } : {}), ...(photo ? { photo } : {}) };
  }

  saidPoints() {
    const places = new Set([...this.answers.keys()].map((id) => id.split("|")[3]).filter((place) => place.includes("@")));
    return [...places].map((place) => [place[0], place.split("@")[1].split(",").map(Number)]);
  }

  at(place, point = null) {
    Object.assign(this.about, { place, point, photo: "", sure: "" });
    this.same = false;
    this.refresh();
    this.open(this.firstOpen());
  }

  placeWords() { return this.about.place && [this.about.place, this.about.point && pointWords(this.about.point)].filter(Boolean).join(" · "); }

  show(key, field = null) {
    all(".bench-card").forEach((card) => card.classList.toggle("here", card.dataset.card === key));
    if (!this.card) root.querySelector(".bench-card").classList.add("here");
    root.dataset.card = this.card.dataset.card;
    this.cautions(false);
    this.same = false;
    root.querySelector('.bench-shutter [name="step"]').value = this.card.dataset.card;
    this.refresh();
    this.open(field ?? this.firstOpen());
  }

  needs() {
    const { per, component } = this.card.dataset;
    if (per === "place" && !this.about.place) return "place";
    if (per === "part" && !component && !this.about.component) return "part";
    if (per === "sample" && !this.about.sample && this.card.querySelector('[data-kind="sample"]')) return "sample";
    return null;
  }

  firstOpen() {
    const needed = this.needs();
    if (needed) return needed;
    const asks = all(".bench-ask[data-term]", this.card).filter((ask) => !["place", "part", "sample", "sure", "instrument"].includes(ask.dataset.kind));
    return (asks.find((ask) => ask.dataset.kind !== "frames" && !this.answers.has(this.idOf(ask))) ?? asks[0])?.dataset.term;
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
    if (!this.pads.has(ask)) this.pads.set(ask, new Pad(ask, { draftKey: () => `bench-draft|${this.cell}|${this.idOf(ask)}`, keep: (text) => this.number(ask, text) }));
    return this.pads.get(ask);
  }

  // Bring rows, pressed buttons and words in line with what is known.
  refresh() {
    const { per, title } = this.card.dataset;
    const about = per === "place" ? this.placeWords() : per === "sample" ? this.about.sample : this.partWords();
    part("where").textContent = [title, about].filter(Boolean).join(" · ");
    for (const row of all(".bench-row", this.card)) {
      const ask = this.card.querySelector(`.bench-ask[data-term="${CSS.escape(row.dataset.row)}"]`), words = row.querySelector("strong");
      const special = { place: this.placeWords() || "choose", part: this.partWords() || "choose", sample: this.about.sample || "choose", sure: this.about.sure || "not said", instrument: this.instruments().join(", ") || "not said" };
      const answer = ask && this.answers.get(this.idOf(ask));
      words.textContent = row.dataset.row in special ? special[row.dataset.row] : answer?.said ?? "not asked yet";
      words.classList.toggle("soft", ["choose", "not said", "not asked yet"].includes(words.textContent));
    }
    const next = root.querySelector('[data-deed="next"]');
    next.textContent = per === "place" && this.about.place && this.nextPlace() ? "next place" : "next card";
    this.mark();
  }

  mark() {
    for (const ask of all(".bench-ask", this.card)) {
      const said = this.answers.get(this.idOf(ask))?.said;
      for (const button of all('button[name="said"]', ask)) button.setAttribute("aria-pressed", String(said !== undefined && this.words(button) === said));
      for (const button of all("[data-address]", ask)) button.setAttribute("aria-pressed", String(button.dataset.address === this.about.place));
      for (const button of all("[data-sure]", ask)) button.setAttribute("aria-pressed", String(button.dataset.sure === this.about.sure));
      for (const button of all("[data-instrument]", ask)) button.setAttribute("aria-pressed", String(button.dataset.instrument !== "" && this.instrumentOf(button.dataset.quantity) === button.dataset.instrument));
      for (const button of all("[data-sample]", ask)) button.setAttribute("aria-pressed", String(button.dataset.sample === this.about.sample));
      for (const button of all("[data-part-key]", ask)) button.setAttribute("aria-pressed", String(button.dataset.partKey === this.about.component && Number(button.dataset.partNumber) === this.about.number));
      for (const button of all("[data-frame]", ask)) button.setAttribute("aria-pressed", String(this.answers.has(`frame|${button.dataset.frame}`)));
    }
    this.card.querySelector('[data-deed="same"]')?.setAttribute("aria-pressed", String(this.same));
  }

  // Which instrument reads what is set-up: it stays until another is touched, and shows on every card that it reads for.
  instrumentOf(quantity) { return (quantity && localStorage.getItem(`bench-instrument|${quantity}`)) || ""; }

  instruments() { return [...new Set(all("[data-instrument]", this.card).map((b) => b.dataset.quantity).filter(Boolean).map((q) => this.instrumentOf(q)).filter(Boolean))]; }

  readWith(button) {
    const quantities = button.dataset.quantity ? [button.dataset.quantity] : all("[data-quantity]", button.parentElement).map((b) => b.dataset.quantity);
    for (const quantity of quantities) button.dataset.instrument ? localStorage.setItem(`bench-instrument|${quantity}`, button.dataset.instrument) : localStorage.removeItem(`bench-instrument|${quantity}`);
  }

  partWords() {
    if (this.card.dataset.per !== "part" || this.card.dataset.component) return "";
    const found = all("[data-part-key]", this.card).find((b) => b.dataset.partKey === this.about.component && Number(b.dataset.partNumber) === this.about.number);
    return found?.textContent.trim() ?? "";
  }

  words(button) { return button.firstChild.textContent.trim(); }

  places() { return [...new Set(all(".electrode [data-address]", this.card).map((b) => b.dataset.address))].sort((a, b) => this.order(a) - this.order(b)); }

  order(address) { return "AB".indexOf(address[0]) * 100 + "TMB".indexOf(address[2]) * 10 + Number(address[3]); }

  nextPlace() {
    const places = this.places(), at = places.indexOf(this.about.place);
    return at >= 0 ? places[at + 1] : undefined;
  }

  // --- saying --------------------------------------------------------------------------------------------------

  momentNow() {
    const now = new Date(), steady = Math.round(performance.now());
    const since = this.opened && (this.opened.clock === clock && this.opened.ms !== null ? steady - this.opened.ms : now.getTime() - this.opened.at) / 60000;
    return {
      observed_at: now.toISOString(), entered_at: now.toISOString(), device_ms: steady, clock,
      clock_offset_ms: Math.round(Number(localStorage.getItem("bench-offset") ?? 0)),
      ...(since !== null && since >= 0 ? { minutes_since_opening: Math.round(since * 100) / 100 } : {}),
    };
  }

  whose() { return this.person?.scribed ? { observer: this.person.username } : {}; }

  read(value) {
    const at = value.indexOf(":"), kind = value.slice(0, at), said = value.slice(at + 1);
    return kind === "extent" ? { state: "present", extent: said } : kind === "not_done" ? { state: "not done", not_done: said } : { [kind]: said };
  }

  async say(ask, said, words, extra = {}) {
    const needed = this.needs();
    if (needed && !this.same) return this.open(needed);
    const id = this.idOf(ask), before = this.answers.get(id), step = this.card.dataset.card;
    const full = { ...this.aboutOf(ask), ...said, step, vocabulary: Number(root.dataset.vocabulary), ...(this.about.sure ? { certainty: this.about.sure } : {}), ...this.momentNow(), ...this.whose(), ...extra };
    if (before && before.said === words) return this.open(this.firstOpen());
    if (before && this.same === false) {
      if (!before.sent && await this.queue.takeBack(before.key)) this.answers.delete(id);
      else { this.pending = { ask, said, words, full, before, id }; part("again").textContent = `It was: ${before.said}. Now: ${words}. Why is it different?`; return dialog("again").showModal(); }
    }
    const key = newKey();
    const ids = this.same ? this.places().map((place) => this.id({ ...this.aboutOf(ask), place, x: null, y: null })) : [id];
    const restore = ids.map((each) => [each, this.answers.get(each)]);
    for (const each of ids) this.answers.set(each, { said: words, key, value: said.value === undefined ? undefined : numberOf(String(said.value)), sent: false });
    if (this.same) for (const name of ["place", "x", "y", "photo"]) delete full[name];
    await this.add({ key, kind: this.same ? "all" : "entry", cell: this.cell, said: full, ids, words: this.same ? words : words, value: this.answers.get(ids[0]).value }, restore, `${ask.dataset.words}: ${words}`);
    this.refresh();
    this.open(this.firstOpen());
    // Whatever warming is told of shows its card with the laboratory's own text; it can be put away at once.
    if (full.term.startsWith("warm.") && said.state !== "absent") this.card.querySelector(".bench-cautions").open = true;
  }

  async add(row, restore, words) {
    await this.queue.add({ ...row, ...(this.person && !this.person.scribed ? { credential: this.person.credential } : {}) }, row.kind === "photograph" ? 0 : UNDO_MS);
    if (row.kind === "entry" || row.kind === "all") this.recent.push(row.key);
    this.last = { key: row.key, restore, row };
    this.tell(`${words}. Kept here.`);
    root.querySelector('[data-deed="undo"]').disabled = false;
    clearTimeout(this.undoing);
    this.undoing = setTimeout(() => { root.querySelector('[data-deed="undo"]').disabled = true; part("said").hidden = true; }, UNDO_MS);
  }

  async undo() {
    const { last } = this;
    if (!last) return;
    this.last = null;
    root.querySelector('[data-deed="undo"]').disabled = true;
    if (!(await this.queue.takeBack(last.key)) && last.row.kind === "entry")
      await this.queue.add({ key: newKey(), kind: "withdraw", cell: this.cell, target: last.key, said: { reason: "typing_slip" }, words: "taken back" }, 0);
    for (const [id, before] of last.restore ?? []) before ? this.answers.set(id, before) : this.answers.delete(id);
    if (last.row.said?.term === "opening.opened") this.opened = null;
    this.tell("Taken back.");
    this.refresh();
    this.open(this.firstOpen());
  }

  async amend(reason) {
    const { ask, said, words, full, before, id } = this.pending;
    dialog("again").close();
    const key = newKey();
    this.answers.set(id, { said: words, key, sent: false });
    const what = Object.fromEntries(Object.entries({ ...said, certainty: full.certainty }).filter(([, value]) => value !== undefined));
    const row = reason === "both" ? { key, kind: "entry", said: full } : { key, kind: "amend", target: before.key, said: { ...what, reason } };
    await this.add({ ...row, cell: this.cell, ids: [id], words }, [[id, before]], `${ask.dataset.words}: ${words}`);
    this.refresh();
    this.open(this.firstOpen());
  }

  number(ask, text) {
    const value = numberOf(text), { low, high, usualLow, usualHigh, unit, notBelow, critical } = ask.dataset;
    if (Number.isNaN(value)) return this.tell("Type a number.", true);
    if ((low && value < Number(low)) || (high && value > Number(high))) return this.tell(`${text} ${unit} cannot be.`, true);
    const instrument = all(`[data-instrument="${CSS.escape(this.instrumentOf(ask.dataset.quantity))}"]`, this.card).length ? this.instrumentOf(ask.dataset.quantity) : "";
    const floor = notBelow && this.answers.get(this.id({ ...this.aboutOf(ask), term: notBelow, ...(this.about.sample && this.card.dataset.per === "sample" ? { component: "" } : {}) }))?.value;
    if (floor !== undefined && floor !== "" && value < floor) return this.tell(`This reading, ${text}, is below the one before it, ${floor}. Were the two swapped?`, true);
    const unusual = (usualLow && value < Number(usualLow)) || (usualHigh && value > Number(usualHigh));
    const keep = () => { this.pad(ask).empty(); this.say(ask, { value: text.trim() }, `${text.trim()} ${unit}`.replace(/ 1$/, ""), { ...(unusual ? { confirmed_unusual: true } : {}), ...(instrument ? { instrument } : {}) }); };
    if (!unusual && !critical) return keep();
    this.confirmed = keep;
    part("unusual").textContent = `${text} ${unit}`;
    part("unusual-why").textContent = unusual ? `Unusual here: ${[usualLow, usualHigh].filter(Boolean).join(" to ")} ${unit}.` : "Read the instrument once more.";
    dialog("unusual").showModal();
  }

  zero(ask, ago) {
    const at = new Date(Date.now() - ago * 60000), steady = Math.round(performance.now()) - ago * 60000;
    this.opened = { at: at.getTime(), ms: steady, clock };
    const words = ago ? `${ago} min ago` : "now";
    this.say(ask, { state: "present" }, words, { observed_at: at.toISOString(), device_ms: steady, observed_precision: ago ? "minute" : "second", minutes_since_opening: 0 });
  }

  async photograph(files, frame = "") {
    for (const file of files) {
      const times = this.momentNow(), key = newKey();
      const form = { cell: this.cell, name: file.name, sha256: await digest(file), step: this.card.dataset.card, taken_at: times.observed_at, device_ms: String(times.device_ms), clock, ...(times.minutes_since_opening === undefined ? {} : { minutes_since_opening: String(times.minutes_since_opening) }), ...(frame ? { frame } : {}) };
      const measured = await sharpnessOf(file);
      if (frame) this.answers.set(`frame|${frame}`, { said: "taken" });
      await this.add({ key, kind: "photograph", cell: this.cell, blob: file, form, words: frame || "photograph" }, [], frame || "Photograph");
      if (measured !== null && measured < BLURRED) this.blurred(frame);
    }
    this.mark();
  }

  // It is kept in any case: whether another is worth it is for who stands there.
  blurred(frame) {
    this.tell("It looks blurred: take another? This one is kept.");
    const another = root.querySelector('[data-deed="another"]');
    another.hidden = false;
    another.dataset.again = frame;
  }

  // A spoken note is kept here like a photograph; the line that is typed of it is an entry that names it.
  async spoken(blob, seconds) {
    const { times } = this, key = newKey(), name = `note.${blob.type.split("/")[1] ?? "webm"}`;
    const form = { cell: this.cell, name, sha256: await digest(blob), step: this.card.dataset.card, taken_at: times.observed_at, device_ms: String(times.device_ms), clock, seconds: String(seconds), ...(times.minutes_since_opening === undefined ? {} : { minutes_since_opening: String(times.minutes_since_opening) }) };
    await this.add({ key, kind: "audio", cell: this.cell, blob, form, words: `spoken note, ${Math.round(seconds)} s` }, [], "Spoken note");
    this.note = { key, times };
    part("sound").textContent = `${Math.round(seconds)} s kept here`;
    root.querySelector("[data-gist-form]").hidden = false;
  }

  async gist(form) {
    const words = form.gist.value.trim();
    if (!words || !this.note) return;
    const said = { term: "note.audio", value: words, audio: this.note.key, step: this.card.dataset.card, vocabulary: Number(root.dataset.vocabulary), ...this.note.times, ...this.whose() };
    await this.add({ key: newKey(), kind: "entry", cell: this.cell, said, words }, [], "The note says");
    this.note = null;
    form.gist.value = "";
    form.hidden = true;
    dialog("sound").close();
  }

  recording() {
    const speak = root.querySelector('[data-deed="speak"]'), { runs } = this.recorder;
    speak.textContent = runs ? "end" : "begin";
    root.querySelector('[data-deed="unspeak"]').disabled = !runs;
    root.querySelector('[data-deed="quiet"]').disabled = runs;
  }

  async timed(row, ran) {
    const base = { step: this.card.dataset.card, vocabulary: Number(root.dataset.vocabulary), ...this.momentNow(), ...this.whose() };
    await this.queue.add({ key: newKey(), kind: "entry", cell: row.cell, said: { ...base, term: "timer.ran_min", value: ran.toFixed(1) }, words: `${row.what}: ${ran.toFixed(1)} min` }, 0);
    await this.queue.add({ key: newKey(), kind: "entry", cell: row.cell, said: { ...base, term: "timer.what", value: row.what }, words: row.what }, 0);
    this.tell(`${row.what}: ${ran.toFixed(1)} min. Kept here.`);
  }

  // --- what is kept where ----------------------------------------------------------------------------------------

  async count() {
    const { waiting, refused, kept } = await this.queue.counts();
    const again = this.queue.trouble?.startsWith("Sign in") && waiting ? ", sign in again" : "";
    this.waits = waiting + refused;
    part("here").textContent = `${waiting} kept here${refused ? `, ${refused} to look at` : ""}${again}`;
    part("here").classList.toggle("waits", waiting + refused > 0);
    part("server").textContent = `${this.known.length + kept} kept on the server`;
  }

  async flush(now = false) {
    await this.queue.send({ now });
    const rows = await this.queue.all();
    for (const row of rows) if (row.state === "kept" && row.ids) for (const id of row.ids) { const answer = this.answers.get(id); if (answer?.key === row.key) answer.sent = true; }
  }

  async tray() {
    const rows = (await this.queue.all()).filter((row) => row.state !== "kept" && row.kind !== "caution");
    part("tray-sentence").textContent = rows.length ? this.queue.trouble || "These go to the server by themselves." : "Nothing waits here.";
    if (!isSecureContext) part("tray-sentence").append(" This address is not HTTPS: all of it is kept here just the same, but the page itself cannot start without the network.");
    part("tray").replaceChildren(...rows.map((row) => {
      const item = document.createElement("li");
      const text = document.createElement("span");
      text.textContent = `${row.cell}: ${row.words ?? row.kind}${row.sentences ? `. ${row.sentences.join(" ")}` : ""}`;
      text.classList.toggle("refused", row.state === "refused");
      item.append(text);
      if (row.state === "refused") item.append(...this.trayButtons(row));
      return item;
    }));
    dialog("tray").showModal();
  }

  trayButtons(row) {
    const make = (words, deed) => {
      const button = Object.assign(document.createElement("button"), { className: "bench-button", textContent: words });
      button.addEventListener("click", async () => { await deed(); dialog("tray").close(); this.tray(); });
      return button;
    };
    const again = make(row.why === "unusual" ? "I read it twice" : "send again", async () => {
      if (row.why === "unusual") row.said.confirmed_unusual = true;
      await this.queue.put({ ...row, state: "waiting", not_before: 0, sentences: undefined });
      await this.flush(true);
    });
    return [again];
  }

  tick() {
    if (!this.opened) { part("opened").textContent = "not opened yet"; return; }
    const since = this.opened.clock === clock && this.opened.ms !== null ? performance.now() - this.opened.ms : Date.now() - this.opened.at;
    const seconds = Math.max(0, Math.floor(since / 1000)), minutes = Math.floor(seconds / 60), hours = Math.floor(minutes / 60);
    part("opened").textContent = hours >= 1 ? `opened ${hours} h ${minutes % 60} min ago` : `opened ${minutes} min ${seconds % 60} s ago`;
  }

  tell(words, refused = false) {
    const said = part("said");
    part("said-words").textContent = words;
    root.querySelector('[data-deed="another"]').hidden = true;
    said.classList.toggle("refused", refused);
    said.hidden = false;
    clearTimeout(this.telling);
    this.telling = setTimeout(() => { said.hidden = true; }, UNDO_MS);
  }

  // --- which cell lies here, who sees ------------------------------------------------------------------------------

  askCell() {
    part("scan-said").textContent = "";
    part("scan-other").hidden = true;
    dialog("scan").showModal();
  }

  scanned(text) {
    const code = text.trim().toUpperCase();
    if (code && this.cell.toUpperCase().endsWith(code)) {
      this.recent = [];
      localStorage.setItem("bench-last-touch", Date.now());
      return dialog("scan").close();
    }
    this.other = code.length > 4 ? code : this.cell.slice(0, -4) + code;
    part("scan-said").textContent = `This is ${this.other.slice(-4)}, you were on ${this.cell.slice(-4)}`;
    part("switch").href = root.dataset.keep.replace("keep/", `${encodeURIComponent(this.other)}/`) + `?card=${this.card.dataset.card}`;
    const move = root.querySelector('[data-deed="move"]');
    move.textContent = `switch, and move ${this.recent.length} entries`;
    move.disabled = !this.recent.length;
    part("scan-other").hidden = false;
  }

  async move() {
    const sent = [];
    for (const key of this.recent) {
      const row = (await this.queue.all()).find((each) => each.key === key);
      if (row && row.state === "waiting" && await this.queue.takeBack(key)) await this.queue.add({ ...row, cell: this.other, key: newKey() }, 0);
      else sent.push(key);
    }
    if (sent.length) await this.queue.add({ key: newKey(), kind: "move", cell: this.other, targets: sent, words: `${sent.length} moved` }, 0);
    await this.flush(true);
    localStorage.setItem("bench-last-touch", Date.now());
    this.go(part("switch").href);
  }

  async who(form, how) {
    const username = form.username.value, name = form.username.selectedOptions[0]?.textContent;
    if (how === "scribe") this.person = username === root.dataset.user ? null : { username, name, scribed: true };
    else {
      const credential = newKey() + newKey(), body = new FormData(form);
      body.set("credential", credential);
      const answer = await this.queue.post(root.dataset.person, body);
      if (!answer || answer.error) { form.pin.value = ""; part("person-error").textContent = answer?.error ?? this.queue.trouble; return; }
      part("person-error").textContent = "";
      this.person = { username, name, credential, scribed: false };
    }
    localStorage.setItem("bench-person", JSON.stringify(this.person));
    form.pin.value = "";
    dialog("person").close();
    this.tell(this.person ? `${name} sees${this.person.scribed ? "; you type" : ""}.` : "You see and type.");
  }

  // A code that was read or typed chooses a sample of this cell; one of another cell is told apart.
  coded(text) {
    const code = plainCode(text), fault = faultOf(code), vial = all(`[data-sample="${CSS.escape(code)}"]`).length > 0;
    if (fault || !vial) { part("code-error").textContent = fault || `${code} is no sample of ${this.cell} that this page knows. Was it named after the page was loaded? Then load it again.`; return; }
    part("code-error").textContent = "";
    this.about.sample = code;
    dialog("code").close();
    this.refresh();
    this.open(this.firstOpen());
  }

  wipe() {
    let left = WIPE_S;
    part("wipe").hidden = false;
    const step = () => { part("wipe-left").textContent = left; if (left === 0) part("wipe").hidden = true; else { left -= 1; setTimeout(step, 1000); } };
    step();
  }

  // --- touches -----------------------------------------------------------------------------------------------------

  wire() {
    root.addEventListener("click", (event) => this.guard(event), true);
    root.addEventListener("click", (event) => this.touch(event));
    root.addEventListener("submit", (event) => this.submitted(event));
    const shutter = document.getElementById("shutter");
    shutter.addEventListener("change", async () => { const files = [...shutter.files], frame = this.frame; this.frame = ""; await this.photograph(files, frame); shutter.value = ""; });
    document.getElementById("bench-file-in").addEventListener("change", async (event) => {
      try { this.tell(`${await this.queue.fromFile(event.target.files[0])} taken in.`); } catch (error) { this.tell(error.message, true); }
    });
    document.addEventListener("bench:rang", (event) => { this.tell(`${event.detail.what}, ${event.detail.cell}: time is up.`, true); });
    root.addEventListener("reads-code", (event) => { if (event.target.id === "bench-scan") this.scanned(event.detail); else this.coded(event.detail); });
    this.recorder = new Recorder({ words: (text) => { part("sound").textContent = text; }, done: (blob, seconds) => this.spoken(blob, seconds), changed: () => this.recording() });
    dialog("sound").addEventListener("cancel", (event) => { if (this.recorder.runs) event.preventDefault(); });
    // Within these pages nothing is left behind; whoever closes the tab is asked while something waits here.
    document.addEventListener("click", (event) => { if (event.target.closest("a[href], form button")) this.within = performance.now(); }, true);
    addEventListener("beforeunload", (event) => { if (this.recorder.runs || (this.waits && performance.now() - (this.within ?? -5000) > 3000)) event.preventDefault(); });
    addEventListener("popstate", () => this.show(new URLSearchParams(location.search).get("card") ?? this.card.dataset.card));
  }

  // A second touch within 400 ms is a drop of water, not a word; number keys may be quick.
  guard(event) {
    const target = event.target.closest(".bench-button, .bench-row");
    if (!target || target.dataset.key || target.dataset.ruler) return;
    const now = performance.now();
    if (now - this.lastTap < GUARD_MS) { event.preventDefault(); event.stopImmediatePropagation(); return; }
    this.lastTap = now;
    const last = Number(localStorage.getItem("bench-last-touch"));
    if (last && Date.now() - last > IDLE_MS && !dialog("scan").open) { event.preventDefault(); event.stopImmediatePropagation(); this.askCell(); return; }
    if (!dialog("scan").open) localStorage.setItem("bench-last-touch", Date.now());
  }

  touch(event) {
    const target = event.target.closest("button, a.bench-button, a.bench-row");
    if (!target) return;
    const ask = target.closest(".bench-ask"), { dataset } = target;
    const stop = () => event.preventDefault();
    if (dataset.deed && this.deeds[dataset.deed]) { stop(); this.deeds[dataset.deed].call(this, target); }
    else if (dataset.row) { stop(); this.open(dataset.row); }
    else if (dataset.address) { stop(); this.at(dataset.address); }
    else if (dataset.partKey) { stop(); Object.assign(this.about, { component: dataset.partKey, number: Number(dataset.partNumber) }); this.refresh(); this.open(this.firstOpen()); }
    else if (dataset.sample) { stop(); this.about.sample = dataset.sample; this.refresh(); this.open(this.firstOpen()); }
    else if (dataset.instrument !== undefined) { stop(); this.readWith(target); this.refresh(); this.open(this.firstOpen()); }
    else if (dataset.sure) { stop(); this.about.sure = dataset.sure; this.refresh(); this.open(this.firstOpen()); }
    else if (dataset.ago !== undefined) { stop(); this.zero(ask, Number(dataset.ago)); }
    else if (dataset.frame) { stop(); this.frame = dataset.frame; document.getElementById("shutter").click(); }
    else if (dataset.notDone) { stop(); dialog("notdone").close(); const open = all(".bench-ask.open", this.card).find((a) => ["choice", "presence", "number", "text"].includes(a.dataset.kind)); if (open) this.say(open, this.read(`not_done:${dataset.notDone}`), `not done: ${target.textContent.trim()}`); }
    else if (dataset.amend) { stop(); this.amend(dataset.amend); }
    else if (dataset.minutes) { stop(); const field = document.getElementById("bench-timer-what"); this.timers.start(Number(dataset.minutes), field.value, this.cell); field.value = ""; }
    else if (dataset.ruler) { stop(); this.ruler(Number(dataset.ruler)); }
    else if (target.name === "said" && ask) { stop(); this.say(ask, this.read(target.value), this.words(target)); }
  }

  deeds = {
    undo() { this.undo(); },
    next() {
      const next = this.card.dataset.per === "place" && this.about.place && this.nextPlace();
      if (next) return this.at(next);
      const cards = all(".bench-card"), at = cards.indexOf(this.card);
      if (at + 1 < cards.length) this.turn(cards[at + 1].dataset.card);
      else this.flush(true).then(() => this.go(root.querySelector('a[href$="/close/"]').href));
      return null;
    },
    back() { dialog("more").close(); const cards = all(".bench-card"), at = cards.indexOf(this.card); if (at > 0) this.turn(cards[at - 1].dataset.card); },
    more() { for (const copy of all("[data-copy]")) copy.hidden = copy.dataset.copy !== this.card.dataset.card; dialog("more").showModal(); },
    shut(target) { target.closest("dialog").close(); if (target.closest('[data-dialog="ruler"]')) this.ruled(); },
    turn() { this.where.show(this.card, this.where.kind, this.where.face === "A" ? "B" : "A"); },
    zones() { this.where.show(this.card, "zones"); },
    point() { this.where.forget(); this.where.show(this.card, "point"); this.card.querySelector(`.bench-point[data-face="${this.where.face}"] svg`).focus(); },
    lattice() { this.where.show(this.card, "grid"); },
    take() { this.where.taken(); },
    another(target) { this.frame = target.dataset.again ?? ""; document.getElementById("shutter").click(); },
    code() { part("code-error").textContent = ""; dialog("code").showModal(); },
    sound() { dialog("more").close(); part("sound").textContent = Recorder.can ? "not recording" : "This browser cannot record here: it needs HTTPS and a microphone. Write a note in words."; root.querySelector('[data-deed="speak"]').disabled = !Recorder.can; root.querySelector("[data-gist-form]").hidden = true; dialog("sound").showModal(); },
    speak() { if (this.recorder.runs) this.recorder.end(); else { this.times = this.momentNow(); this.recorder.begin(); } },
    unspeak() { this.recorder.drop(); part("sound").textContent = "dropped, nothing is kept"; },
    quiet() { dialog("sound").close(); },
    same() { this.same = !this.same; if (this.same) { Object.assign(this.about, { place: "", point: null, photo: "" }); this.mark(); const first = all(".bench-ask", this.card).find((ask) => ["choice", "presence", "number"].includes(ask.dataset.kind)); this.tell("What you say next is said of all places."); this.open(first.dataset.term); } else this.mark(); },
    notdone() { dialog("more").close(); dialog("notdone").showModal(); },
    timer() { dialog("more").close(); dialog("timer").showModal(); },
    words() { dialog("more").close(); dialog("words").showModal(); },
    person() { dialog("more").close(); dialog("person").showModal(); },
    ruler() { dialog("more").close(); dialog("ruler").showModal(); this.ruler(0); },
    wipe() { dialog("more").close(); this.wipe(); },
    tray() { dialog("more").close(); this.tray(); },
    async send() { await this.flush(true); dialog("tray").close(); this.tray(); },
    async file() { const link = Object.assign(document.createElement("a"), { href: URL.createObjectURL(await this.queue.toFile()), download: `bench-${new Date().toISOString().slice(0, 16)}.json` }); link.click(); },
    retype() { dialog("unusual").close(); },
    twice() { dialog("unusual").close(); this.confirmed?.(); this.confirmed = null; },
    move() { this.move(); },
    stay() { localStorage.setItem("bench-last-touch", Date.now()); dialog("scan").close(); },
  };

  go(address) {
    this.within = performance.now();
    location.href = address;
  }

  turn(key) {
    history.pushState(null, "", `?card=${key}`);
    this.show(key);
  }

  ruler(by) {
    this.length = Math.max(80, (this.length ?? 50 * (Number(localStorage.getItem("bench-px-per-mm")) || 96 / 25.4)) + by);
    part("ruler").style.width = `${this.length}px`;
    part("ruler-said").textContent = 19 * this.length / 50 > 112 ? "On a screen as small as this some cards will need scrolling." : "";
  }

  ruled() {
    localStorage.setItem("bench-px-per-mm", String(this.length / 50));
    this.sized(this.length / 50);
  }

  sized(scale) {
    document.documentElement.style.setProperty("--target", `${Math.max(72, Math.round(19 * scale))}px`);
  }

  submitted(event) {
    const form = event.target;
    if (form.matches("[data-scan-form]")) { event.preventDefault(); this.scanned(form.code.value); form.code.value = ""; }
    else if (form.matches("[data-person-form]")) { event.preventDefault(); this.who(form, event.submitter?.value); }
    else if (form.matches("[data-words-form]")) { event.preventDefault(); this.written(form); }
    else if (form.matches("[data-code-form]")) { event.preventDefault(); this.coded(form.code.value); form.code.value = ""; }
    else if (form.matches("[data-gist-form]")) { event.preventDefault(); this.gist(form); }
    else if (form.matches("[data-read]")) { event.preventDefault(); form.closest("details").open = false; this.cautions(true); }
    else if (form.matches(".bench-ask")) { event.preventDefault(); if (form.dataset.kind === "text") { const text = form.value_text ?? form.querySelector('[name="value"]'); if (text.value.trim()) this.say(form, { value: text.value.trim() }, text.value.trim()).then(() => { text.value = ""; }); } else if (form.dataset.kind === "number") this.number(form, form.querySelector('[name="value"]').value); }
  }

  async written(form) {
    const text = form.note.value.trim();
    if (!text) return;
    await this.add({ key: newKey(), kind: "entry", cell: this.cell, said: { term: "note.words", value: text, step: this.card.dataset.card, vocabulary: Number(root.dataset.vocabulary), ...this.momentNow(), ...this.whose() }, words: text }, [], "Note");
    form.note.value = "";
    dialog("words").close();
  }

  // That cards were shown or read is noted like everything else. It permits nothing and unlocks nothing.
  async cautions(read) {
    const { step } = this.card.querySelector(".bench-cautions")?.dataset ?? {}, mark = `${step}|${read}`;
    if (!step || this.shown.has(mark)) return;
    this.shown.add(mark);
    const said = { step, read, at: new Date().toISOString() };
    await this.queue.add({ key: newKey(), kind: "caution", cell: this.cell, said, words: read ? "cautions read" : "cautions shown", ...(this.person && !this.person.scribed ? { credential: this.person.credential } : {}) }, 0);
  }
}

if (root) new Bench();
