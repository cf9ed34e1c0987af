// Up to eight named timers. They run on the steady clock while the page lives and on the wall clock after a kill;
// finishing one says how long it truly ran.

const HELD = "bench-timers", MOST = 8;

export class Timers {
  constructor({ list, finished }) {
    this.list = list;
    this.finished = finished;
    this.rows = JSON.parse(localStorage.getItem(HELD) ?? "[]").map((row) => ({ ...row, steady: null }));
    setInterval(() => this.tick(), 1000);
    this.tick();
  }

  start(minutes, what, cell) {
    if (this.rows.length >= MOST) return false;
    this.rows.push({ minutes, what: what || "wait", cell, wall: Date.now(), steady: performance.now(), rang: false });
    this.save();
    return true;
  }

  save() {
    localStorage.setItem(HELD, JSON.stringify(this.rows.map(({ steady, ...row }) => row)));
    this.tick();
  }

  ran(row) { return (row.steady === null ? Date.now() - row.wall : performance.now() - row.steady) / 60000; }

  stop(number) {
    const [row] = this.rows.splice(number, 1);
    this.save();
    this.finished(row, this.ran(row));
  }

  tick() {
    this.list.replaceChildren(...this.rows.map((row, number) => {
      const left = row.minutes - this.ran(row), item = document.createElement("li");
      const words = left > 0 ? `${Math.floor(left)} min ${Math.floor((left % 1) * 60)} s left` : `over by ${Math.floor(-left)} min`;
      item.append(`${row.what}, ${row.cell}: ${words}`);
      const stop = Object.assign(document.createElement("button"), { className: "bench-button", textContent: "Done" });
      stop.addEventListener("click", () => this.stop(number));
      item.append(stop);
      if (left <= 0 && !row.rang) { row.rang = true; this.ring(row); }
      return item;
    }));
  }

  ring(row) {
    navigator.vibrate?.([400, 200, 400]);
    document.dispatchEvent(new CustomEvent("bench:rang", { detail: row }));
    try {
      const sound = new AudioContext(), tone = sound.createOscillator();
      tone.connect(sound.destination);
      tone.start();
      tone.stop(sound.currentTime + 1.2);
    } catch { /* a tablet without sound still shows it */ }
  }
}
