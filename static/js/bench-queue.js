// The queue of the bench: what was said, photographed and spoken lies in the tablet's own database until the server has
// answered for it. Items keep their order cell by cell; one that is refused goes to a tray and blocks no other.

const NAME = "bench", STORE = "queue", FACTS = "facts";
const FILES = { photograph: "photograph.jpg", audio: "note.webm" }; // kinds that carry bytes, and a name for them

function wait(request) {
  return new Promise((resolve, reject) => {
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

function opened() {
  return new Promise((resolve, reject) => {
    const request = indexedDB.open(NAME, 1);
    request.onupgradeneeded = () => {
      const items = request.result.createObjectStore(STORE, { keyPath: "key" });
      items.createIndex("order", "order");
      request.result.createObjectStore(FACTS);
    };
    request.onsuccess = () => resolve(request.result);
    request.onerror = () => reject(request.error);
  });
}

export const newKey = () => {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  bytes[6] = (bytes[6] & 0x0f) | 0x40;
  bytes[8] = (bytes[8] & 0x3f) | 0x80;
  const hex = [...bytes].map((b) => b.toString(16).padStart(2, "0")).join("");
  return `${hex.slice(0, 8)}-${hex.slice(8, 12)}-${hex.slice(12, 16)}-${hex.slice(16, 20)}-${hex.slice(20)}`;
};

const csrf = () => document.cookie.match(/(?:^|; )csrftoken=([^;]+)/)?.[1] ?? "";

// A hold that would last longer than any hold does is of a clock that was set back since.
const LONGEST_HOLD_MS = 60_000;
const due = ({ not_before: at }) => at <= Date.now() || at > Date.now() + LONGEST_HOLD_MS;

export class Queue {
  constructor({ keep, photograph, audio, changed }) {
    this.addresses = { keep, photograph, audio };
    this.changed = changed;
    this.sending = null;
    this.database = opened();
  }

  async transaction(mode, work) {
    const database = await this.database;
    const transaction = database.transaction(STORE, mode, { durability: "strict" });
    const done = new Promise((resolve, reject) => {
      transaction.oncomplete = resolve;
      transaction.onerror = transaction.onabort = () => reject(transaction.error);
    });
    const result = await work(transaction.objectStore(STORE));
    await done;
    return result;
  }

  // Resolves once the item lies on the tablet's disk. `hold` ms pass before it is sent, so that undo can take it back.
  async add(item, hold = 8000) {
    const row = { state: "waiting", not_before: Date.now() + hold, ...item };
    await this.transaction("readwrite", async (store) => {
      // After what lies there already, even where the clock of the tablet was set back in between.
      const last = await wait(store.index("order").openCursor(null, "prev"));
      row.order = Math.max(Date.now(), Math.floor(last?.value.order ?? 0) + 1);
      await wait(store.put(row));
    });
    this.changed();
    return row;
  }

  async takeBack(key) {
    const taken = await this.transaction("readwrite", async (store) => {
      const row = await wait(store.get(key));
      if (!row || row.state === "sending" || row.state === "kept") return false;
      await wait(store.delete(key));
      return true;
    });
    this.changed();
    return taken;
  }

  async all() {
    const rows = await this.transaction("readonly", (store) => wait(store.getAll()));
    return rows.sort((a, b) => a.order - b.order);
  }

  async put(row) {
    await this.transaction("readwrite", (store) => wait(store.put(row)));
  }

  async forget(keys) {
    await this.transaction("readwrite", async (store) => { for (const key of keys) await wait(store.delete(key)); });
    this.changed();
  }

  async counts() {
    const rows = (await this.all()).filter((row) => row.kind !== "caution");
    return {
      waiting: rows.filter((row) => row.state !== "kept" && row.state !== "refused").length,
      refused: rows.filter((row) => row.state === "refused").length,
      kept: rows.filter((row) => row.state === "kept").length,
    };
  }

  // One sending at a time, also across windows where the browser can lock.
  async send({ now = false } = {}) {
    if (this.sending && !now) return this.sending;
    while (this.sending) await this.sending; // what was said since then is wanted there too
    const work = () => this.sendAll(now);
    this.sending = (navigator.locks ? navigator.locks.request("bench-send", work) : work()).finally(() => { this.sending = null; });
    return this.sending;
  }

  async sendAll(now) {
    const rows = (await this.all()).filter((row) => ["waiting", "sending"].includes(row.state) && (now || due(row)));
    if (!rows.length) return { sent: 0 };
    let sent = 0;
    for (const row of rows.filter((each) => each.kind in FILES)) sent += await this.sendFile(row);
    // What rests on a photograph or a spoken note is sent after it.
    const behind = new Set(rows.filter((row) => row.kind in FILES && row.state !== "kept").map((row) => row.key));
    const items = rows.filter((row) => !(row.kind in FILES) && !behind.has(row.said?.photo) && !behind.has(row.said?.audio));
    for (let at = 0; at < items.length; at += 100) sent += await this.sendItems(items.slice(at, at + 100));
    this.changed();
    return { sent };
  }

  async sendItems(rows) {
    const items = rows.map(({ key, kind, cell, said, target, targets, credential }) => ({ key, kind, cell, said, target, targets, credential }));
    const answer = await this.post(this.addresses.keep, JSON.stringify({ items }), "application/json");
    if (!answer) return 0;
    const { answers, server_time: serverTime } = answer;
    localStorage.setItem("bench-offset", String(Date.parse(serverTime) - Date.now()));
    const by = new Map(answers.map((each) => [each.key, each]));
    let kept = 0;
    for (const row of rows) {
      const said = by.get(row.key);
      if (!said) continue;
      if (said.state.startsWith("kept")) { row.state = "kept"; row.kept_at = Date.parse(serverTime); kept += 1; }
      else { row.state = "refused"; row.sentences = said.sentences; row.why = said.state; }
      await this.put(row);
    }
    return kept;
  }

  async sendFile(row) {
    const form = new FormData();
    for (const [name, value] of Object.entries(row.form)) form.set(name, value);
    form.set("key", row.key);
    if (row.credential) form.set("credential", row.credential);
    form.set("file", new File([row.blob], row.form.name || FILES[row.kind], { type: row.blob.type }));
    const answer = await this.post(this.addresses[row.kind], form);
    if (!answer) return 0;
    if (answer.state === "kept") { row.state = "kept"; row.blob = null; row.sharpness = answer.sharpness; row.kept_at = Date.now() + Number(localStorage.getItem("bench-offset") ?? 0); }
    else { row.state = "refused"; row.sentences = answer.sentences; row.why = answer.state; }
    await this.put(row);
    return row.state === "kept" ? 1 : 0;
  }

  // Nothing that the network or a signed-out session does may lose an item: it just goes on waiting.
  async post(address, body, type, again = true) {
    const headers = { "X-CSRFToken": csrf(), "X-Requested-With": "bench" };
    if (type) headers["Content-Type"] = type;
    try {
      const response = await fetch(address, { method: "POST", body, headers, redirect: "manual", credentials: "same-origin" });
      if (response.ok || response.status === 422) { // 422 is an answer too: it says in words what is wrong
        this.trouble = "";
        return await response.json();
      }
      if (response.type === "opaqueredirect") {
        this.trouble = "Sign in again; everything waits here.";
        this.changed();
        return null;
      }
      if (response.status === 403 && again && await this.freshToken()) return await this.post(address, body, type, false);
      this.trouble = response.status === 403 ? "Sign in again; everything waits here." : `The server answers ${response.status}; everything waits here.`;
    } catch {
      this.trouble = "The server cannot be reached; everything waits here.";
    }
    return null;
  }

  // A tablet that was killed may have lost the newest token of its session; any page brings another.
  async freshToken() {
    const before = csrf();
    await fetch(location.pathname, { cache: "reload", credentials: "same-origin" });
    return csrf() !== "" && csrf() !== before;
  }

  async toFile() {
    const rows = [];
    for (const row of await this.all()) {
      if (row.state === "kept") continue;
      const copy = { ...row };
      if (row.blob) {
        const bytes = new Uint8Array(await row.blob.arrayBuffer());
        let text = "";
        for (let at = 0; at < bytes.length; at += 32768) text += String.fromCharCode(...bytes.subarray(at, at + 32768));
        copy.blob = { base64: btoa(text), type: row.blob.type };
      }
      rows.push(copy);
    }
    return new Blob([JSON.stringify({ teardown: "bench queue", version: 1, rows })], { type: "application/json" });
  }

  async fromFile(file) {
    const { teardown, rows } = JSON.parse(await file.text());
    if (teardown !== "bench queue") throw new Error("This is no queue of a bench.");
    for (const row of rows) {
      if (row.blob) row.blob = new Blob([Uint8Array.from(atob(row.blob.base64), (c) => c.charCodeAt(0))], { type: row.blob.type });
      if (row.state === "sending") row.state = "waiting";
      await this.put(row);
    }
    this.changed();
    return rows.length;
  }
}
